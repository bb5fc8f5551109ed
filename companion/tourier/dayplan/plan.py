"""Planning back from the ready time: `plan_days` for one batch, `plan_together` for several in one kitchen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from shared_schedule import plan as wire
from tourier.batch.model import BatchSpec, Workup
from tourier.dayplan import loads
from tourier.dayplan.chance import chance_of
from tourier.dayplan.constraints import DayModel
from tourier.dayplan.hours import zone_of
from tourier.dayplan.model import BadWish, DayPlan, Impossible, Job, PlannedStep, by_clock, from_at_s, to_at_s
from tourier.dayplan.network import latest_starts
from tourier.dayplan.objectives import NEW_PLAN, SETTLE
from tourier.dayplan.problem import MINUTE_S, Problem, build, moment
from tourier.dayplan.refuse import explain, full_places, room_offer, room_words
from tourier.dayplan.search import Budget, any_timetable, settle, solve
from tourier.dayplan.solution import Solution
from tourier.voice import span

NO_PROOF = "The plan keeps every rule, but no proof was reached that there is no better one."
# In the solver's own count of work (some 5 s of one core a unit), so that the same wish ends the same way everywhere.
PLAN_EFFORT = 1.5
FIRST_EFFORT = 0.2  # to find any timetable at all, or a proof that there is none
CROWDED_EFFORT = 2.0  # to find one after all, by another way of searching
POLISH_EFFORT = 0.1  # to make a timetable better that was found so


def plan_days(
    spec: BatchSpec, workup: Workup, now: datetime, *, slack_s: int | None = None, chance: bool = True
) -> DayPlan:
    """Return the best timetable of one batch; raises BadWish or Impossible, both with one sentence for the cook.

    `now` is aware; nothing is planned before it. `slack_s` aims that much before the wished time; None = the buffer
    the batch file asks for.
    """
    slack_s = int(spec.buffer_s) if slack_s is None else slack_s
    try:
        return plan_together([Job(spec, workup)], now, slack_s=slack_s, chance=chance)
    except Impossible as error:
        if not slack_s or error.nearest is None:
            raise
        raise _with_buffer(error, spec, slack_s) from None


def _with_buffer(error: Impossible, spec: BatchSpec, slack_s: int) -> Impossible:
    """Return a refusal that counts the buffer in: the nearest hour is the one to write in the batch file."""
    assert error.nearest is not None
    zone, nearest_s = zone_of(spec.zone), to_at_s(error.nearest)
    ask = by_clock(nearest_s + slack_s, zone)
    if (left_s := to_at_s(spec.wished_at) - nearest_s) < 0:
        sentence = f"{error.sentence} With your buffer of {span(slack_s)} before it, ask for {ask:%a %d %b %H:%M}."
    else:
        left_s -= left_s % 300
        least = f'buffer = "{span(left_s)}" or less' if left_s else "no buffer"
        sentence = (
            f"A buffer of {span(slack_s)} does not fit: the earliest it can be ready is "
            f"{by_clock(nearest_s, zone):%a %d %b %H:%M}. Write {least}, or work other hours."
        )
    wish = f"Be ready at {ask:%a %d %b %H:%M} instead, which leaves your buffer of {span(slack_s)}."
    others = (text for text in error.give_up if not text.startswith("Be ready at"))
    return Impossible(sentence, ask, give_up=(wish, *others), steps=error.steps, hours=error.hours)


def plan_together(jobs: Sequence[Job], now: datetime, *, slack_s: int = 0, chance: bool = True) -> DayPlan:
    """Return the best timetable of several batches that share cook, bench, fridge, oven and proof space."""
    problem = build(jobs, now, slack_s=slack_s)
    solution = best(problem)
    if solution is None:
        raise explain(problem, now)
    plan = finish(problem, solution, now, chance=chance)
    loads.refuse(plan)
    return plan


def best(problem: Problem) -> Solution | None:
    """Return the best solution, or None when the solver proved that there is none, with the cook's leeway used too.

    Raises Impossible when the effort is spent without a timetable and without a proof, or the proof took the crowded
    search.
    """
    budget = Budget(PLAN_EFFORT)
    try:
        first = solve(model := DayModel(problem), NEW_PLAN[:1], effort=FIRST_EFFORT, budget=budget)
    except TimeoutError:
        return _crowded(problem)
    if first is None:
        try:
            first = solve(model := DayModel(problem, leeway=True), NEW_PLAN[:1], effort=FIRST_EFFORT, budget=budget)
        except TimeoutError:
            return _crowded(problem)
    if first is None:
        return None
    solution = solve(model, NEW_PLAN[1:], first=first, budget=budget) or first
    solution.proven = solution.proven and first.proven
    solution.reached = {**first.reached, **solution.reached}
    return settle(model, solution, SETTLE, budget)


def _crowded(problem: Problem) -> Solution:
    """As `best`, by the way of searching that suits much work in little room; the best is not proven then."""
    model, budget = DayModel(problem, leeway=True), Budget(CROWDED_EFFORT, crowded=True)
    try:
        first = any_timetable(model, budget)
    except TimeoutError:
        raise stuck(problem) from None
    if first is None:
        raise explain(problem, moment(problem, 0), crowded=True)
    solution = solve(model, NEW_PLAN, first=first, budget=Budget(POLISH_EFFORT, crowded=True)) or first
    return settle(model, solution, SETTLE, Budget(POLISH_EFFORT, crowded=True))


def stuck(problem: Problem) -> Impossible:
    """Return the honest refusal of a wish on which the search got stuck: no timetable, and no proof either."""
    wish = moment(problem, max(problem.targets))
    sentence = f"No timetable for {wish:%a %H:%M} was found in the time a search may take, nor a proof that none exists"
    full = full_places(problem, Budget(FIRST_EFFORT))
    if not full:
        return Impossible(f"{sentence}: make fewer pâtons, or allow more hours or more room in fridge and oven.")
    return Impossible(f"{sentence}. {room_words(problem, full)}.", give_up=(room_offer(full),))


def finish(problem: Problem, solution: Solution, now: datetime, *, chance: bool = True) -> DayPlan:
    """Return the DayPlan of a solution: steps in order of start, with slack, chance and warnings."""
    latest, zone = latest_starts(problem, solution), zone_of(problem.zone)
    order = sorted(
        range(len(problem.tasks)), key=lambda i: (solution.start[i], solution.end[i], problem.tasks[i].index)
    )
    steps = tuple(
        PlannedStep(
            step_id=problem.tasks[i].index + 1,
            process=problem.tasks[i].process,
            job=problem.tasks[i].job,
            start_at_s=problem.origin_s + solution.start[i] * MINUTE_S,
            end_at_s=problem.origin_s + solution.end[i] * MINUTE_S,
            zone=zone,
            slack_s=max(0, latest[i] - solution.start[i]) * MINUTE_S,
        )
        for i in _with_predecessors_first(problem, order)
    )
    ready = max(solution.end[t.index] for t in problem.tasks if t.ready)
    plan = DayPlan(
        jobs=problem.jobs,
        steps=steps,
        made_at=by_clock(to_at_s(now), zone),
        planned_at=moment(problem, ready),
        wished=tuple(by_clock(to_at_s(job.spec.wished_at), zone) for job in problem.jobs),
        zone=problem.zone,
        away=tuple(s for s in problem.away if s.to_s > min(step.start_at_s for step in steps)),
        duty_s=duty_of(problem, solution) * MINUTE_S,
        proven=solution.proven,
        rises=loads.rises(problem.jobs, steps),
        cost=dict(solution.reached),
    )
    if chance:
        plan = replace(plan, chance=chance_of(problem, solution))
    return replace(plan, warnings=_warnings(problem, plan))


def _other(held: wire.Plan, jobs: Sequence[Job]) -> str:
    if held.name in {job.spec.name for job in jobs}:
        return (
            f"holds a plan of {held.name} with other steps than this file leads to now: the file was changed, or "
            "something learned since, or another version of Tourier made it. The timer goes on with it as it is."
        )
    return f"holds another batch ({held.name}); collect it first, then plan again."


def adopt(jobs: Sequence[Job], device_plan: wire.Plan) -> DayPlan:
    """Return the DayPlan a bench timer holds, matched to the work-ups it was made from.

    Raises BadWish when the timer's plan does not belong to these batches.
    """
    made = from_at_s(device_plan.made_at_s)
    problem = build(jobs, made, ready=[from_at_s(max(device_plan.ready_at_s, device_plan.made_at_s + 1))] * len(jobs))
    start, end = {}, {}
    for step in device_plan.steps:
        index = step.step_id - 1
        if index >= len(problem.tasks) or problem.tasks[index].process.kind != step.kind:
            raise BadWish("timer", _other(device_plan, jobs))
        start[index] = (step.start_at_s - problem.origin_s) // MINUTE_S
        end[index] = start[index] + step.planned_for_s // MINUTE_S
    if len(start) != len(problem.tasks):
        raise BadWish("timer", _other(device_plan, jobs))
    count = len(problem.tasks)
    solution = Solution([start[i] for i in range(count)], [end[i] for i in range(count)], False)
    return finish(problem, solution, made, chance=False)


def duty_of(problem: Problem, solution: Solution) -> int:
    """Return minutes from first to last hands-on work of every waking stretch, summed."""
    edges = sorted(problem.spans)
    total: dict[int, tuple[int, int]] = {}
    for task in problem.tasks:
        if task.attended:
            start, end = solution.start[task.index], solution.start[task.index] + task.attended
            stretch = sum(1 for a, _ in edges if a <= start)
            first, last = total.get(stretch, (start, end))
            total[stretch] = (min(first, start), max(last, end))
    return sum(last - first for first, last in total.values())


def _with_predecessors_first(problem: Problem, order: list[int]) -> list[int]:
    """Keep the order of start, but let no step of no length stand before one it must follow."""
    placed: set[int] = set()
    result: list[int] = []
    waiting = list(order)
    while waiting:
        for index in waiting:
            if all(before in placed for before, _ in problem.tasks[index].preds):
                placed.add(index)
                result.append(index)
                waiting.remove(index)
                break
        else:  # build() refused cycles
            raise AssertionError("cyclic steps")
    return result


def _warnings(problem: Problem, plan: DayPlan) -> tuple[str, ...]:
    found = []
    early = max((plan.wished[0] - plan.planned_at).total_seconds(), 0) if len(plan.jobs) == 1 else 0
    meant = max(job.spec.buffer_s for job in plan.jobs)
    if early >= meant + 300:
        found.append(f"Ready {span(early)} before the hour: your hours leave no later time for the last steps.")
    found += loads.warnings(plan)
    if not plan.proven:
        found.append(NO_PROOF)
    if plan.chance is not None and plan.chance.ready_by < 0.8:
        found.append(
            f"Steps take longer on some days: {round(plan.chance.ready_by * 100)} % chance to be ready by "
            f"{'the hour you asked for' if len(plan.jobs) == 1 else 'the hours you asked for'}. "
            f'Write buffer = "{span(early + plan.chance.slack_for_95_s)}" in the batch file to make it 95 %.'
        )
    return tuple(found)
