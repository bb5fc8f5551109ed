"""Why a wish cannot be met, in the cook's words, and the nearest that can."""

from __future__ import annotations

from datetime import datetime

from tourier.dayplan.model import Impossible
from tourier.dayplan.problem import LOOK_AHEAD_S, MINUTE_S, Problem, moment
from tourier.dayplan.solve import DayModel


def explain(problem: Problem, now: datetime) -> Impossible:
    """Return the refusal of a problem that the solver proved infeasible."""
    late = LOOK_AHEAD_S // MINUTE_S - 1440
    found = DayModel(problem, late=late).solve([("late_min", DayModel.lateness)])
    if found is None:
        return Impossible("The steps of this batch cannot follow each other within your hours on any day.")
    nearest = moment(problem, max(found.end[t.index] for t in problem.tasks if t.ready))
    return Impossible(f"Not possible by the hour; the earliest is {nearest:%a %H:%M}.", nearest)
