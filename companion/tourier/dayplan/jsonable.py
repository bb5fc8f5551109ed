"""`tourier plan --json`: one object, keys may be added but never renamed."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from shared_schedule import plan as wire
from tourier.batch.jsonable import SCHEMA, workup_json
from tourier.batch.rising import LoadRise
from tourier.dayplan.hours import zone_of
from tourier.dayplan.model import DayPlan, PlannedStep, from_at_s


def plan_json(plan: DayPlan) -> dict[str, Any]:
    """Return what `tourier plan --json` prints: plain dicts, lists, text and numbers; times ISO 8601 with offset."""
    known = workup_json(plan.workup)
    result: dict[str, Any] = {
        "schema": SCHEMA,
        "batch": known.get("batch", plan.spec.name),
        "formula": known["formula"],
        "layers": known["layers"],
        "sheets": known["sheets"],
        "cuts": known["cuts"],
        "steps": [step_json(step) for step in plan.steps],
        "ready_at": iso(plan.planned_at),
        "warnings": [
            *known.get("warnings", []),
            *({"code": "plan", "text": text, "why": "the day planner"} for text in plan.warnings),
        ],
        "wished_at": [iso(wished) for wished in plan.wished],
        "made_at": iso(plan.made_at),
        "zone": plan.zone,
        "duty_s": plan.duty_s,
        "proven": plan.proven,
        "rises": [load_json(load, number) for number, own in enumerate(plan.rises, 1) for load in own],
        "away": [
            {"from": iso(_local(plan, span.from_s)), "to": iso(_local(plan, span.to_s)), "why": span.why}
            for span in plan.away
        ],
    }
    if plan.chance is not None:
        result["chance"] = {
            "ready_by": round(plan.chance.ready_by, 3),
            "late_s": list(plan.chance.late_s),
            "slack_for_95_s": plan.chance.slack_for_95_s,
            "runs": plan.chance.runs,
            "weak": list(plan.chance.weak),
        }
    if len(plan.jobs) > 1:
        result["batches"] = [workup_json(job.workup) for job in plan.jobs]
    for key, value in known.items():
        result.setdefault(key, value)
    return result


def step_json(step: PlannedStep) -> dict[str, Any]:
    """Return one step; `window_cdeg` is [low, high] in 0.01 °C, each a number or None, or None without a window."""
    process = step.process
    low, high = (None if c is None else round(c * 100) for c in (process.low_c, process.high_c))
    return {
        "id": step.step_id,
        "kind": wire.KIND_WORDS[process.kind],
        "name": process.name,
        "place": wire.PLACE_WORDS[process.place],
        "start": iso(step.start),
        "end": iso(step.end),
        "attended_s": process.attended_s,
        "min_s": process.min_s,
        "ideal_s": process.ideal_s,
        "max_s": process.max_s,
        "slack_s": step.slack_s,
        "window_cdeg": None if low is None and high is None else [low, high],
        "key": process.key,
        "batch_n": step.job + 1,
        "paton": process.paton,
        "core_cdeg": None if process.core_c is None else round(process.core_c * 100),
        "after": list(process.after),
        "ticks": list(process.ticks),
        "why": process.why,
    }


def load_json(load: LoadRise, batch_n: int) -> dict[str, Any]:
    """Return what a load has risen by, in percent of a whole proof; [least, usual, most] by yeast's low end."""
    return {
        "batch_n": batch_n,
        "key": load.key,
        **{part: [round(100 * share) for share in getattr(load, part)] for part in ("bulk", "lamination", "nights")},
        "cold": round(100 * load.cold),
        "proof": round(100 * load.proof),
        "wait": round(100 * load.wait),
        "dose": [round(100 * load.least), round(100 * load.dose), round(100 * load.most)],
        "wait_s": round(load.wait_s),
        "night_s": round(load.night_s),
    }


def iso(moment: datetime) -> str:
    """Return ISO 8601 with offset, whole seconds."""
    return moment.replace(microsecond=0).isoformat()


def _local(plan: DayPlan, at_s: int) -> datetime:
    return from_at_s(at_s).astimezone(zone_of(plan.zone))
