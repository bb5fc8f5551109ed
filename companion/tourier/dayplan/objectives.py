"""What is wanted of a timetable, as costs of the constraint model, and the order in which it is wanted.

Stages of a new plan: ready on time; rests nearest their ideal; fewest hours on duty; latest start. Every stage is
minimised with the values of the earlier ones held, so that the order is strict and not a matter of weights. A rest
within a fifth of its ideal counts as at its ideal. What is then still open is settled with the order of the work
kept: rests as near the very ideal as that allows, and every step as late as it can be, so that nothing waits about.
"""

from __future__ import annotations

from collections.abc import Callable

from shared_schedule import plan as wire
from tourier.dayplan.constraints import DayModel
from tourier.dayplan.problem import Task
from tourier.dayplan.solution import DONE, SKIPPED, WAITING

Stage = tuple[str, Callable]


def lateness(day: DayModel):
    """Minutes the last ready step of each batch ends after its wish, summed; needs `late` > 0."""
    total = []
    for job, target in enumerate(day.problem.targets):
        late = day.model.new_int_var(0, day.late, f"late{job}")
        for task in day.problem.tasks:
            if task.ready and task.job == job:
                day.model.add(late >= day.ends[task.index] - target)
        total.append(late)
    return sum(total)


def earliness(day: DayModel):
    """Minutes between the end of the last ready step of each batch and its wish, summed."""
    total = []
    for job, target in enumerate(day.problem.targets):
        ends = [day.ends[task.index] for task in day.problem.tasks if task.ready and task.job == job]
        done = day.model.new_int_var(day.begin, day.last, f"ready{job}")
        day.model.add_max_equality(done, ends)
        gap = day.model.new_int_var(0, max(day.last, target) - day.begin, f"early{job}")
        day.model.add(gap >= target - done)
        total.append(gap)
    return sum(total)


def rests(day: DayModel, exact: bool = False):
    """Weighted distance of rests and holds from about their ideal; `exact`: from the ideal itself,

    and of bounded waits from none.

    A minute costs a thousandth of the ideal's length, so that ten minutes weigh more on a short rest; a cold hold
    is there to be stretched and costs a tenth of that.
    """
    terms = []
    for task in day.problem.tasks:
        if day.state(task) in (DONE, SKIPPED):
            continue
        if task.flexible:
            most = max(task.high, day.last - day.begin if day.soft else 0)
            low, high = (task.ideal, task.ideal) if exact else near(task)
            if not exact and low <= task.low and high >= task.high and not day.soft:
                continue
            off = day.model.new_int_var(0, most, f"off{task.index}")
            length = day.ends[task.index] - day.starts[task.index]
            day.model.add(off >= length - high)
            day.model.add(off >= low - length)
            terms.append(rest_weight(task) * off)
        for before, longest in task.preds:
            if exact and longest and day.state(task) == WAITING and before not in day.joined.get(task.index, ()):
                gap = day.starts[task.index] - day.ends[before]
                terms.append(wait_weight(longest) * gap)
    return sum(terms)


def duty(day: DayModel):
    """Minutes from the first to the last hands-on work of every waking stretch, summed."""
    edges = [day.begin, *[edge for span in day.spans for edge in span], day.last]
    stretches = [(edges[i], edges[i + 1]) for i in range(0, len(edges), 2)]
    stretches = [(max(a, day.begin), min(b, day.last)) for a, b in stretches if b > day.begin and a < day.last]
    hands = [t for t in day.problem.tasks if t.attended and day.state(t) == WAITING]
    inside = {task.index: [] for task in hands}
    total = []
    for number, (begin, end) in enumerate(stretches):
        if end - begin <= 0:
            continue
        first = day.model.new_int_var(begin, end, f"first{number}")
        last = day.model.new_int_var(begin, end, f"last{number}")
        day.model.add(last >= first)
        for task in hands:
            here = day.model.new_bool_var(f"in{task.index}.{number}")
            inside[task.index].append(here)
            start = day.starts[task.index]
            day.model.add(start >= begin).only_enforce_if(here)
            day.model.add(start + task.attended <= end).only_enforce_if(here)
            day.model.add(first <= start).only_enforce_if(here)
            day.model.add(last >= start + task.attended).only_enforce_if(here)
        total.append(last - first)
    for flags in inside.values():
        day.model.add_exactly_one(flags)
    return sum(total)


def first_start(day: DayModel):
    """Minute of the first step, negative: the later the better."""
    first = day.model.new_int_var(day.begin, day.last, "begin")
    for task in day.problem.tasks:
        if day.state(task) == WAITING:
            day.model.add(first <= day.starts[task.index])
    return -first


def all_starts(day: DayModel):
    """Sum of all starts, negative: what is left open is done as late as it can be, so nothing waits about."""
    return -sum(day.starts[task.index] for task in day.problem.tasks if day.state(task) == WAITING)


def hands_in(day: DayModel, spans: list[tuple[int, int]]):
    """Number of watched steps that touch given hours."""
    flags = []
    for task in day.problem.tasks:
        if not task.watched or day.state(task) != WAITING:
            continue
        for begin, end in spans:
            flag = day.model.new_bool_var("")
            before, after = day.model.new_bool_var(""), day.model.new_bool_var("")
            start = day.starts[task.index]
            day.model.add(start + task.watched <= begin).only_enforce_if(before)
            day.model.add(start >= end).only_enforce_if(after)
            day.model.add_bool_or([flag, before, after])
            flags.append(flag)
    return sum(flags)


def moved(day: DayModel, planned: dict[int, int]):
    """Minutes the starts of steps still to come differ from an earlier plan, summed."""
    total = []
    for index, was in planned.items():
        if day.state(day.problem.tasks[index]) == WAITING:
            off = day.model.new_int_var(0, day.last - day.begin + abs(was), f"mv{index}")
            day.model.add(off >= day.starts[index] - was)
            day.model.add(off >= was - day.starts[index])
            total.append(off)
    return sum(total)


def near(task: Task) -> tuple[int, int]:
    """Lengths that count as the ideal: within a fifth of it (half for a cold hold), since neither dough nor heat

    model knows the ideal better.
    """
    share = 0.5 if task.process.kind == wire.HOLD else 0.2
    room = int(task.ideal * share)
    return max(task.low, task.ideal - room), min(task.high, task.ideal + room)


def rest_weight(task: Task) -> int:
    """Cost of one minute away from the ideal."""
    weight = 1000 // max(1, task.ideal)
    return max(1, weight // 10 if task.process.kind == wire.HOLD else weight)


def wait_weight(longest: int) -> int:
    """Cost of one minute of a wait that is bounded."""
    return max(1, 300 // max(1, longest))


NEW_PLAN: list[Stage] = [
    ("early_min", earliness),
    ("rests", rests),
    ("duty_min", duty),
    ("start", first_start),
]
SETTLE: list[Stage] = [
    ("rests_exact", lambda day: rests(day, exact=True)),
    ("starts", all_starts),
]
