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
from tourier.dayplan import Impossible, Refused, plan_days, to_device  # noqa: E402
from tourier.dayplan.replan import Happened, replan  # noqa: E402
from tourier.known import Known

from shared_schedule.plan_writer import encode_plan  # noqa: E402


def demo():
    from tourier.batch.examples import demo_text
    from tourier.batch.read import read_batch_text
    from tourier.batch.workup import work_up

    now = at(27, 18, month=11)
    s = read_batch_text(demo_text(), "demo", now)
    return s, work_up(s, Known()), now


def timed(action, times=3):
    """Return (median wall s, median CPU s, result): one worker, so the CPU time is the wall time of an idle machine."""
    walls, works, result = [], [], None
    for _ in range(times):
        wall, work = time.perf_counter(), time.process_time()
        result = action()
        walls.append(time.perf_counter() - wall)
        works.append(time.process_time() - work)
    return median(walls), median(works), result


def replans(plan, late):
    """Replan with every step in turn late; return rows (step, wall ms, CPU ms, limits passed, past bedtime, late)."""
    rows = []
    for step in plan.steps:
        now = step.start + late
        facts = {}
        for other in plan.steps:
            if other.start < step.start:
                over = other.end <= now and not (other.process.flexible and other.end >= step.start)
                facts[other.step_id] = Happened(2 if over else 1, other.start, other.end if over else None)
        _, work, result = timed(lambda facts=facts, now=now: replan(plan, facts, now), 1)
        up = sum("past your bedtime" in b.sentence for b in result.broken)
        rows.append((step, work * 1000, len(result.broken) - up, up, result.late_s // 60))
    return rows


def main() -> None:
    plans = []
    s, w, now = demo()
    timed(lambda: plan_days(s, w, now, chance=False), 1)  # loads the solver
    days = [("demo batch", s, w, now)]
    for patons in (1, 2, 3, 4):
        for folds in ((3, 3), (4, 3, 3)):
            a = spec(away=(AwaySpan("sleep", start=clock(22, 0), end=clock(3, 30)),))
            if patons > 2:
                a = replace(a, kitchen=replace(a.kitchen, fridge_shelves=2 * patons))
            label = f"{patons} pâton(s), {len(folds)} folds"
            days.append((label, a, workup(a, process(patons, folds)), at(13, 18)))
    print(f"{'day':24} {'pâtons':>6} {'steps':>5} {'bytes':>6} {'wall s':>7} {'CPU s':>6} {'proven':>6} {'faults':>6}")
    for label, a, b, when in days:
        patons = len({p.paton for p in b.process if p.paton})
        head = f"{label:24} {patons:6} {len(b.process):5}"
        try:
            wall, work, plan = timed(lambda a=a, b=b, when=when: plan_days(a, b, when))
        except Impossible as refusal:
            print(f"{head} {refusal.sentence}")
            continue
        try:
            size = str(len(encode_plan(to_device(plan))))
        except Refused:
            size = "-"  # more steps than one timer holds
        broken = len(faults(plan, when))
        print(f"{head} {size:>6} {wall:7.2f} {work:6.2f} {plan.proven!s:>6} {broken:6}")
        plans.append((label, plan))
    delays = (15, 45, 120)
    for label, plan in plans:
        if label not in ("demo batch", "1 pâton(s), 3 folds"):
            continue
        table = {minutes: replans(plan, timedelta(minutes=minutes)) for minutes in delays}
        print(f"\nReplan of {label}, each step late: CPU ms | limits passed | past bedtime | min late")
        print(f"{'step':28}" + "".join(f"{minutes:>12} min late " for minutes in delays))
        for row in zip(*table.values(), strict=True):
            cells = "".join(f"{work:8.0f} {over:3} {up:2} {late:4}   " for _, work, over, up, late in row)
            print(f"{row[0][0].process.key:28}{cells}")
        for minutes, rows in table.items():
            works = [row[1] for row in rows]
            kept = sum(not row[2] for row in rows)
            print(
                f"{minutes:3} min: median {median(works):.0f} ms, most {max(works):.0f} ms; kept in {kept} of "
                f"{len(rows)}, others named; past bedtime, named, in {sum(bool(row[3]) for row in rows)}"
            )


if __name__ == "__main__":
    main()
