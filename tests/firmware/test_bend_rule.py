"""One bend test, two ends: the window on the timer's screen and the one the logbook learns are the same rule's."""

from __future__ import annotations

import random

import tourier.logbook.learning.learn as learn
from firmware_support import on_device

from shared_schedule import window


def test_the_companion_uses_the_shared_rule():
    assert learn.shift_window is window.shift_window


def test_both_interpreters_move_the_window_alike():
    """The firmware's own Bench._shift_window under MicroPython against the shared rule here, 40 random butters."""
    random_ = random.Random(3)
    cases = []
    for _ in range(40):
        low = random_.randrange(800, 1500)
        bends = [(random_.randrange(500, 2200), random_.randrange(1, 4)) for _ in range(random_.randrange(0, 9))]
        cases.append((low, low + random_.randrange(200, 700), bends))
    done = on_device(
        "from bench import Bench\n"
        "class Held: pass\n"
        f"for low, high, bends in {cases!r}:\n"
        "    bench = Bench(None, None)\n"
        "    bench.plan, bench.state = Held(), Held()\n"
        "    bench.plan.butter_low_cdeg, bench.plan.butter_high_cdeg, bench.state.bends = low, high, bends\n"
        "    bench._shift_window()\n"
        "    print(bench.bend_low, bench.bend_high)\n"
    )
    assert done.returncode == 0, done.stdout + done.stderr
    moved = [tuple(map(int, line.split())) for line in done.stdout.splitlines()]
    assert moved == [window.shift_window(low, high, bends) for low, high, bends in cases]
    assert sum((low, high) != got for (low, high, _bends), got in zip(cases, moved, strict=True)) > 20
