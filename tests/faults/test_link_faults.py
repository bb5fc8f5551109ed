"""Transfers over a faulty line, in simulated time: all complete, byte for byte, no effect twice.

`pytest -m faults tests/faults/test_link_faults.py -s` runs 1,000 of them and prints what fired; the default run does
60. Every transfer is seeded by its number: `TOURIER_FAULT=123` runs that one alone.
"""

from __future__ import annotations

import binascii
import os
import random
import sys
import time
from collections import Counter
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent.parent / "link"))

from line_faults import LineFaults  # noqa: E402
from line_sim import Bench  # noqa: E402
from model_timer import ModelTimer  # noqa: E402

from shared_schedule import link_host as lh  # noqa: E402
from shared_schedule import messages as m  # noqa: E402

LINES = {
    "bits 1e-4": {"bit_errors": 1e-4},
    "bits 1e-3": {"bit_errors": 1e-3},
    "5 % lost": {"lost": 0.05},
    "5 % doubled": {"doubled": 0.05},
    "5 % reordered": {"reordered": 0.05},
    "stalls": {"stalled": 0.02, "stall_s": 3.0},
    "everything": {"bit_errors": 1e-4, "lost": 0.05, "doubled": 0.05, "reordered": 0.05, "stalled": 0.01},
    "everything, bits 1e-3": {"bit_errors": 1e-3, "lost": 0.05, "doubled": 0.05, "reordered": 0.05, "stalled": 0.005},
}


def transfer(number: int) -> tuple[str, Counter, int, float]:
    """Do transfer `number`; return (line, faults fired, connections used, simulated seconds)."""
    chance = random.Random(number)
    line = list(LINES)[number % len(LINES)]
    faults = LineFaults(seed=number, **LINES[line])
    timer = ModelTimer()
    bench = Bench(timer, faults, chunk=chance.choice((32, 64, 256, 2048)), session=number)
    if chance.random() < 0.3:
        bench.pull_after = chance.randrange(100, 8000)
    kind = chance.choice(("plan", "log", "commands"))
    attempts = 1
    if kind == "plan":
        data = chance.randbytes(chance.randrange(200, 6000))
        plan_id = binascii.crc32(data)
        attempts = bench.send_plan(data, plan_id)
        assert timer.plan == data
        assert timer.effects == [("plan", plan_id)]
    elif kind == "log":
        data = log_like(chance, chance.randrange(500, 12_000))
        timer.streams[m.STREAM_SAMPLES] = data
        got, attempts = bench.fetch(m.STREAM_SAMPLES, len(data))
        assert got == data
    else:
        attempts = commands(bench, timer, chance)
    return line, faults.fired, attempts, bench.now_ms / 1000


def log_like(chance: random.Random, size: int) -> bytes:
    """Octets as a log has them: small steps around a slowly moving level."""
    level, out = 0x40, bytearray()
    while len(out) < size:
        level = (level + chance.choice((0, 0, 0, 1, -1, 2, -2))) & 0xFF
        out.append(level)
    return bytes(out)


def commands(bench: Bench, timer: ModelTimer, chance: random.Random) -> int:
    """Twenty commands, each different; what was answered was done, nothing was done twice or out of order."""
    answered = []
    attempts = 0
    for arg in range(20):
        for _ in range(30):
            if not bench.connected or not attempts:
                bench.connect() if attempts else None
                attempts += 1
                bench.host.hello()
                event = bench.run()
                if event is None or event.kind == lh.FAILED:
                    if event is not None:
                        bench.pull()
                    continue
            break
        bench.host.request(m.COMMAND, {"action": m.ACTION_STEP_DONE, "step_id": 1, "arg": arg})
        event = bench.run()
        if event is not None and event.kind == lh.DONE:
            assert event.values["code"] == m.OK
            answered.append(arg)
        elif event is not None:
            bench.pull()
    done = [arg for _action, _step, arg in timer.effects]
    assert done == sorted(set(done)), done
    assert set(answered) <= set(done)
    assert len(answered) >= 10
    return attempts


def report(numbers: range) -> None:
    fired: dict[str, Counter] = {line: Counter() for line in LINES}
    runs, connections, seconds = Counter(), Counter(), Counter()
    started = time.monotonic()
    for number in numbers:
        try:
            line, faults, attempts, simulated_s = transfer(number)
        except AssertionError as problem:
            raise AssertionError(f"TOURIER_FAULT={number}: {problem}") from problem
        fired[line].update(faults)
        runs[line] += 1
        connections[line] += attempts
        seconds[line] += simulated_s
    print(f"\n{sum(runs.values())} transfers, all complete, in {time.monotonic() - started:.0f} s of wall")
    print(f"{'line':24}{'runs':>6}{'connections':>13}{'simulated s':>13}  faults fired")
    for line in LINES:
        counts = ", ".join(f"{name} {count}" for name, count in sorted(fired[line].items()))
        print(f"{line:24}{runs[line]:6}{connections[line]:13}{seconds[line]:13.0f}  {counts}")
    for line, settings in LINES.items():
        names = {"bit_errors": "bit_error"}
        for name in settings:
            if name != "stall_s":
                assert fired[line][names.get(name, name)] > 0, (line, name)


def test_transfers_over_every_kind_of_bad_line():
    chosen = os.environ.get("TOURIER_FAULT")
    if chosen:
        print(transfer(int(chosen)))
        return
    report(range(64))


@pytest.mark.faults
@pytest.mark.cpu(1200)
def test_a_thousand_transfers():
    report(range(1000))


def pulled_at(percent: int, kind: str) -> int:
    """One transfer whose cable comes out at that share of its octets."""
    chance = random.Random(percent)
    timer = ModelTimer()
    bench = Bench(timer, chunk=64, session=percent)
    data = chance.randbytes(4000)
    timer.streams[m.STREAM_SAMPLES] = data
    bench.pull_after = 250 + 4200 * percent // 100
    if kind == "plan":
        bench.send_plan(data, binascii.crc32(data))
        assert timer.plan == data and len(timer.effects) == 1
    else:
        got, _ = bench.fetch(m.STREAM_SAMPLES, len(data))
        assert got == data
    return bench.pulls


@pytest.mark.parametrize("kind", ["plan", "log"])
def test_cable_pulled_at_every_hundredth(kind):
    pulls = sum(pulled_at(percent, kind) for percent in range(100))
    assert pulls >= 95, pulls  # the last ones may find the transfer done


def test_power_cut_between_request_and_answer():
    """The device restarts in the middle of twenty commands: none is done twice."""
    cuts = 0
    for number in range(40):
        chance = random.Random(number)
        timer = ModelTimer()
        bench = Bench(timer, LineFaults(seed=number, lost=0.1), session=number)
        for arg in range(6):
            bench.connect()
            bench.host.hello()
            event = bench.run()
            if event.kind == lh.FAILED:
                continue
            bench.host.request(m.COMMAND, {"action": m.ACTION_STEP_DONE, "step_id": 1, "arg": arg})
            for _ in range(chance.randrange(1, 12)):
                bench.step()
            if bench.host.busy:
                bench.restart()
                cuts += 1
                event = bench.run()
                if event.kind == lh.FAILED:
                    assert event.values["reason"] in ("rebooted", "silent")
        done = [arg for _action, _step, arg in timer.effects]
        assert done == sorted(set(done)), done
    assert cuts > 40
