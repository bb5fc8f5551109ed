"""The constraint model of the days (OR-Tools CP-SAT): tasks, order, cook, places, oven. What is wanted of it stands

in `objectives`, how it is searched in `search`.
"""

from __future__ import annotations

from shared_schedule import plan as wire
from tourier.dayplan.model import Refused
from tourier.dayplan.problem import FRESH_MIN, OVEN_COOL_MIN, Problem, Task, horizon
from tourier.dayplan.solution import DONE, RUNNING, SKIPPED, WAITING, Fact

try:
    from ortools.sat.python import cp_model
except ImportError as error:
    raise Refused(
        "Planning needs the solver OR-Tools, and it is not installed here; on Windows on ARM use the "
        "Python for x86-64, for which there is one."
    ) from error

LEEWAY_MIN = 10


class DayModel:
    """The model of one problem.

    `late` minutes let the end pass the wish, `early` lets the day begin before its start, `soft` lets maxima pass at a
    cost, `leeway` plans into short waits, `drop_spans` are away spans to work in; `facts` and `now` make it a replan.
    """

    def __init__(
        self,
        problem: Problem,
        *,
        late: int = 0,
        early: int = 0,
        soft: bool = False,
        facts: dict[int, Fact] | None = None,
        now: int | None = None,
        drop_spans: frozenset[int] = frozenset(),
        fresh: int = FRESH_MIN,
        leeway: bool = False,
    ):
        self.problem = problem
        self.late = late
        self.soft = soft
        self.facts = facts or {}
        self.replanning = now is not None
        self.now = problem.start if now is None else now
        self.begin = min([self.now, problem.start - early] + [fact.start for fact in self.facts.values() if fact.state])
        self.last = max(horizon(problem) + late, self.now)
        self.spans = [span for index, span in enumerate(problem.spans) if index not in drop_spans]
        self.early = early
        self.fresh = fresh
        self.joined = {} if leeway else joined(problem, self.facts)
        self.model = cp_model.CpModel()
        self.starts: list = []
        self.ends: list = []
        self.over: list = []  # minutes beyond a maximum, only when soft
        self.hint: list[int] | None = None
        for task in problem.tasks:
            self._task(task)
        for task in problem.tasks:
            self._precedence(task)
        self._cook()
        for place, limit in problem.capacity.items():
            if place != wire.OVEN:
                self._place(place, limit)
        self._oven()
        if not self.replanning:
            self._same_patons()

    # --- what is there -------------------------------------------------------------------------------------------

    def _task(self, task: Task) -> None:
        fact = self.facts.get(task.index, Fact(WAITING))
        model = self.model
        if fact.state == DONE:
            self.starts.append(model.new_constant(fact.start))
            self.ends.append(model.new_constant(max(fact.end, fact.start)))
            return
        if fact.state == RUNNING:
            start = model.new_constant(fact.start)
            low, high = max(self.now, fact.start + task.low), fact.start + task.high
            if not task.flexible:
                low = high = max(low, high)
            end = model.new_int_var(low, max(low, high, self.last if self.soft else 0), f"e{task.index}")
            if self.soft and task.flexible:
                self._over(end - fact.start, task.high)
            elif high < low:
                model.add(end <= high)  # a maximum already passed: infeasible, and the soft model will say by how much
            self.starts.append(start)
            self.ends.append(end)
            return
        earliest = self.now if self.replanning else self.problem.start - self.early
        latest = self.last
        if task.ready:
            latest = min(latest, task.target + self.late)
        if fact.state == SKIPPED:
            start = model.new_int_var(earliest, latest, f"s{task.index}")
            self.starts.append(start)
            self.ends.append(start)
            return
        start = model.new_int_var_from_domain(self._awake(task, earliest, latest), f"s{task.index}")
        follows = [b for b in self.joined.get(task.index, ()) if not self.problem.tasks[b].flexible]
        if follows:
            # Joined to a step of fixed length: no instant of its own, which halves what the solver has to search.
            own = start
            start = self.ends[follows[0]]
            model.add(own == start)
        if task.flexible:
            end = model.new_int_var(earliest + task.low, self.last, f"e{task.index}")
            model.add(end - start >= task.low)
            if self.soft:
                self._over(end - start, task.high)
            else:
                model.add(end - start <= task.high)
        else:
            end = start + task.low
        if task.ready:
            model.add(end <= task.target + self.late)
            if not self.replanning:
                model.add(end >= task.target - self.fresh)
        self.starts.append(start)
        self.ends.append(end)

    def _over(self, length, high: int) -> None:
        over = self.model.new_int_var(0, self.last, "over")
        self.model.add(length <= high + over)
        self.over.append(over)

    def _awake(self, task: Task, earliest: int, latest: int) -> cp_model.Domain:
        """Starts at which the watched minutes of a task touch no away hours."""
        domain = cp_model.Domain(earliest, max(earliest, latest))
        if task.watched:
            for begin, end in self.spans:
                if begin - task.watched + 1 <= end - 1:
                    domain = domain.intersection_with(cp_model.Domain(begin - task.watched + 1, end - 1).complement())
        return domain

    def state(self, task: Task) -> int:
        return self.facts.get(task.index, Fact(WAITING)).state

    def _precedence(self, task: Task) -> None:
        if self.state(task) in (DONE, RUNNING):
            return
        for before, most in task.preds:
            if before in self.joined.get(task.index, ()):
                self.model.add(self.starts[task.index] == self.ends[before])
                continue
            self.model.add(self.starts[task.index] >= self.ends[before])
            if most is None or SKIPPED in (self.state(task), self.state(self.problem.tasks[before])):
                continue
            if self.soft:
                self._over(self.starts[task.index] - self.ends[before], most)
            else:
                self.model.add(self.starts[task.index] - self.ends[before] <= most)

    def _cook(self) -> None:
        hands = []
        runs = _runs(self.problem, self.joined)
        for task in self.problem.tasks:
            if task.index in runs:
                if runs[task.index]:
                    start = self.starts[task.index]
                    hands.append(self.model.new_fixed_size_interval_var(start, runs[task.index], f"run{task.index}"))
                continue
            fact = self.facts.get(task.index, Fact(WAITING))
            if not task.attended or fact.state in (DONE, SKIPPED):
                continue
            if fact.state == RUNNING:
                busy_until = fact.start + task.attended
                if busy_until > self.now:
                    hands.append(self.model.new_fixed_size_interval_var(self.now, busy_until - self.now, "busy"))
                continue
            start = self.starts[task.index]
            hands.append(self.model.new_fixed_size_interval_var(start, task.attended, f"hands{task.index}"))
        self.model.add_no_overlap(hands)

    def _interval(self, task: Task):
        """The span a task holds its place, or None when it holds nothing any more."""
        fact = self.facts.get(task.index, Fact(WAITING))
        if fact.state in (DONE, SKIPPED) or task.high == 0:
            return None
        start, end = self.starts[task.index], self.ends[task.index]
        if fact.state == RUNNING:
            start = self.now
            if not task.flexible:
                length = max(fact.start + task.low, self.now) - self.now
                return self.model.new_fixed_size_interval_var(start, length, f"p{task.index}")
        if not task.flexible:
            return self.model.new_fixed_size_interval_var(start, task.low, f"p{task.index}")
        size = self.model.new_int_var(0, self.last - self.begin, f"d{task.index}")
        return self.model.new_interval_var(start, size, end, f"p{task.index}")

    def _place(self, place: int, limit: int) -> None:
        tasks = [task for task in self.problem.tasks if task.process.place == place]
        if sum(task.process.units for task in tasks) <= limit:
            return
        held = [(self._interval(task), task.process.units) for task in tasks]
        held = [(interval, units) for interval, units in held if interval is not None]
        if limit == 1:
            self.model.add_no_overlap([interval for interval, _ in held])
        else:
            self.model.add_cumulative([i for i, _ in held], [u for _, u in held], limit)

    def _oven(self) -> None:
        """Loads share the oven up to its trays; heating takes it whole; dough that proofs in it must be out first."""
        limit = self.problem.capacity[wire.OVEN]
        held = []
        for task in self.problem.tasks:
            if task.process.place == wire.OVEN and task.process.kind != wire.PROOF:
                interval = self._interval(task)
                if interval is not None:
                    whole = task.process.kind == wire.PREHEAT
                    held.append((task, interval, limit if whole else task.process.units))
        if len(held) > 1:
            self.model.add_cumulative([h[1] for h in held], [h[2] for h in held], limit)
        if not self.problem.oven_proofs:
            return
        for task in self.problem.tasks:
            if task.process.kind != wire.PROOF or self.state(task) in (DONE, SKIPPED):
                continue
            for hot, _, _ in held:
                first = self.model.new_bool_var("")
                self.model.add(self.ends[task.index] <= self.starts[hot.index]).only_enforce_if(first)
                self.model.add(self.starts[task.index] >= self.ends[hot.index] + OVEN_COOL_MIN).only_enforce_if(~first)

    def _same_patons(self) -> None:
        """Order pâtons that are alike, so that the solver need not prove every exchange of them.

        Nothing is lost: where two alike pâtons change order between two steps, exchanging their later steps gives a
        plan with the same starts and ends, rests no further from their ideal, and the order kept.
        """
        groups: dict[tuple[int, int], list[Task]] = {}
        for task in self.problem.tasks:
            if task.process.paton:
                groups.setdefault((task.job, task.process.paton), []).append(task)
        ordered = sorted(groups)
        for one, two in zip(ordered, ordered[1:], strict=False):
            if one[0] == two[0] and _signature(self.problem, groups[one]) == _signature(self.problem, groups[two]):
                for first, second in zip(groups[one], groups[two], strict=True):
                    self.model.add(self.starts[first.index] <= self.starts[second.index])


