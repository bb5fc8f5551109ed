"""How a plan says when it is ready: the hour aimed at, the hour asked for, and how likely the one asked for is."""

from __future__ import annotations

from tourier.dayplan.model import DayPlan, Impossible
from tourier.voice import span

HALF_HOUR_S, HOUR_S = 1800, 3600


def ready_words(plan: DayPlan) -> str:
    """Return 'Ready Sun 29 Nov 08:00, half an hour before the 08:30 you asked for'."""
    return f"Ready {plan.planned_at:%a %d %b %H:%M}{asked_words(plan)}"


def asked_words(plan: DayPlan) -> str:
    """Return ', half an hour before the 08:30 you asked for'; empty when both are the same, or for several batches."""
    gap_s = _gap_s(plan)
    if abs(gap_s) < 60:
        return ""
    long = {HALF_HOUR_S: "half an hour", HOUR_S: "an hour"}.get(abs(gap_s)) or span(abs(gap_s))
    asked = plan.wished[0]
    day = "" if asked.date() == plan.planned_at.date() else f"{asked:%a} "
    return f", {long} {'before' if gap_s > 0 else 'after'} the {day}{asked:%H:%M} you asked for"


def offers(refused: Impossible) -> tuple[str, ...]:
    """Return what could be given up for a refused wish, the nearest hour that works first; each is one sentence."""
    named = any(text.startswith("Be ready ") for text in refused.give_up)
    if refused.nearest is None or named:
        return refused.give_up
    return (f"The nearest hour that works: {refused.nearest:%A %d %B, %H:%M}.", *refused.give_up)


def chance_words(plan: DayPlan) -> str:
    """Return '87 % chance of being ready by 08:30', the hour asked for; 'by its hour' for several batches.

    Empty when no chance was worked out.
    """
    if plan.chance is None:
        return ""
    by = f"{plan.wished[0]:%H:%M}" if len(plan.wished) == 1 else "its hour"
    return f"{round(plan.chance.ready_by * 100)} % chance of being ready by {by}"


def _gap_s(plan: DayPlan) -> int:
    return round((plan.wished[0] - plan.planned_at).total_seconds()) if len(plan.wished) == 1 else 0
