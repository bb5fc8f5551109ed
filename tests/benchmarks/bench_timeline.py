"""The local replan and the journal's replay on the device's interpreter, as a table: run `-m bench -s`.

Figures are interpreter steps (CPython bytecodes, counted exactly) and microseconds under the unix MicroPython of this
machine. A Pico takes some 100 to 200 times as long as a desktop (an emulated one needs 29 us for a call).
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
BOTH = ROOT / "tests" / "both"
sys.path[:0] = [str(BOTH)]

SCRIPT = """
import sys
from time import ticks_us, ticks_diff
sys.path[:0] = PATHS
import plans
from shared_schedule import day as D, timeline as T
for patons in (1, 2, 4, 7):
    plan = plans.two_days(patons)
    state = D.DayState(plan)
    for late_h in (0, 16):
        p = T.Projection(plan, state, plans.DAY_1 + late_h * 3600)
        worst = total = 0
        done = False
        while not done:
            a = ticks_us(); done = p.advance(); b = ticks_diff(ticks_us(), a)
            worst = max(worst, b); total += b
        a = ticks_us()
        for _ in range(100):
            D.step(plan, state, (D.EV_TIME, 0, 0), plans.DAY_1 - 1)
        second = ticks_diff(ticks_us(), a)
        print(patons, len(plan.steps), late_h, p.passes, worst, total, second // 100)
"""


def steps_of(patons: int, late_s: int) -> int:
    """Count the bytecodes of one whole projection."""
    import plans

    from shared_schedule import day as D
    from shared_schedule import timeline as T

    plan = plans.two_days(patons)
    state = D.DayState(plan)
    count = 0

    def trace(frame, event, _arg):
        nonlocal count
        frame.f_trace_opcodes = True
        count += event == "opcode"
        return trace

    sys.settrace(trace)
    try:
        T.project(plan, state, plans.DAY_1 + late_s)
    finally:
        sys.settrace(None)
    return count


@pytest.mark.bench
def test_replan_grows_gently_and_fits_a_turn(record_property) -> None:
    record_property("interpreter", "micropython")
    sys.path.insert(0, str(BOTH))
    from test_both import find_micropython

    interpreter = find_micropython()
    assert interpreter is not None
    script = f"PATHS = {[str(BOTH), str(ROOT)]}\n{SCRIPT}"
    command = [interpreter, "-X", "heapsize=384k", "-c", script]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    rows = [[int(cell) for cell in line.split()] for line in done.stdout.splitlines()]
    print("\npatons steps late_h passes worst_turn_us total_us second_us  bytecodes")
    per_step = []
    for patons, steps, late_h, passes, worst, total, second in rows:
        codes = steps_of(patons, late_h * 3600)
        print(f"{patons:6d} {steps:5d} {late_h:6d} {passes:6d} {worst:13d} {total:8d} {second:9d} {codes:10d}")
        assert passes <= 7
        per_step.append(codes / passes / steps)
    # No worse than linear: bytecodes per pass and step stay within a factor of three from 19 to 84 steps.
    assert max(per_step) < 3 * min(per_step)