def joined(problem: Problem, facts: dict[int, Fact]) -> dict[int, tuple[int, ...]]:
    """Return {task: predecessors it is planned to follow without a minute between}.

    A short bounded wait is the cook's leeway on the day, no room for the planner to fill: it is planned as nothing
    wherever the predecessor can be stretched to meet the start, or is the only one of fixed length.
    """
    result: dict[int, tuple[int, ...]] = {}
    begun = {index for index, fact in facts.items() if fact.state}
    for task in problem.tasks:
        if task.index in begun:
            continue
        short = [b for b, most in task.preds if most is not None and most <= LEEWAY_MIN and b not in begun]
        stretch = [before for before in short if problem.tasks[before].flexible]
        fixed = [before for before in short if not problem.tasks[before].flexible]
        keep = stretch + (fixed if len(fixed) == 1 else [])
        if keep:
            result[task.index] = tuple(keep)
    return result


def _runs(problem: Problem, joins: dict[int, tuple[int, ...]]) -> dict[int, int]:
    """Return {first task of an unbroken run of hands-on work: its minutes}, and 0 for the others of the run."""
    minutes: dict[int, int] = {}  # by first task
    head: dict[int, int] = {}  # last task of a run -> its first
    inner: set[int] = set()
    for task in problem.tasks:
        for before in joins.get(task.index, ()):
            other = problem.tasks[before]
            hands_on = other.attended == other.low == other.high and other.low
            open_run = before in head or (before not in inner and before not in minutes)
            if task.attended and hands_on and open_run:
                first = head.pop(before, before)
                minutes[first] = minutes.get(first, other.low) + task.attended
                head[task.index] = first
                inner.add(task.index)
                break
    return {**dict.fromkeys(inner, 0), **minutes}


def _signature(problem: Problem, group: list[Task]) -> tuple:
    inside = {task.index: place for place, task in enumerate(group)}
    rows = []
    for task in group:
        step = task.process
        preds = tuple((("in", inside[b]) if b in inside else ("out", b), most) for b, most in task.preds)
        outer = [
            (other.index, most)
            for other in problem.tasks
            if other.index not in inside
            for b, most in other.preds
            if b == task.index
        ]
        rows.append(
            (step.kind, step.place, step.units, task.attended, task.low, task.ideal, task.high, preds, tuple(outer))
        )
    return tuple(rows)
