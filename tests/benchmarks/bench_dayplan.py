"""How long planning and replanning take, and how that grows. Run: python tests/benchmarks/bench_dayplan.py"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from datetime import time as clock
from datetime import timedelta
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parents[1] / "dayplan"))

from checker import faults  # noqa: E402
from days import at, process, spec, workup  # noqa: E402
from tourier.batch.model import AwaySpan  # noqa: E402
from tourier.dayplan import Impossible, plan_days, to_device  # noqa: E402
from tourier.dayplan.replan import Happened, replan  # noqa: E402

from shared_schedule import plan as wire  # noqa: E402


def demo():
    from tourier.batch.examples import demo_text
    from tourier.batch.read import read_batch_text
    from tourier.batch.workup import work_up

    now = at(27, 18, month=11)
    s = read_batch_text(demo_text(), "demo", now)
    return s, work_up(s), now


def timed(action, times=3):
    spans, result = [], None
    for _ in range(times):
        begin = time.perf_counter()
        result = action()
        spans.append(time.perf_counter() - begin)
    return median(spans), result


def replans(plan, late):
    """Replan with every step in turn late; return the spans of time and how many kept every limit."""
    spans, kept = [], 0
    for step in plan.steps:
        now = step.start + late
        facts = {}
        for other in plan.steps:
            if other.start < step.start:
                over = other.end <= now and not (other.process.flexible and other.end >= step.start)
                facts[other.step_id] = Happened(2 if over else 1, other.start, other.end if over else None)
        begin = time.perf_counter()
        result = replan(plan, facts, now)
        spans.append(time.perf_counter() - begin)
        kept += not result.broken
    return spans, kept


def main() -> None:
    rows = []
    s, w, now = demo()
    timed(lambda: plan_days(s, w, now, chance=False), 1)  # loads the solver
    days = [("demo batch", s, w, now)]
    for patons in (1, 2, 3):
        for folds in ((3, 3), (4, 3, 3)):
            a = spec(away=(AwaySpan("sleep", start=clock(22, 0), end=clock(3, 30)),))
            label = f"{patons} pâton(s), {len(folds)} folds"
            days.append((label, a, workup(a, process(patons, folds)), at(13, 18)))
    print(f"{'day':24} {'steps':>5} {'bytes':>6} {'plan s':>7} {'proven':>6} {'faults':>6}")
    for label, a, b, when in days:
        try:
            span, plan = timed(lambda a=a, b=b, when=when: plan_days(a, b, when))
        except Impossible as refusal:
            print(f"{label:24} {len(b.process):5} {refusal.sentence}")
            continue
        size = len(wire.encode(to_device(plan)))
        broken = len(faults(plan, when))
        print(f"{label:24} {len(plan.steps):5} {size:6} {span:7.2f} {plan.proven!s:>6} {broken:6}")
        rows.append((label, plan))
    print(f"\n{'replan':24} {'late':>7} {'median ms':>9} {'max ms':>7} {'kept':>8}")
    for label, plan in rows:
        if label not in ("demo batch", "1 pâton(s), 3 folds"):
            continue
        for minutes in (15, 45, 120):
            spans, kept = replans(replace(plan), timedelta(minutes=minutes))
            middle, most = median(spans) * 1000, max(spans) * 1000
            print(f"{label:24} {minutes:3} min {middle:9.0f} {most:7.0f} {kept:3}/{len(spans)}")


if __name__ == "__main__":
    main()
