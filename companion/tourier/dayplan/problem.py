"""From work-ups to a scheduling problem in whole minutes: tasks, resources, working hours, and what is ill-formed.

Rounding to the minute never loosens a rule: minima and fixed lengths are rounded up, maxima down.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from shared_schedule import plan as wire
from tourier.batch.model import KitchenSpec, ProcessStep
from tourier.dayplan.hours import away_intervals, zone_of
from tourier.dayplan.model import AwayInterval, BadWish, Impossible, Job, by_clock, to_at_s

MINUTE_S = 60
LOOK_AHEAD_S = 7 * 86400  # how far beyond the wish a nearest possible ready time is looked for
FROZEN_LIMIT_S = 30 * 86400  # shaped raw pieces keep a month in the freezer: common practice

# A home oven used as proof box has four or five rails, all usable while nothing browns: common practice, no source.
OVEN_PROOF_TRAYS = 4
# After baking, an oven needs this long with the door ajar before dough may proof in it: common practice, no source.
OVEN_COOL_MIN = 90
FREEZER_PLACES = 2
# Nothing is "ready at the hour" that was ready longer than this before it: baked goods are eaten fresh.
FRESH_MIN = 180
# No batch is begun earlier before its hour than this: the planner's days are one to three, and a spare one.
DAYS_AHEAD_MIN = 3 * 1440

UNATTENDED_NEVER = (wire.PREHEAT, wire.BAKE)  # nobody sleeps or leaves while the oven heats


@dataclass(frozen=True)
class Task:
    """One step in whole minutes. `preds` are (index of task, longest wait in minutes or None)."""

    index: int
    key: str
    job: int
    process: ProcessStep
    attended: int
    low: int
    ideal: int
    high: int
    preds: tuple[tuple[int, int | None], ...]
    ready: bool  # its end counts for the ready time
    target: int  # ready time of its job, minutes

    @property
    def flexible(self) -> bool:
        return self.low < self.high

    @property
    def watched(self) -> int:
        """Minutes from the start in which somebody must be there and awake."""
        if self.process.kind in UNATTENDED_NEVER:
            return max(self.attended, self.high if not self.flexible else self.ideal)
        return self.attended


@dataclass(frozen=True)
class Problem:
    """What the solver gets. Minute 0 is `origin_s`; all spans are half open."""

    jobs: tuple[Job, ...]
    tasks: tuple[Task, ...]
    origin_s: int
    start: int  # nothing may begin before
    targets: tuple[int, ...]
    away: tuple[AwayInterval, ...]  # absolute
    spans: tuple[tuple[int, int], ...]  # the same in minutes, rounded outwards
    capacity: dict[int, int]  # place -> units, only limited places
    oven_proofs: bool
    zone: str

    def minute(self, moment: datetime) -> int:
        return (to_at_s(moment) - self.origin_s) // MINUTE_S


def minutes_up(seconds: float) -> int:
    """Return whole minutes that are not shorter."""
    return -int(-seconds // MINUTE_S)


def build(jobs: Sequence[Job], now: datetime, *, slack_s: int = 0, ready: Sequence[datetime] = ()) -> Problem:
    """Return the problem of one or several batches sharing one kitchen and one cook.

    `ready` overrides the wished ready times; `slack_s` aims that much before them and before hours away.
    Raises BadWish for what contradicts itself and Impossible for a step that no place can hold.
    """
    if now.tzinfo is None:
        raise BadWish("now", "is a time without a zone.")
    if not jobs:
        raise BadWish("batch", "there is nothing to plan.")
    kitchen = jobs[0].spec.kitchen
    zone = zone_of(jobs[0].spec.zone)
    for job in jobs[1:]:
        if job.spec.kitchen != kitchen:
            raise BadWish(job.spec.name, f"is made in another kitchen than {jobs[0].spec.name}; plan them apart.")
    wished = list(ready) or [job.spec.wished_at for job in jobs]
    for job, at in zip(jobs, wished, strict=True):
        if at.tzinfo is None:
            raise BadWish(f"{job.spec.name}: ready", "is a time without a zone.")
        if at <= now:
            raise BadWish(
                f"{job.spec.name}: ready",
                f"{at.astimezone(zone):%a %d %b %H:%M} is already past; it is {now.astimezone(zone):%a %d %b %H:%M}.",
            )
    origin_s = to_at_s(now) // MINUTE_S * MINUTE_S
    begins = [now] + [job.spec.start_after for job in jobs if job.spec.start_after]
    start = minutes_up(max(to_at_s(moment) for moment in begins) - origin_s)
    targets = tuple((to_at_s(at) - slack_s - origin_s) // MINUTE_S for at in wished)
    start = max(start, min(targets) - DAYS_AHEAD_MIN)
    tasks: list[Task] = []
    for number, job in enumerate(jobs):
        tasks += _tasks(job, number, len(tasks), targets[number])
    until_s = origin_s + max(targets) * MINUTE_S + LOOK_AHEAD_S
    spans = [span for job in jobs for span in job.spec.away]
    unique = [span for place, span in enumerate(spans) if span not in spans[:place]]
    away = away_intervals(unique, zone, origin_s - 2 * 86400, until_s)
    capacity = capacities(kitchen, [task.process for task in tasks])
    for task in tasks:
        limit = capacity.get(task.process.place)
        if limit is not None and task.process.units > limit:
            place = wire.PLACE_WORDS[task.process.place]
            raise Impossible(
                f"{task.process.name} needs {task.process.units} places in the {place} at once; "
                f"there are {limit}. Make fewer pieces at a time, or write down the space there really is.",
                steps=(task.process.name,),
            )
    return Problem(
        jobs=tuple(jobs),
        tasks=tuple(tasks),
        origin_s=origin_s,
        start=start,
        targets=targets,
        away=away,
        spans=_spans(away, origin_s, slack_s),
        capacity=capacity,
        oven_proofs=kitchen.proof_place == "oven",
        zone=jobs[0].spec.zone,
    )


def _spans(away: Sequence[AwayInterval], origin_s: int, slack_s: int) -> tuple[tuple[int, int], ...]:
    """Return the hours without work in minutes; work is aimed to end `slack_s` before each, as before the ready time,

    since whoever runs late on an evening has his bed to go to. Half an hour of work is left between two spans.
    """
    spans: list[tuple[int, int]] = []
    for span in away:
        begin, end = (span.from_s - origin_s) // MINUTE_S, minutes_up(span.to_s - origin_s)
        soonest = spans[-1][1] + 30 if spans else begin - slack_s // MINUTE_S
        spans.append((min(begin, max(begin - slack_s // MINUTE_S, soonest)), end))
    return tuple(spans)


def capacities(kitchen: KitchenSpec, steps: Sequence[ProcessStep]) -> dict[int, int]:
    """Return how many units each limited place holds. Where the batch file gives no figure the place is taken to

    hold the largest single step and no less than two: a freezer drawer and its neighbour.
    """
    most = {place: 1 for place in range(7)}
    for step in steps:
        most[step.place] = max(most[step.place], step.units)
    limits = {
        wire.BENCH: 1,
        wire.FRIDGE: max(1, kitchen.fridge_shelves),
        wire.FREEZER: max(FREEZER_PLACES, most[wire.FREEZER]),
        wire.OVEN: max(1, kitchen.oven_trays),
    }
    if kitchen.proof_place == "oven":
        limits[wire.PROOF_SPACE] = max(OVEN_PROOF_TRAYS, kitchen.oven_trays)
    return limits


def _tasks(job: Job, number: int, base: int, target: int) -> list[Task]:
    steps = job.workup.process
    name = job.spec.name
    if not steps:
        raise BadWish(name, "has no steps to plan.")
    place: dict[str, int] = {}
    for index, step in enumerate(steps):
        if step.key in place:
            raise BadWish(f"{name}: step {step.key}", "stands twice in the process.")
        place[step.key] = index
    for step in steps:
        where = f"{name}: step {step.key}"
        for before in (*step.after, *step.after_max_s):
            if before not in place:
                raise BadWish(where, f"must follow {before}, and there is no such step.")
        if not 0 <= step.min_s <= step.ideal_s <= step.max_s:
            raise BadWish(where, f"wants {step.min_s} s <= {step.ideal_s} s <= {step.max_s} s, which does not hold.")
        if step.attended_s < 0 or step.attended_s > step.ideal_s:
            raise BadWish(where, f"keeps the cook for {step.attended_s} s but lasts {step.ideal_s} s.")
    order = _topological(name, steps, place)
    followed = {before for step in steps for before in (*step.after, *step.after_max_s)}
    frozen = _frozen(steps, place, order)
    finals = [step.key for step in steps if step.key not in followed and step.key not in frozen]
    finals = finals or [step.key for step in steps if step.key not in followed]
    tasks = []
    for index, step in enumerate(steps):
        low, ideal, high = _lengths(step)
        preds = []
        for before in dict.fromkeys((*step.after, *step.after_max_s)):
            most = step.after_max_s.get(before)
            preds.append((base + place[before], None if most is None else int(most // MINUTE_S)))
        tasks.append(
            Task(
                index=base + index,
                key=step.key,
                job=number,
                process=step,
                attended=minutes_up(step.attended_s),
                low=low,
                ideal=ideal,
                high=high,
                preds=tuple(preds),
                ready=step.key in finals,
                target=target,
            )
        )
    return tasks


def _lengths(step: ProcessStep) -> tuple[int, int, int]:
    attended = minutes_up(step.attended_s)
    if not step.flexible:
        length = max(minutes_up(step.ideal_s), attended)
        return length, length, length
    low = max(minutes_up(step.min_s), attended)
    high = max(low, int(step.max_s // MINUTE_S))
    return low, min(max(round(step.ideal_s / MINUTE_S), low), high), high


def _topological(name: str, steps: Sequence[ProcessStep], place: dict[str, int]) -> list[int]:
    order: list[int] = []
    state = [0] * len(steps)  # 0 new, 1 on the way, 2 done

    def visit(index: int, trail: tuple[str, ...]) -> None:
        if state[index] == 2:
            return
        if state[index] == 1:
            loop = " -> ".join((*trail[trail.index(steps[index].key) :], steps[index].key))
            raise BadWish(f"{name}: step {steps[index].key}", f"must follow itself: {loop}.")
        state[index] = 1
        for before in (*steps[index].after, *steps[index].after_max_s):
            visit(place[before], (*trail, steps[index].key))
        state[index] = 2
        order.append(index)

    for index in range(len(steps)):
        visit(index, ())
    return order


def _frozen(steps: Sequence[ProcessStep], place: dict[str, int], order: Sequence[int]) -> set[str]:
    """Return the keys of the branch that ends in the freezer: freezing raw pieces and what follows it."""
    frozen: set[str] = set()
    for index in order:
        step = steps[index]
        if step.kind == wire.FREEZE or any(steps[place[before]].key in frozen for before in step.after):
            frozen.add(step.key)
    return frozen


def horizon(problem: Problem) -> int:
    """Return the last minute anything may end: the latest wish plus the longest step."""
    return max(problem.targets) + max(task.high if not task.ready else 0 for task in problem.tasks)


def moment(problem: Problem, minute: int) -> datetime:
    """Return the aware local time of a minute of the problem."""
    return by_clock(problem.origin_s + minute * MINUTE_S, zone_of(problem.zone))
