"""Why a wish cannot be met, in the cook's words, and the nearest that can.

Every sentence rests on a proof of the solver: the wish is infeasible as it stands, and becomes feasible when the one
thing named is given up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from shared_schedule import plan as wire
from tourier.dayplan import objectives as wants
from tourier.dayplan.constraints import DayModel
from tourier.dayplan.hours import zone_of
from tourier.dayplan.model import Impossible, by_clock
from tourier.dayplan.problem import LOOK_AHEAD_S, MINUTE_S, Problem, Task, moment
from tourier.dayplan.search import Budget, any_timetable, solve
from tourier.dayplan.solution import Solution
from tourier.voice import span

EFFORT = 0.1  # for one question
CROWDED_ALL_EFFORT = 0.1  # the same where the search is hard, and the answers seldom found
CROWDED_EFFORT = 0.7  # for some later hour of such a wish, for each span of
LATER_MIN = (120, 240)
ALL_EFFORT = 0.4  # for all questions of one refusal: reasons are looked for, not proofs that there are no others
EARLIER_MIN = 2 * 1440  # how much earlier a start is looked for
SHOWN = 5  # step names in one sentence


def explain(problem: Problem, now: datetime, *, crowded: bool = False) -> Impossible:
    """Return the refusal of a problem that the solver proved infeasible; `crowded`: it took the crowded search."""
    budget = Budget(CROWDED_ALL_EFFORT if crowded else ALL_EFFORT, crowded)
    available = min(problem.targets) - problem.start
    chain, length = longest_chain(problem)
    nearest, proven, searched = _nearest(problem, budget)
    ahead = [i for i, (a, b) in enumerate(problem.spans) if b > problem.start and a < max(problem.targets)]
    blocking, steps = _blocking(problem, ahead, budget)
    give_up = [*_give_up_hours(problem, blocking, steps)]
    begin = begin_by(problem, budget)
    if begin is not None:
        give_up.append(f"Begin by {begin:%a %H:%M} for the same hour another time: that is already past now.")
    if nearest is not None:
        instead = "that is the earliest possible" if proven else "no earlier hour was found"
        give_up.insert(0, f"Be ready at {nearest:%a %d %b %H:%M} instead: {instead}.")
    if length > available:
        names = listed([task.process.name for task in chain])
        sentence = (
            f"From {moment(problem, problem.start):%a %H:%M} to {moment(problem, max(problem.targets)):%a %H:%M} "
            f"there are {span(available * MINUTE_S)}; {names} need at least {span(length * MINUTE_S)} in a row"
        )
    elif blocking:
        hours = " and ".join(_hours(problem, index) for index in blocking)
        whose = "you sleep" if all(problem.away[i].why == "sleep" for i in blocking) else "you are not at work"
        sentence = f"{listed(steps)} would fall between {hours}, when {whose}"
    elif full := full_places(problem, budget, any_hour=nearest is None and searched):
        sentence = room_words(problem, full)
        give_up.append(room_offer(full))
    else:
        sentence = (
            f"Between {moment(problem, problem.start):%a %H:%M} and {moment(problem, max(problem.targets)):%a %H:%M} "
            "the steps do not fit beside each other with one cook, one bench and the places given"
        )
    if nearest is not None:
        end = f". The earliest {'it can be ready' if proven else 'hour found'} is {nearest:%a %d %b %H:%M}."
    else:
        end = ". As it is, no ready time in a week works." if searched else "."
    return Impossible(
        sentence + end,
        nearest,
        give_up=tuple(give_up),
        steps=tuple(steps or [task.process.name for task in chain]),
        hours=tuple(
            (moment(problem, problem.spans[i][0]), moment(problem, problem.spans[i][1]), problem.away[i].why)
            for i in blocking
        ),
    )


def _nearest(problem: Problem, budget: Budget) -> tuple[datetime | None, bool, bool]:
    """Return (earliest ready time or None, is it proven, was the search finished); some later hour if need be."""
    if not budget.crowded:
        try:
            return (*earliest_ready(problem, budget), True)
        except TimeoutError:
            pass
    for late in LATER_MIN:  # a short way past the wish is searched sooner than a week
        model = DayModel(problem, late=late, leeway=True)
        try:
            found = any_timetable(model, Budget(CROWDED_EFFORT, crowded=True))
        except TimeoutError:
            continue
        if found is not None:
            return moment(problem, max(found.end[t.index] for t in problem.tasks if t.ready)), False, True
    return None, False, False


def earliest_ready(problem: Problem, budget: Budget | None = None) -> tuple[datetime | None, bool]:
    """Return the earliest time everything can be ready within the cook's hours, or None when no day of a week will do,

    and whether it is proven that there is no earlier one. Raises TimeoutError when the search ended without a plan and
    without a proof.
    """
    best: Solution | None = None
    unknown = False
    for leeway in (True, False):
        model = DayModel(problem, late=LOOK_AHEAD_S // MINUTE_S - 1440, leeway=leeway)
        try:
            found = solve(model, [("late_min", wants.lateness)], effort=EFFORT, budget=budget)
        except TimeoutError:
            unknown = True
            continue
        if found is None and leeway:
            return None, True
        if found is not None and (best is None or found.reached["late_min"] < best.reached["late_min"]):
            best = found
        if found is not None and found.proven:
            break
    if best is None and unknown:
        raise TimeoutError
    if best is None:
        return None, True
    return moment(problem, max(best.end[t.index] for t in problem.tasks if t.ready)), best.proven


def begin_by(problem: Problem, budget: Budget | None = None) -> datetime | None:
    """Return the latest start that would have met the wish, when that lies before the earliest allowed one."""
    model = DayModel(problem, early=EARLIER_MIN)
    try:
        stages = [("early_min", wants.earliness), ("start", wants.first_start)]
        found = solve(model, stages, effort=EFFORT, budget=budget)
    except TimeoutError:
        return None
    return None if found is None else moment(problem, min(found.start))


def longest_chain(problem: Problem) -> tuple[list[Task], int]:
    """Return the longest chain of steps that must follow each other, at their shortest, and its minutes."""
    best: dict[int, tuple[int, int | None]] = {}

    def reach(index: int) -> int:
        if index not in best:
            task = problem.tasks[index]
            before = max(((reach(b), b) for b, _ in task.preds), default=(0, None))
            best[index] = (before[0] + task.low, before[1])
        return best[index][0]

    length, last = max((reach(task.index), task.index) for task in problem.tasks if task.ready)
    chain: list[Task] = []
    at: int | None = last
    while at is not None:
        chain.append(problem.tasks[at])
        at = best[at][1]
    return chain[::-1], length


def full_places(problem: Problem, budget: Budget, *, any_hour: bool = False) -> dict[int, int]:
    """Return {place: how many units a plan with room enough there uses} of the places that make the wish impossible.

    One place where that suffices; else as few as stand in the way together. Empty: room is not what is missing.
    `any_hour`: no hour works as it is, so a plan for whatever hour of the week shows that room is missing.
    """
    limited = [p for p in (wire.FRIDGE, wire.OVEN, wire.FREEZER, wire.PROOF_SPACE) if p in problem.capacity]
    together = _with_room(problem, limited, budget, any_hour)
    for place in together:  # where room everywhere does not help, no place needs to be asked alone
        if found := _with_room(problem, [place], budget, any_hour):
            return found
    for place in limited:
        if len(together) > 1 and place in together:
            fewer = [p for p in together if p != place]
            together = _with_room(problem, fewer, budget, any_hour) or together
    return together


def _with_room(problem: Problem, places: Sequence[int], budget: Budget, any_hour: bool) -> dict[int, int]:
    """Return what of these places is used beyond their room by a plan that has all it wants; empty: there is none."""
    roomy = replace(problem, capacity={**problem.capacity, **dict.fromkeys(places, 99)})
    try:
        if any_hour:
            model = DayModel(roomy, late=LOOK_AHEAD_S // MINUTE_S - 1440, leeway=True)
            found = solve(model, [("late_min", wants.lateness)], effort=EFFORT, budget=budget)
        else:
            found = solve(DayModel(roomy), [("early_min", wants.earliness)], effort=EFFORT, budget=budget)
    except TimeoutError:
        return {}
    if found is None:
        return {}
    peaks = {place: _peak(problem, found, place) for place in places}
    return {place: peak for place, peak in peaks.items() if peak > problem.capacity[place]}


def _peak(problem: Problem, found: Solution, place: int) -> int:
    """Return how many units stand in a place at once in a solution."""
    there = [t for t in problem.tasks if t.process.place == place and t.process.kind != wire.PREHEAT]
    return max(
        (
            sum(t.process.units for t in there if found.start[t.index] <= found.start[at.index] < found.end[t.index])
            for at in there
        ),
        default=0,
    )


_ROOM_WORDS = {
    wire.FRIDGE: ("shelf", "shelves"), wire.FREEZER: ("place", "places"), wire.PROOF_SPACE: ("tray", "trays"),
    wire.OVEN: ("tray at once", "trays at once"),
}  # fmt: skip


def room_words(problem: Problem, full: dict[int, int]) -> str:
    """Return 'The fridge has 3 shelves, too few for what must stand in it: with 4 there is a plan'."""
    have, need = [], []
    for place, used in full.items():
        count = problem.capacity[place]
        have.append(f"the {wire.PLACE_WORDS[place]} has {count} {_ROOM_WORDS[place][count != 1]}")
        need.append(f"{used}{f' in the {wire.PLACE_WORDS[place]}' if len(full) > 1 else ''}")
    it = "it" if len(full) == 1 else "them"
    sentence = f"{' and '.join(have)}, too few for what must stand in {it}: with {' and '.join(need)} there is a plan"
    return sentence[0].upper() + sentence[1:]


def room_offer(full: dict[int, int]) -> str:
    """Return what can be done about places that are too small."""
    words = " and ".join(f"the {wire.PLACE_WORDS[place]}" for place in full)
    return f"Make room in {words}, or make fewer pieces."


def listed(names: Sequence[str]) -> str:
    """Return 'mix, bulk and 7 more' for a list of step names without repeats."""
    unique = list(dict.fromkeys(names))
    if not unique:
        return "some step"
    if len(unique) > SHOWN:
        shown = [*unique[: SHOWN - 2], f"{len(unique) - SHOWN + 1} more", unique[-1]]
    else:
        shown = unique
    return shown[0] if len(shown) == 1 else ", ".join(shown[:-1]) + " and " + shown[-1]


def _blocking(problem: Problem, ahead: list[int], budget: Budget) -> tuple[list[int], list[str]]:
    """Return the away spans that are in the way (one if one suffices) and the steps that would fall into them."""
    for dropped in [[index] for index in reversed(ahead)] + ([ahead] if len(ahead) > 1 else []):
        found = _without(problem, dropped, budget)
        if found is None:
            continue
        inside = {
            index: [
                task
                for task in problem.tasks
                if task.watched
                and found.start[task.index] < problem.spans[index][1]
                and problem.spans[index][0] < found.start[task.index] + task.watched
            ]
            for index in dropped
        }
        used = [index for index in dropped if inside[index]]
        tasks = sorted((t for index in used for t in inside[index]), key=lambda t: found.start[t.index])
        return used, [task.process.name for task in tasks]
    return [], []


def _without(problem: Problem, dropped: list[int], budget: Budget) -> Solution | None:
    model = DayModel(problem, drop_spans=frozenset(dropped))
    spans = [problem.spans[index] for index in dropped]
    try:
        return solve(model, [("hands", lambda day: wants.hands_in(day, spans))], effort=EFFORT, budget=budget)
    except TimeoutError:
        return None


def _give_up_hours(problem: Problem, blocking: list[int], steps: list[str]) -> list[str]:
    found = []
    for index in blocking:
        verb = "Get up or stay up" if problem.away[index].why == "sleep" else "Be there"
        found.append(f"{verb} for {listed(steps)} between {_hours(problem, index)}.")
    return found


def _hours(problem: Problem, index: int) -> str:
    begin, end = (by_clock(s, zone_of(problem.zone)) for s in (problem.away[index].from_s, problem.away[index].to_s))
    return f"{begin:%a %H:%M} and {end:%a %H:%M}"
