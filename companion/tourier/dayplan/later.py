"""The other day of pieces frozen raw: their own thaw, proof and bake, planned from the stored batch alone."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from tourier.batch.model import BatchSpec, Workup
from tourier.dayplan.hours import zone_of
from tourier.dayplan.model import BadWish, DayPlan, Impossible, by_clock, to_at_s
from tourier.dayplan.plan import plan_days
from tourier.dayplan.problem import FROZEN_LIMIT_S


def plan_frozen(
    spec: BatchSpec, workup: Workup, frozen_at: datetime, wished_at: datetime, now: datetime, *, chance: bool = True
) -> DayPlan:
    """Return the timetable for the frozen pieces, ready at another day's hour.

    `workup.later` holds their steps, kept with the batch, so nothing is written down twice. Raises BadWish when no
    pieces were frozen or the day lies beyond the month, Impossible when the hours do not allow it.
    """
    if not workup.later:
        raise BadWish(f"{spec.name}: freeze", "no pieces of this batch were frozen raw, so there is nothing to thaw.")
    for name, at in (("ready", wished_at), ("frozen", frozen_at)):
        if at.tzinfo is None:
            raise BadWish(f"{spec.name}: {name}", "is a time without a zone.")
    # A month is common practice, no source: a limit of quality; for safety local rules decide.
    last = by_clock(to_at_s(frozen_at) + FROZEN_LIMIT_S, zone_of(spec.zone))
    if wished_at > last:
        raise Impossible(
            f"Frozen {frozen_at:%d %b}, the pieces keep a month: bake them by {last:%a %d %b}.",
            last,
            give_up=(f"Be ready by {last:%a %d %b} instead.",),
        )
    other = replace(spec, name=f"{spec.name}, frozen", wished_at=wished_at, start_after=None)
    return plan_days(other, replace(workup, process=workup.later, later=()), max(now, frozen_at), chance=chance)
