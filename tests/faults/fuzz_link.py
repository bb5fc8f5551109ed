"""Coverage-guided fuzzing of both ends of the link, and the rig that the plain fuzz tests use.

    pip install atheris
    python tests/faults/fuzz_link.py -max_total_time=600 tests/vectors/link_seeds

New inputs that reach new code are kept in that folder; the ordinary tests feed them again. `--write-seeds` makes the
first ones. The first octet of an input chooses the end that gets the rest: even the device, odd the host.
"""

from __future__ import annotations

import binascii
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "link"))

from model_timer import ModelTimer

from shared_schedule import link_host as lh
from shared_schedule import messages as m
from shared_schedule.framing import Deframer, encode
from shared_schedule.link import DeviceSession

SEEDS = Path(__file__).parent.parent / "vectors" / "link_seeds"
SESSION = 0x4141


class Ends:
    """A device that was greeted, and a host that fetches a log; each gets octets of its own."""

    def __init__(self) -> None:
        self.timer = ModelTimer()
        self.timer.streams[m.STREAM_SAMPLES] = bytes(range(256)) * 8
        self.device = DeviceSession(self.timer)
        self.session = SESSION
        self.device.feed(lh.hello_frame(SESSION), 0)
        self.host = lh.HostSession(SESSION)
        self.now_ms = 0
        self.jobs = 0
        self.drain()

    def drain(self) -> None:
        while self.device.pending() and (out := self.device.output(self.now_ms)):
            self.device.sent(len(out))

    def keep_busy(self) -> None:
        """The host always has a job, each kind in turn."""
        if self.host.busy:
            return
        self.jobs += 1
        kind = self.jobs % 4
        if kind == 0:
            self.host.hello()
        elif kind == 1:
            self.host.fetch(m.STREAM_SAMPLES, 0, 2048)
        elif kind == 2:
            self.host.send_plan(binascii.crc32(b"x" * 500), b"x" * 500)
        else:
            self.host.request(m.STATE_GET)

    def feed(self, data: bytes, device: bool = True, host: bool = True) -> None:
        self.now_ms = (self.now_ms + 40) % (1 << 30)
        if device:
            self.device.feed(data, self.now_ms)
            self.device.tick(self.now_ms)
            self.drain()
        if host:
            self.keep_busy()
            while self.host.output(self.now_ms):
                pass
            self.host.feed(data, self.now_ms)
            self.host.tick(self.now_ms)
            self.host.events()

    def snapshot(self) -> tuple:
        """All that an illegal input must leave as it is."""
        timer, device = self.timer, self.device
        pull = device._plans.pull
        return (
            tuple(timer.effects),
            timer.plan,
            dict(timer.settings),
            timer.clock,
            dict(timer.first),
            device._session,
            device._last_seq,
            device._last_reply,
            None if pull is None else (pull.plan_id, pull.got, pull.length),
        )

    def counts(self) -> dict[str, int]:
        counts = {}
        for name, deframer in (("device", self.device._deframer), ("host", self.host.deframer)):
            counts[f"{name} frames"] = deframer.frames
            counts[f"{name} damaged"] = deframer.damaged
            counts[f"{name} overruns"] = deframer.overruns
        counts["effects"] = len(self.timer.effects)
        return counts


def legal_requests(data: bytes, ends: Ends) -> bool:
    """True when the octets may hold a request the device should act on; what it holds back counts too."""
    deframer = Deframer(m.DEVICE_CAP)
    deframer._held = bytearray(ends.device._deframer._held)
    deframer._skipping = ends.device._deframer._skipping
    for payload in deframer.feed(data):
        try:
            number, session, _seq, _values = m.decode(payload)
        except m.MessageError:
            continue
        if m.direction_of(number) == ">" and (session == ends.device._session or number == m.HELLO):
            return True
    return False


def feed_seed(data: bytes) -> None:
    """One fuzz input: nothing may be raised, and only legal requests may change the device."""
    if not data:
        return
    ends = Ends()
    to_device = data[0] % 2 == 0
    octets = data[1:]
    allowed = not to_device or legal_requests(octets, ends)
    before = ends.snapshot()
    for at in range(0, len(octets), 64):
        ends.feed(octets[at : at + 64], device=to_device, host=not to_device)
    if not allowed:
        assert ends.snapshot() == before


def seeds() -> list[tuple[bytes, str]]:
    """One frame of each message, with plausible values, and its name."""
    made = []
    for number, name, _direction, fields in m.TABLE:
        values = {}
        for field, kind, cap in fields:
            if kind == "fix":
                values[field] = b"A" * cap
            elif kind == "str":
                values[field] = "beep"
            elif kind in ("bytes", "rest"):
                values[field] = b"\x00\x03}~"
            else:
                values[field] = {"stream": 2, "length": 64, "chunk": 64, "count": 64, "step_id": 3}.get(field, 1)
        made.append((encode(m.encode(number, SESSION, 1, values)), name))
    return made


def write_seeds() -> None:
    SEEDS.mkdir(parents=True, exist_ok=True)
    for frame, name in seeds():
        end = 0 if m.direction_of(Deframer(m.HOST_CAP).feed(frame)[0][0]) == ">" else 1
        (SEEDS / name.lower()).write_bytes(bytes((end,)) + frame)
    (SEEDS / "prompt").write_bytes(b"\x01MicroPython v1.28.0\r\n>>> ")
    (SEEDS / "unending").write_bytes(b"\x00" + b"}" * 3000)


if __name__ == "__main__":
    if "--write-seeds" in sys.argv:
        write_seeds()
        raise SystemExit
    import atheris

    atheris.instrument_all()
    atheris.Setup(sys.argv, feed_seed)
    atheris.Fuzz()
