"""The rest of a day that slipped: which order of work, and how late into the evening."""

from __future__ import annotations

from dataclasses import replace

from tourier.dayplan.constraints import DayModel
from tourier.dayplan.problem import Problem
from tourier.dayplan.quick import EARLY, Quick, beyond
from tourier.dayplan.search import solve
from tourier.dayplan.solution import Fact, Solution

STAY_MIN = 60  # how long past bedtime a late day may keep the cook up, always said: common practice, no source
GUIDE_EFFORT = 0.014
TWO_DAYS_MIN = 2 * 1440  # a slip is looked for within two days


def best_rest(problem: Problem, facts: dict[int, Fact], now: int, was: Solution) -> Solution | None:
    """Return the best timetable found for the rest of a day, or None when no order of work fits the cook's hours."""
    found = Quick(problem, facts, now, was).timetables(relaxed=False)
    if found and min(found)[0] < EARLY:
        return min(found)[1]
    late = Quick(problem, facts, now, was, stay=STAY_MIN)
    found += late.timetables(relaxed=True)
    if not found or min(map(beyond, (one for _, one in found))) > late.bound:
        guide = _guide(problem, facts, now)
        if guide is not None:
            found += Quick(problem, facts, now, was, guide=guide, stay=STAY_MIN).timetables(relaxed=False)
    return min(found, key=lambda pair: pair[0])[1] if found else None


def _guide(problem: Problem, facts: dict[int, Fact], now: int) -> Solution | None:
    """Return an order of work that passes maxima by little, from a short search over all orders."""
    spans = [
        (min(begin + STAY_MIN, end - 1) if away.why == "sleep" else begin, end)
        for (begin, end), away in zip(problem.spans, problem.away, strict=True)
    ]
    late = TWO_DAYS_MIN + max(0, now - min(problem.targets))
    model = DayModel(
        replace(problem, spans=tuple(spans)), late=late, soft=True, facts=facts, now=now, leeway=True
    )  # fmt: skip
    try:
        return solve(model, [("over_min", lambda day: sum(day.over))], effort=GUIDE_EFFORT)
    except TimeoutError:
        return None
