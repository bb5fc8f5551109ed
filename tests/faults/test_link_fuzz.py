"""Anything at all into both ends: nothing escapes, nothing grows over its cap, nothing illegal has an effect.

The default run feeds 400,000 octets to each end; `pytest -m fuzz tests/faults/test_link_fuzz.py -s` ten million.
Coverage-guided: `python tests/faults/fuzz_link.py -max_total_time=600 tests/vectors/link_seeds` (pip install atheris).
"""

from __future__ import annotations

import random
import sys
import time
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

from fuzz_link import SEEDS, Ends, feed_seed, legal_requests, seeds  # noqa: E402

from shared_schedule import messages as m  # noqa: E402
from shared_schedule.framing import encode  # noqa: E402

MEMORY_CAP = 120_000  # octets either end may hold at once: a plan of 12 KiB, a few frames, and interpreter objects


def mutated(chance: random.Random, frames: list[bytes]) -> bytes:
    """A run of frames with something wrong in most of them, or plain noise."""
    kind = chance.randrange(7)
    if kind == 6:
        return chance.randbytes(50) * (60 if chance.random() < 0.02 else 1)  # now and then far over the cap
    if kind == 0:
        return chance.randbytes(chance.randrange(1, 400))
    if kind == 1:
        return bytes(chance.choice(b"\x00\x03~}]^#>") for _ in range(chance.randrange(1, 200)))
    frame = bytearray(chance.choice(frames))
    if kind == 2:
        frame[chance.randrange(len(frame))] ^= 1 << chance.randrange(8)
    elif kind == 3:
        at = chance.randrange(len(frame))
        frame[at:at] = chance.randbytes(chance.randrange(1, 40))
    elif kind == 4:
        del frame[chance.randrange(len(frame)) :]
    else:
        # a good frame around a payload that is not: right check, wrong contents
        payload = bytearray(m.encode(m.PING, 0x4141, chance.randrange(0x10000)))
        payload[0] = chance.randrange(256)
        return encode(bytes(payload) + chance.randbytes(chance.randrange(0, 60)))
    return bytes(frame)


def campaign(octets: int, seed: int = 4) -> dict[str, int]:
    chance = random.Random(seed)
    frames = [frame for frame, _ in seeds()]
    ends = Ends()
    fed = 0
    while fed < octets:
        data = mutated(chance, frames)
        before = ends.snapshot()
        allowed = legal_requests(data, ends)
        ends.feed(data)
        if not allowed:
            assert ends.snapshot() == before, data.hex()
        fed += len(data)
    counts = ends.counts()
    counts["octets to each end"] = fed
    return counts


def run(octets: int) -> None:
    started = time.monotonic()
    counts = campaign(octets)
    print(f"\n{counts} in {time.monotonic() - started:.0f} s")
    assert counts["device damaged"] > 100 and counts["device frames"] > 100 and counts["device overruns"] > 0
    assert counts["host damaged"] > 100


def test_random_and_mutated_octets():
    run(400_000)


@pytest.mark.fuzz
@pytest.mark.cpu(3600)
def test_ten_million_octets():
    run(10_000_000)


def test_memory_stays_under_the_cap():
    """Unending frames, floods of requests without reading, the largest plan: what is held stays small."""
    ends = Ends()
    chance = random.Random(1)
    tracemalloc.start()
    try:
        base = tracemalloc.get_traced_memory()[0]
        for _ in range(200):
            ends.device.feed(chance.randbytes(4096).replace(b"~", b"x"), 0)  # never a flag: one frame for ever
            ends.host.feed(chance.randbytes(4096).replace(b"~", b"x"), 0)
            ends.host.events()
        for i in range(300):
            offer = {"plan_id": i + 1, "length": m.PLAN_MAX, "crc32": i + 1}
            ends.device.feed(encode(m.encode(m.PLAN_OFFER, ends.session, i + 1, offer)), 0)
            ends.device.feed(encode(m.encode(m.STATE_GET, ends.session, i + 1)), 0)
            ends.device.feed(encode(m.encode(m.LOG_READ, ends.session, i + 1, {"stream": 2, "length": 10})), 0)
        held = tracemalloc.get_traced_memory()[0] - base
    finally:
        tracemalloc.stop()
    print(f"\nheld {held} octets")
    assert held < MEMORY_CAP


payloads = st.builds(
    lambda number, session, seq, rest: m.struct.pack(m.HEADER, number, session, seq) + rest,
    st.one_of(st.sampled_from([row[0] for row in m.TABLE]), st.integers(0, 255)),
    st.sampled_from([0x4141, 0, 0xFFFF]),
    st.integers(0, 0xFFFF),
    st.binary(max_size=200),
)


@given(st.lists(payloads, max_size=12))
@settings(max_examples=200, deadline=None)
def test_well_framed_nonsense(frames):
    """Frames with a right check and any contents: no exception, and only what the table allows has an effect."""
    ends = Ends()
    for payload in frames:
        data = encode(payload)
        allowed = legal_requests(data, ends)
        before = ends.snapshot()
        ends.feed(data)
        if not allowed:
            assert ends.snapshot() == before
    ends.feed(b"")


@pytest.mark.parametrize("name", [path.name for path in sorted(SEEDS.glob("*"))])
def test_kept_seeds(name):
    feed_seed((SEEDS / name).read_bytes())
