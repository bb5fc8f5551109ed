"""The constraint model of the days (OR-Tools CP-SAT): one worker, fixed seed, stages proven in a stated order.

Stages of a new plan: ready on time; rests nearest their ideal; fewest hours on duty; latest start. Every stage is
minimised with the values of the earlier ones held, so that the order is strict and not a matter of weights. A rest
within a fifth of its ideal counts as at its ideal. What is then still open is settled with the order of the work
kept: rests as near the very ideal as that allows, and every step as late as it can be, so that nothing waits about.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from ortools.sat.python import cp_model

from shared_schedule import plan as wire
from tourier.dayplan.problem import FRESH_MIN, OVEN_COOL_MIN, Problem, Task, horizon

SEED = 20200101
# A share of the search, not of the wall clock, so that the same wish gives the same plan on a slow machine.
STAGE_EFFORT = 2.0
LEEWAY_MIN = 10

WAITING, RUNNING, DONE, SKIPPED = range(4)


@dataclass(frozen=True)
class Fact:
    """What really happened to a task, in minutes; `end` counts only for DONE."""

    state: int
    start: int = 0
    end: int = 0


@dataclass
class Solution:
    """Start and end of every task in minutes, and the value each stage reached."""

    start: list[int]
    end: list[int]
    proven: bool
    reached: dict[str, int] = field(default_factory=dict)


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

    def _state(self, task: Task) -> int:
        return self.facts.get(task.index, Fact(WAITING)).state

    def _precedence(self, task: Task) -> None:
        if self._state(task) in (DONE, RUNNING):
            return
        for before, most in task.preds:
            if before in self.joined.get(task.index, ()):
                self.model.add(self.starts[task.index] == self.ends[before])
                continue
            self.model.add(self.starts[task.index] >= self.ends[before])
            if most is None or SKIPPED in (self._state(task), self._state(self.problem.tasks[before])):
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
            if task.process.kind != wire.PROOF or self._state(task) in (DONE, SKIPPED):
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

    # --- what is wanted ------------------------------------------------------------------------------------------

    def lateness(self):
        """Minutes the last ready step of each batch ends after its wish, summed; needs `late` > 0."""
        total = []
        for job, target in enumerate(self.problem.targets):
            late = self.model.new_int_var(0, self.late, f"late{job}")
            for task in self.problem.tasks:
                if task.ready and task.job == job:
                    self.model.add(late >= self.ends[task.index] - target)
            total.append(late)
        return sum(total)

    def earliness(self):
        """Minutes between the end of the last ready step of each batch and its wish, summed."""
        total = []
        for job, target in enumerate(self.problem.targets):
            ends = [self.ends[task.index] for task in self.problem.tasks if task.ready and task.job == job]
            done = self.model.new_int_var(self.begin, self.last, f"ready{job}")
            self.model.add_max_equality(done, ends)
            gap = self.model.new_int_var(0, max(self.last, target) - self.begin, f"early{job}")
            self.model.add(gap >= target - done)
            total.append(gap)
        return sum(total)

    def rests(self, exact: bool = False):
        """Weighted distance of rests and holds from about their ideal; `exact`: from the ideal itself,

        and of bounded waits from none.

        A minute costs a thousandth of the ideal's length, so that ten minutes weigh more on a short rest; a cold hold
        is there to be stretched and costs a tenth of that.
        """
        terms = []
        for task in self.problem.tasks:
            if self._state(task) in (DONE, SKIPPED):
                continue
            if task.flexible:
                most = max(task.high, self.last - self.begin if self.soft else 0)
                low, high = (task.ideal, task.ideal) if exact else near(task)
                if not exact and low <= task.low and high >= task.high and not self.soft:
                    continue
                off = self.model.new_int_var(0, most, f"off{task.index}")
                length = self.ends[task.index] - self.starts[task.index]
                self.model.add(off >= length - high)
                self.model.add(off >= low - length)
                terms.append(rest_weight(task) * off)
            for before, longest in task.preds:
                if exact and longest and self._state(task) == WAITING and before not in self.joined.get(task.index, ()):
                    gap = self.starts[task.index] - self.ends[before]
                    terms.append(wait_weight(longest) * gap)
        return sum(terms)

    def duty(self):
        """Minutes from the first to the last hands-on work of every waking stretch, summed."""
        edges = [self.begin, *[edge for span in self.spans for edge in span], self.last]
        stretches = [(edges[i], edges[i + 1]) for i in range(0, len(edges), 2)]
        stretches = [(max(a, self.begin), min(b, self.last)) for a, b in stretches if b > self.begin and a < self.last]
        hands = [t for t in self.problem.tasks if t.attended and self._state(t) == WAITING]
        inside = {task.index: [] for task in hands}
        total = []
        for number, (begin, end) in enumerate(stretches):
            if end - begin <= 0:
                continue
            first = self.model.new_int_var(begin, end, f"first{number}")
            last = self.model.new_int_var(begin, end, f"last{number}")
            self.model.add(last >= first)
            for task in hands:
                here = self.model.new_bool_var(f"in{task.index}.{number}")
                inside[task.index].append(here)
                start = self.starts[task.index]
                self.model.add(start >= begin).only_enforce_if(here)
                self.model.add(start + task.attended <= end).only_enforce_if(here)
                self.model.add(first <= start).only_enforce_if(here)
                self.model.add(last >= start + task.attended).only_enforce_if(here)
            total.append(last - first)
        for flags in inside.values():
            self.model.add_exactly_one(flags)
        return sum(total)

    def first_start(self):
        """Minute of the first step, negative: the later the better."""
        first = self.model.new_int_var(self.begin, self.last, "begin")
        for task in self.problem.tasks:
            if self._state(task) == WAITING:
                self.model.add(first <= self.starts[task.index])
        return -first

    def all_starts(self):
        """Sum of all starts, negative: what is left open is done as late as it can be, so nothing waits about."""
        return -sum(self.starts[task.index] for task in self.problem.tasks if self._state(task) == WAITING)

    def hands_in(self, spans: list[tuple[int, int]]):
        """Number of watched steps that touch given hours."""
        flags = []
        for task in self.problem.tasks:
            if not task.watched or self._state(task) != WAITING:
                continue
            for begin, end in spans:
                flag = self.model.new_bool_var("")
                before, after = self.model.new_bool_var(""), self.model.new_bool_var("")
                start = self.starts[task.index]
                self.model.add(start + task.watched <= begin).only_enforce_if(before)
                self.model.add(start >= end).only_enforce_if(after)
                self.model.add_bool_or([flag, before, after])
                flags.append(flag)
        return sum(flags)

    def off_hour(self):
        """Lateness tenfold, and earliness."""
        return 10 * self.lateness() + self.earliness()

    def moved(self, planned: dict[int, int]):
        """Minutes the starts of steps still to come differ from an earlier plan, summed."""
        total = []
        for index, was in planned.items():
            if self._state(self.problem.tasks[index]) == WAITING:
                off = self.model.new_int_var(0, self.last - self.begin + abs(was), f"mv{index}")
                self.model.add(off >= self.starts[index] - was)
                self.model.add(off >= was - self.starts[index])
                total.append(off)
        return sum(total)

    # --- search --------------------------------------------------------------------------------------------------

    def solve(
        self, stages: list[tuple[str, Callable]], effort: float = STAGE_EFFORT, first: Solution | None = None
    ) -> Solution | None:
        """Minimise the stages in order and return the last solution, or None when there is none."""
        solution = first
        proven = True
        reached: dict[str, int] = {}
        for name, objective in stages:
            expression = objective(self)
            if isinstance(expression, int):
                reached[name] = expression
                continue
            self.model.minimize(expression)
            if solution is not None:
                self._hint(solution)
            solver = new_solver(effort)
            status = solver.solve(self.model)
            if status == cp_model.INFEASIBLE:
                return None
            if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
                if solution is None:
                    raise TimeoutError("the planner found neither a plan nor a proof that there is none")
                proven = False
                break
            proven = proven and status == cp_model.OPTIMAL
            reached[name] = round(solver.objective_value)
            solution = Solution(
                [solver.value(v) for v in self.starts], [solver.value(v) for v in self.ends], proven, reached
            )
            self.model.clear_objective()
            self.model.add(expression <= reached[name])
        if solution is not None:
            solution.proven = proven
            solution.reached = reached
        return solution

    def settle(self, solution: Solution, stages: list[tuple[str, Callable]]) -> Solution:
        """Keep the order of work of a solution and minimise further stages; `proven` stays that of the solution."""
        self.keep_order(solution)
        settled = self.solve(stages, first=solution)
        if settled is None:
            return solution
        return Solution(settled.start, settled.end, solution.proven, {**solution.reached, **settled.reached})

    def keep_order(self, solution: Solution) -> None:
        """Let hands-on work, and steps that exclude each other in a place, follow each other as they do there."""
        tasks = [t for t in self.problem.tasks if self._state(t) == WAITING]
        hands = sorted((t for t in tasks if t.attended), key=lambda t: (solution.start[t.index], t.index))
        for one, two in zip(hands, hands[1:], strict=False):
            self.model.add(self.starts[two.index] >= self.starts[one.index] + one.attended)
        for place, limit in self.problem.capacity.items():
            there = [t for t in tasks if t.process.place == place]
            if sum(t.process.units for t in there) <= limit:
                continue
            there.sort(key=lambda t: (solution.start[t.index], solution.end[t.index], t.index))
            for place_in_line, one in enumerate(there):
                for two in there[place_in_line + 1 :]:
                    if solution.end[one.index] <= solution.start[two.index]:
                        self.model.add(self.starts[two.index] >= self.ends[one.index])

    def _hint(self, solution: Solution) -> None:
        self.model.clear_hints()
        for variable, value in zip(self.starts, solution.start, strict=True):
            if hasattr(variable, "index") and hasattr(variable, "name"):
                self.model.add_hint(variable, value)


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


def new_solver(effort: float) -> cp_model.CpSolver:
    """Return a solver that gives the same answer on every machine."""
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_size_to_create_precedence_literals_in_disjunctive = 200
    solver.parameters.random_seed = SEED
    solver.parameters.max_deterministic_time = effort
    solver.parameters.max_time_in_seconds = 2 + 8 * effort  # a last resort: presolve is not counted as effort
    return solver


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


NEW_PLAN: list[tuple[str, Callable]] = [
    ("early_min", DayModel.earliness),
    ("rests", DayModel.rests),
    ("duty_min", DayModel.duty),
    ("start", DayModel.first_start),
]
SETTLE: list[tuple[str, Callable]] = [
    ("rests_exact", lambda model: model.rests(exact=True)),
    ("starts", DayModel.all_starts),
]
