"""A new timetable from what has really happened: every minimum rest and maximum hold kept, or said which cannot be.

Steps done or under way stay as they were; the rest of the day is planned again from now. The ready time may slip, and
an evening's work that runs late may keep the cook up for an hour at most rather than spoil the dough: whatever limit,
hour or bedtime is not kept is named. No other away hours are touched.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from shared_schedule import plan as wire
from shared_schedule.history import History
from shared_schedule.states import READY
from tourier.batch.model import ProcessStep
from tourier.dayplan.chance import chance_of
from tourier.dayplan.device import to_device
from tourier.dayplan.model import DayPlan, Impossible, from_at_s, to_at_s
from tourier.dayplan.problem import MINUTE_S, Problem, build, minutes_up, moment
from tourier.dayplan.rest import best_rest
from tourier.dayplan.solution import DONE, RUNNING, SKIPPED, WAITING, Fact, Solution
from tourier.voice import span


@dataclass(frozen=True)
class Happened:
    """What really happened to a step, as the planner takes it: WAITING, RUNNING (READY too), DONE or SKIPPED."""

    state: int
    started: datetime | None = None
    ended: datetime | None = None


@dataclass(frozen=True)
class Moved:
    """A step that begins at another time than before; positive is later."""

    step_id: int
    name: str
    was: datetime
    now: datetime

    @property
    def by_s(self) -> int:
        return (self.now - self.was) // timedelta(seconds=1)


@dataclass(frozen=True)
class Broken:
    """A limit that cannot be kept any more: `by_s` beyond the maximum of a rest, hold or wait, or past bedtime."""

    step_id: int
    name: str
    by_s: int
    sentence: str


@dataclass(frozen=True)
class ColdHold:
    """An offer: a cold step that may be stretched. `until` by its maximum, `free_s` of it without moving the hour."""

    step_id: int
    name: str
    until: datetime
    free_s: int


@dataclass(frozen=True)
class Replanned:
    """The new plan and what is to be said about it."""

    plan: DayPlan
    moved: tuple[Moved, ...]
    broken: tuple[Broken, ...]
    late_s: int  # slip of the ready time against the wish; 0 when it is kept
    holds: tuple[ColdHold, ...]
    sentence: str


def happened(plan: DayPlan, past: History) -> dict[int, Happened]:
    """Return what happened by step id, from the history of a timer that runs `to_device(plan)`."""
    result = {}
    for index, step in enumerate(to_device(plan).steps):
        started, ended = past.started_at_s[index], past.ended_at_s[index]
        if past.steps[index] != WAITING:
            result[step.step_id] = Happened(
                RUNNING if past.steps[index] == READY else past.steps[index],  # nobody has ended it yet
                from_at_s(started) if started else None,
                from_at_s(ended) if ended else None,
            )
    return result


def replan(
    plan: DayPlan, what: Mapping[int, Happened], now: datetime, *, ready: datetime | None = None, chance: bool = False
) -> Replanned:
    """Return the best rest of the day; `ready` is a changed ready time (of the first batch).

    Raises Impossible when the remaining steps fit into no two days of the cook's hours.
    """
    jobs = plan.jobs
    if ready is not None:
        jobs = (replace(jobs[0], spec=replace(jobs[0].spec, wished_at=ready)), *jobs[1:])
    begin = min([plan.made_at, *[h.started for h in what.values() if h.started is not None]])
    wished = [max(job.spec.wished_at, begin + timedelta(minutes=1)) for job in jobs]
    problem = build(jobs, begin, ready=wished)
    minute = minutes_up(to_at_s(now) - problem.origin_s)
    facts = _facts(problem, what, minute)
    at = {
        s.step_id - 1: (
            (s.start_at_s - problem.origin_s) // MINUTE_S, minutes_up(s.end_at_s - problem.origin_s)
        ) for s in plan.steps
    }  # fmt: skip
    was = Solution([at[i][0] for i in range(len(at))], [at[i][1] for i in range(len(at))], False)
    solution = best_rest(problem, facts, minute, was)
    if solution is None:
        raise Impossible("What is left of this batch does not fit into your hours of the next two days.")
    return _report(plan, problem, solution, facts, now, chance)


def _facts(problem: Problem, what: Mapping[int, Happened], now: int) -> dict[int, Fact]:
    facts = {}
    for step_id, entry in what.items():
        started = now if entry.started is None else min(problem.minute(entry.started), now)
        if entry.state == DONE:
            ended = now if entry.ended is None else min(minutes_up(to_at_s(entry.ended) - problem.origin_s), now)
            facts[step_id - 1] = Fact(DONE, min(started, ended), ended)
        elif entry.state in (RUNNING, SKIPPED):
            facts[step_id - 1] = Fact(entry.state, started)
    return facts


def _report(
    plan: DayPlan, problem: Problem, solution: Solution, facts: dict[int, Fact], now: datetime, chance: bool
) -> Replanned:
    from tourier.dayplan.plan import NO_PROOF, finish

    new = finish(problem, solution, now, chance=False)
    if chance:
        minute = minutes_up(to_at_s(now) - problem.origin_s)
        new = replace(new, chance=chance_of(problem, solution, facts=facts, now=minute))
    done = {index + 1 for index, fact in facts.items() if fact.state in (DONE, SKIPPED)}
    # A replan is the best of a few orders of work, made in milliseconds; it claims no proof and needs no excuse.
    new = replace(new, warnings=tuple(text for text in new.warnings if text != NO_PROOF))
    new = replace(new, steps=tuple(replace(s, done=s.step_id in done) for s in new.steps))
    old = {step.step_id: step.start for step in plan.steps}
    moved = tuple(
        Moved(step.step_id, _called(step.process, _many(new)), old[step.step_id], step.start)
        for step in new.steps
        if facts.get(step.step_id - 1, Fact(WAITING)).state == WAITING and old[step.step_id] != step.start
    )
    late = max(
        0, *(solution.end[t.index] - problem.targets[t.job] for t in problem.tasks if t.ready)
    ) if any(t.ready for t in problem.tasks) else 0  # fmt: skip
    broken = _broken(problem, solution, facts)
    holds = _holds(new, now)
    return Replanned(new, moved, broken, late * MINUTE_S, holds, _sentence(new, moved, broken, late, holds))


def _called(process: ProcessStep, many: bool) -> str:
    """A step's name, with its pâton when there are several: "Rest after fold 2" alone could be either."""
    return f"{process.name}, pâton {process.paton}" if many and process.paton else process.name


