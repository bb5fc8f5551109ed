"""From a day plan to the plan record a bench timer holds."""

from __future__ import annotations

from shared_schedule import plan as wire
from shared_schedule.plan_writer import encode_plan
from shared_schedule.units import NO_CDEG
from tourier.dayplan.hours import offset_change, zone_of
from tourier.dayplan.model import DayPlan, PlannedStep, Refused, to_at_s

PATONS = 8  # the timer tells this many pâtons apart


def to_device(plan: DayPlan) -> wire.Plan:
    """Return the timer's plan: validated, whole numbers, within its limits.

    Raises Refused with one sentence when the plan is too large for a timer.
    """
    if len(plan.steps) > wire.MAX_STEPS:
        raise Refused(
            f"The plan has {len(plan.steps)} steps and the timer holds {wire.MAX_STEPS}: make it with fewer pâtons, "
            "or send the batches one by one."
        )
    begin_s, end_s = plan.steps[0].start_at_s, max(step.end_at_s for step in plan.steps)
    first_s = min(begin_s, to_at_s(plan.made_at))
    before, change_s, after = offset_change(zone_of(plan.zone), first_s, end_s + 86400)
    fields = {name for name, *_ in wire.PLAN_FIELDS}
    thermal = {name: value for name, value in plan.workup.device.items() if name in fields}
    ids = {(step.job, step.process.key): step.step_id for step in plan.steps}
    # A final branch for another day (raw pieces in the freezer) does not count for the hour.
    result = wire.Plan(
        name=fit(plan.name, 40),
        made_at_s=to_at_s(plan.made_at),
        ready_at_s=to_at_s(plan.wished[0] if len(plan.wished) == 1 else max(plan.wished)),
        offset_min=before,
        offset_change_at_s=change_s,
        offset_after_min=after,
        quiet=_quiet(plan, first_s, end_s),
        units=int(plan.spec.voice.us),
        steps=[_step(plan, step, ids) for step in plan.steps],
        **thermal,
    )
    try:
        encode_plan(result)
    except wire.PlanError as error:
        raise Refused(f"The timer cannot hold this plan: {error}.") from error
    return result


def fit(text: str, size: int) -> str:
    """Return text without control characters, cut to at most `size` bytes of UTF-8 between characters."""
    clean = "".join(" " if ord(c) < 32 or 127 <= ord(c) < 160 else c for c in text).strip() or "-"
    if len(clean.encode()) <= size:
        return clean
    while len(clean.encode()) > size:
        clean = clean[:-1]
    return clean.rstrip() or "-"


def _quiet(plan: DayPlan, from_s: int, to_s: int) -> tuple[tuple[int, int], ...]:
    """Sleep within the plan; when the timer cannot hold all spans, the first ones (the nights of the work)."""
    spans = [
        (max(span.from_s, from_s), min(span.to_s, to_s))
        for span in plan.away
        if span.why == "sleep" and span.to_s > from_s and span.from_s < to_s
    ]
    return tuple(span for span in spans if span[0] < span[1])[: wire.MAX_QUIET]


def _cdeg(celsius: float | None) -> int:
    return NO_CDEG if celsius is None else round(celsius * 100)


def _um(metres: float) -> int:
    return round(metres * 1_000_000)


def _step(plan: DayPlan, planned: PlannedStep, ids: dict[tuple[int, str], int]) -> wire.Step:
    step = planned.process
    flags = (wire.SAVES_BATCH if step.saves_batch else 0) | (wire.ASK_OVEN_EMPTY if step.ask_oven_empty else 0)
    if step.kind == wire.PREHEAT and plan.spec.kitchen.proof_place == "oven":
        flags |= wire.ASK_OVEN_EMPTY
    paton = step.paton + sum(job.workup.patons for job in plan.jobs[: planned.job]) if step.paton else 0
    name = step.name
    if step.paton and sum(job.workup.patons for job in plan.jobs) > 1:
        name = f"{fit(name, 28)} · {paton}"
    return wire.Step(
        step_id=planned.step_id,
        kind=step.kind,
        name=fit(name, 32),
        place=step.place,
        paton=min(paton, PATONS),
        start_at_s=planned.start_at_s,
        planned_for_s=planned.duration_s,
        attended_s=step.attended_s,
        min_s=step.min_s,
        ideal_s=step.ideal_s,
        max_s=min(step.max_s, 2678400),
        after=_after(plan, planned, ids),
        ends_by=step.ends_by,
        low_cdeg=_cdeg(step.low_c),
        high_cdeg=_cdeg(step.high_c),
        core_cdeg=_cdeg(step.core_c),
        air_max_cdeg=_cdeg(step.air_max_c),
        fold=step.fold,
        fold_n=step.fold_n,
        fold_of=step.fold_of,
        spine=step.spine,
        quarter=int(step.quarter),
        length_um=_um(step.length_m),
        width_um=_um(step.width_m),
        thickness_um=_um(step.thickness_m),
        layers=step.layers,
        dose_s=step.dose_s,
        flags=flags,
        ticks=tuple(fit(tick, 40) for tick in step.ticks[: wire.MAX_TICKS]),
    )


def _after(plan: DayPlan, planned: PlannedStep, ids: dict[tuple[int, str], int]) -> tuple[int, ...]:
    """Predecessors by id; when there are more than the timer holds, those that end last (the others are over)."""
    keys = list(dict.fromkeys((*planned.process.after, *planned.process.after_max_s)))
    if len(keys) > wire.MAX_AFTER:
        ends = {s.process.key: s.end_at_s for s in plan.steps if s.job == planned.job}
        keys = sorted(keys, key=lambda key: (ends[key], key))[-wire.MAX_AFTER :]
    return tuple(sorted(ids[planned.job, key] for key in keys))
