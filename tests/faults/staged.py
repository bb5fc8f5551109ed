"""The batch and plan of the staged faults: one pâton, three 3-folds, cold pieces overnight. Planned once, kept."""

from __future__ import annotations

from datetime import datetime, timedelta

from tourier.batch.examples import demo_text
from tourier.batch.read import read_batch_text
from tourier.batch.workup import work_up
from tourier.known import Known

from shared_schedule import plan as P
from shared_schedule.units import EPOCH_UNIX_S

_ALAP = (P.BLOCK, P.TEMPER, P.ICE, P.PREHEAT)


def staged_text() -> str:
    """Return the demo batch, a third of the size."""
    lines = demo_text().replace("count = 24", "count = 10").replace("count = 12", "count = 6").splitlines()
    return "\n".join("sequence = [3, 3, 3]" if line.startswith("sequence") else line for line in lines)


def staged_plan(text: str | None = None) -> tuple[P.Plan, str]:
    """Return (plan, batch text): steps as the workup wants them, each as soon as it may, tempering and ice as late.

    The day planner's own plan is used where a rehearsal is played; here planning 240 times would only cost time.
    """
    text = text or staged_text()
    spec = read_batch_text(text, "staged")
    workup = work_up(spec, Known())
    process = list(workup.process)
    number = {step.key: n + 1 for n, step in enumerate(process)}
    begin = int(datetime.fromisoformat("2026-11-14T13:00:00+00:00").timestamp()) - EPOCH_UNIX_S
    start: dict[str, int] = {}
    for step in process:
        start[step.key] = max([begin + 600] + [start[k] + _length(process[number[k] - 1]) for k in step.after])
    for step in reversed(process):
        followers = [start[s.key] for s in process if step.key in s.after]
        if step.kind in _ALAP and followers:
            start[step.key] = min(followers) - _length(step)
    order = _ordered(process, start)
    number = {step.key: n + 1 for n, step in enumerate(order)}
    steps = [_step(step, start[step.key], number) for step in order]
    end = max(s.start_at_s + s.planned_for_s for s in steps)
    hold = next(s for s in steps if s.kind == P.HOLD)
    plan = P.Plan(steps, name=spec.name[:40], made_at_s=begin, ready_at_s=end, offset_min=60,
                  quiet=((hold.start_at_s + 4 * 3600, hold.start_at_s + hold.planned_for_s - 900),),
                  **workup.device)  # fmt: skip
    return P.validate(plan), text


def _length(step) -> int:
    return int(step.ideal_s)


def _ordered(process, start):
    """Stable by start, never before what a step must follow."""
    left, out, done = sorted(process, key=lambda s: start[s.key]), [], set()
    while left:
        pick = next(s for s in left if all(k in done for k in s.after))
        left.remove(pick)
        out.append(pick)
        done.add(pick.key)
    return out


def _c(c: float | None) -> int:
    return -32768 if c is None else round(c * 100)


def _step(s, at_s: int, number: dict[str, int]) -> P.Step:
    return P.Step(
        step_id=number[s.key], kind=s.kind, name=s.name[:32], place=s.place, paton=s.paton, start_at_s=at_s,
        planned_for_s=_length(s), attended_s=s.attended_s, min_s=s.min_s, ideal_s=s.ideal_s, max_s=s.max_s,
        after=tuple(number[k] for k in s.after),
        ends_by=P.BY_TIME if s.ends_by == P.BY_COOK and (s.flexible or s.kind == P.BAKE) else s.ends_by,
        low_cdeg=_c(s.low_c), high_cdeg=_c(s.high_c),
        core_cdeg=_c(s.core_c), air_max_cdeg=_c(s.air_max_c), fold=s.fold, fold_n=s.fold_n, fold_of=s.fold_of,
        spine=s.spine, quarter=s.quarter, length_um=round(s.length_m * 1e6), width_um=round(s.width_m * 1e6),
        thickness_um=round(s.thickness_m * 1e6), layers=s.layers, dose_s=s.dose_s,
        flags=(P.SAVES_BATCH if s.saves_batch else 0) | (P.ASK_OVEN_EMPTY if s.ask_oven_empty else 0), ticks=s.ticks,
    )  # fmt: skip




def demo_plan() -> tuple[P.Plan, str]:
    """Return the demo batch as the day planner plans it: two pâtons, one needle."""
    from tourier.dayplan import plan_days, to_device

    text = demo_text()
    spec = read_batch_text(text, "demo")
    return to_device(plan_days(spec, work_up(spec, Known()), spec.wished_at - timedelta(hours=46))), text
