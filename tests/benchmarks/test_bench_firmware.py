"""Latency of the firmware's tasks over a played day, and what that would be on a Pico. Run with -m bench -s.

The virtual board runs the same bytecode on a faster machine. One pass of an empty loop takes 5.2 us on an RP2040 at
125 MHz (emulated Pico calibrated against published scores, +-10 %); its ratio to the same loop here scales the rest.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "firmware"))

from firmware_support import day, send, two_days  # noqa: E402
from tourier.device.client import Timer  # noqa: E402
from tourier.device.upkeep import TASKS  # noqa: E402
from tourier.device.virtual.board import find_micropython  # noqa: E402

pytestmark = pytest.mark.bench
PICO_PASS_US = 5.2


def _pass_us() -> float:
    code = "import time\nt=time.ticks_us()\nfor _ in range(1000000):\n pass\nprint(time.ticks_diff(time.ticks_us(),t))"
    done = subprocess.run([find_micropython(), "-c", code], capture_output=True, text=True, timeout=60)
    return int(done.stdout) / 1e6


def test_no_turn_of_the_loop_takes_longer_than_50_ms(tmp_path):
    plan = two_days()
    with day(tmp_path / "flash", plan) as timer:
        timer.run_for(20)
        send(timer, plan)
        while timer.glance.screen != "done" and timer.now_s < plan.ready_at_s + 4 * 3600:
            timer.run_for(900)
        with Timer.open(timer.port) as link:
            worst, _, total = link.setting("latency").decode().partition(";")
            counters = link.device_counters()
            turns = {task: [int(n) for n in link.setting(f"histogram:{task}").split(b",")] for task in TASKS}
    ratio = PICO_PASS_US / _pass_us()
    print(f"\nPico/this machine: {ratio:.0f}")
    for name, tenths, seconds in zip(TASKS, worst.split(","), total.split(","), strict=True):
        here_ms = int(tenths) / 10
        print(f"{name:8} worst {here_ms:6.1f} ms here, about {here_ms * ratio:7.0f} ms on a Pico; all day {seconds} s")
    print("turns by how long they took here, ms:  <1  <2  <5  <10  <20  <50  more")
    for name, counts in turns.items():
        print(f"{name:8} " + "  ".join(str(count) for count in counts))
        # The machine underneath may hold one up; more than one in a thousand is the firmware's own doing.
        assert sum(counts) > 10_000 and counts[-1] + counts[-2] <= sum(counts) / 1_000, name
    print(f"whole turn: worst {counters['loop_worst_ms']} ms here; heap low {counters['heap_low']}")
    assert counters["loop_worst_ms"] <= 50