def _many(plan: DayPlan) -> bool:
    return any(step.process.paton > 1 for step in plan.steps)


def _broken(problem: Problem, solution: Solution, facts: dict[int, Fact]) -> tuple[Broken, ...]:
    found = []
    many = any(task.process.paton > 1 for task in problem.tasks)

    def state(index: int) -> int:
        return facts.get(index, Fact(WAITING)).state

    for task in problem.tasks:
        if state(task.index) in (DONE, SKIPPED):
            continue
        over = solution.end[task.index] - solution.start[task.index] - task.high
        if over > 0 and task.flexible:
            name = _called(task.process, many)
            text = f"{name} lasts {span(over * MINUTE_S)} longer than its maximum"
            found.append(Broken(task.index + 1, name, over * MINUTE_S, text))
        for before, most in task.preds:
            if state(task.index) != WAITING or most is None or state(before) == SKIPPED:
                continue
            over = solution.start[task.index] - solution.end[before] - most
            if over > 0:
                name = _called(task.process, many)
                first = _called(problem.tasks[before].process, many)
                text = f"{name} begins {span(over * MINUTE_S)} too long after {first}"
                found.append(Broken(task.index + 1, name, over * MINUTE_S, text))
    return tuple(found + _late_nights(problem, solution, facts, many))


def _late_nights(problem: Problem, solution: Solution, facts: dict[int, Fact], many: bool) -> list[Broken]:
    """Name the last hands-on step of every evening that runs past bedtime."""
    found = []
    for begin, end in problem.spans:
        past = [
            (solution.start[t.index] + t.watched, t)
            for t in problem.tasks
            if t.watched and facts.get(t.index, Fact(WAITING)).state == WAITING
            if solution.start[t.index] < end and solution.start[t.index] + t.watched > begin
        ]
        if past:
            until, task = max(past, key=lambda pair: (pair[0], pair[1].index))
            by_s, name = (until - begin) * MINUTE_S, _called(task.process, many)
            text = f"{name} keeps you up until {moment(problem, until):%H:%M}, {span(by_s)} past your bedtime"
            found.append(Broken(task.index + 1, name, by_s, text))
    return found


def _holds(plan: DayPlan, now: datetime) -> tuple[ColdHold, ...]:
    """Cold steps still to come or under way that can take a delay of a quarter of an hour or more, longest first."""
    offers = []
    many = _many(plan)
    for step in plan.steps:
        process = step.process
        if step.done or not process.flexible or process.place not in (wire.FRIDGE, wire.FREEZER) or step.end <= now:
            continue
        if process.max_s - step.duration_s >= 15 * 60:
            after = [s.slack_s for s in plan.steps if process.key in s.process.after and s.job == step.job]
            offers.append(ColdHold(step.step_id, _called(process, many), step.keeps_until, min(after, default=0)))
    offers.sort(key=lambda o: (-o.free_s, o.until, o.step_id))
    return tuple(offers[:3])


def _sentence(plan: DayPlan, moved: tuple, broken: tuple, late: int, holds: tuple[ColdHold, ...]) -> str:
    parts = []
    if broken:
        parts.append("; ".join(b.sentence for b in broken[:3]) + ".")
    if late:
        parts.append(f"Ready at {plan.planned_at:%a %H:%M}, {span(late * MINUTE_S)} later than wished.")
    else:
        parts.append(f"Still ready by the hour ({plan.planned_at:%a %H:%M}).")
    if moved:
        most = max(moved, key=lambda m: (abs(m.by_s), -m.step_id))
        count = f"{len(moved)} steps move" if len(moved) > 1 else "One step moves"
        parts.append(f"{count}; {most.name} most, {by_words(most)}.")
    if holds:
        parts.append(f"A further delay fits best in {holds[0].name}: {hold_words(plan, holds[0])}.")
    return " ".join(parts)


def hold_words(plan: DayPlan, hold: ColdHold) -> str:
    """Return what a cold hold has to offer: what a delay costs there, and how long the dough keeps, if that is before
    the hour; a dough that would keep until after it is no reason to let the hour pass."""
    free = f"{span(hold.free_s)} there cost nothing" if hold.free_s >= 5 * 60 else "but the hour moves with it"
    return free + (f", and it keeps cold until {hold.until:%a %H:%M}" if hold.until < plan.planned_at else "")


def by_words(moved: Moved) -> str:
    """Return '46 min later'."""
    return f"{span(abs(moved.by_s))} {'later' if moved.by_s > 0 else 'earlier'}"
