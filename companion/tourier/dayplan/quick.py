"""A replan in milliseconds: the order of work is settled first, then a linear program sets every time exactly.

With who follows whom decided, and in which waking stretch each hands-on step lies, every rule is a difference of two
instants and every wish a convex cost of one: a linear program whose corners are whole minutes. Orders tried: that of
the old plan, and the one in which the steps would fall if the cook had as many hands as it takes (list scheduling
from the relaxed program), and, when both pass maxima that another order might keep, the one a short search finds. The
cheapest timetable wins: least beyond the maxima, then the hour, then rests and moves.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from shared_schedule import plan as wire
from tourier.dayplan.linear import FAR, Program
from tourier.dayplan.objectives import near, rest_weight
from tourier.dayplan.problem import MINUTE_S, OVEN_COOL_MIN, Problem, Task
from tourier.dayplan.solution import DONE, RUNNING, SKIPPED, WAITING, Fact, Solution

# Costs of one minute, far enough apart that the stages stay in order: beyond a maximum, up after bedtime, late, early.
# Rather up for 5 min than a rest 1 min too long; rather up for an hour than ready ten hours late.
OVER, AWAKE, LATE, EARLY = 1_000_000, 200_000, 20_000, 2_000
ROUNDS = 400  # passes of the earliest-times reckoning before a cycle of rules is taken to have no end


@dataclass
class Rules:
    """x[b] - x[a] >= low (`least`) and x[b] - x[a] <= high (`most`, which may be passed at a cost)."""

    least: list[tuple[int, int, int]] = field(default_factory=list)
    most: list[tuple[int, int, int]] = field(default_factory=list)
    floor: dict[int, int] = field(default_factory=dict)
    fixed: dict[int, int] = field(default_factory=dict)


class Quick:
    """One replan: `was` is the old plan in minutes, `facts` what happened until `now`; `guide` (else the old plan)

    says in which order and in which waking stretch. Hands-on work may run `stay` minutes into sleep, at the cost of a
    maximum passed by as much.
    """

    def __init__(
        self,
        problem: Problem,
        facts: dict[int, Fact],
        now: int,
        was: Solution,
        *,
        guide: Solution | None = None,
        stay: int = 0,
    ):
        self.problem, self.facts, self.now, self.was = problem, facts, now, was
        self.guide = was if guide is None else guide
        edges = [-FAR, *[edge for span in problem.spans for edge in span], FAR]
        sleeps = [stay if away.why == "sleep" else 0 for away in problem.away] + [0]
        # (begin, end, minutes that may be added to the end)
        self.stretches = [(edges[2 * i], edges[2 * i + 1], extra) for i, extra in enumerate(sleeps)]
        self.waiting = [t for t in problem.tasks if self.state(t) == WAITING]
        self.rules = self._rules()
        self.bound = 0  # minutes beyond maxima and bedtime that no order can save

    def state(self, task: Task) -> int:
        return self.facts.get(task.index, Fact(WAITING)).state

    def timetables(self, relaxed: bool) -> list[tuple[int, Solution]]:
        """Return (cost, timetable) in the guide's order and, with `relaxed`, in that of as many hands as it takes."""
        orders = [self._order(self.guide.start)]
        if relaxed and (free := self.times(None, pull=False)) is not None:
            self.bound = beyond(free[1])
            orders.append(self._order(free[1].start))
        found: list[tuple[int, Solution]] = []
        for order in [one for n, one in enumerate(orders) if one not in orders[:n]]:
            for pull in (True, False):
                one = self.times(order, pull=pull)
                if one is not None and self._fits(one[1]):
                    found.append(one)
                    if not beyond(one[1]):
                        break
        return found

    # --- rules -----------------------------------------------------------------------------------------------------

    def _rules(self) -> Rules:
        rules = Rules()
        for task in self.problem.tasks:
            s, e = 2 * task.index, 2 * task.index + 1
            fact = self.facts.get(task.index, Fact(WAITING))
            if fact.state == DONE:
                rules.fixed[s], rules.fixed[e] = fact.start, max(fact.start, fact.end)
                continue
            if fact.state == RUNNING:
                rules.fixed[s] = fact.start
                if task.flexible:
                    rules.floor[e] = max(self.now, fact.start + task.low)
                    rules.most.append((s, e, task.high))
                else:
                    rules.fixed[e] = max(self.now, fact.start + task.low)
                continue
            rules.floor[s] = self.now
            if fact.state == SKIPPED:
                rules.least += [(s, e, 0), (e, s, 0)]
            elif task.flexible:
                rules.least.append((s, e, task.low))
                rules.most.append((s, e, task.high))
            else:
                rules.least += [(s, e, task.low), (e, s, -task.low)]
            for before, most in task.preds:
                rules.least.append((2 * before + 1, s, 0))
                skipped = SKIPPED in (fact.state, self.state(self.problem.tasks[before]))
                if most is not None and not skipped:
                    rules.most.append((2 * before + 1, s, most))
        return rules

    def _order(self, times: list[int]) -> list[int]:
        """Hands-on steps still to come in the order of some times, none before a step it must follow."""
        keys: dict[int, tuple[int, int]] = {}

        def key(index: int) -> tuple[int, int]:
            if index not in keys:
                before = [key(b) for b, _ in self.problem.tasks[index].preds]
                keys[index] = (
                    max([times[index], *(at for at, _ in before)]),
                    1 + max((d for _, d in before), default=0),
                )
            return keys[index]

        return sorted((t.index for t in self.waiting if t.attended), key=lambda i: (*key(i), i))

    def _ordered(self, order: list[int]) -> list[tuple[int, int, int]]:
        """The rules that follow from an order: one pair of hands, and places that are full."""
        tasks = self.problem.tasks
        least = []
        busy = [f.start + tasks[i].attended for i, f in self.facts.items() if f.state == RUNNING and tasks[i].attended]
        for one, two in zip(order, order[1:], strict=False):
            least.append((2 * one, 2 * two, tasks[one].attended))
        if order and busy and max(busy) > self.now:
            self.rules.floor[2 * order[0]] = max(busy)
        turn = {index: n for n, index in enumerate(order)}
        for place, limit in self.problem.capacity.items():
            there = [t for t in tasks if t.process.place == place and self.state(t) in (WAITING, RUNNING) and t.high]
            units = {t.index: limit if t.process.kind == wire.PREHEAT else t.process.units for t in there}
            if sum(units.values()) <= limit:
                continue
            for one in there:
                for two in there:
                    if (
                        self.guide.end[one.index] > self.guide.start[two.index]
                        or self.state(two) == RUNNING
                        or one is two
                    ):
                        continue
                    if turn.get(two.index, len(order)) < turn.get(one.index, -1):
                        if limit == 1:
                            least.append((2 * two.index + 1, 2 * one.index, 0))
                        continue
                    least.append((2 * one.index + 1, 2 * two.index, 0))
        if self.problem.oven_proofs:
            for proof in self.waiting:
                for hot in self.waiting:
                    if proof.process.kind == wire.PROOF and hot.process.kind in (wire.PREHEAT, wire.BAKE):
                        if self.guide.start[proof.index] <= self.guide.start[hot.index]:
                            least.append((2 * proof.index + 1, 2 * hot.index, 0))
                        else:
                            least.append((2 * hot.index + 1, 2 * proof.index, OVEN_COOL_MIN))
        return least

    # --- waking stretches ------------------------------------------------------------------------------------------

    def _earliest(self, least: list[tuple[int, int, int]], pull: bool) -> tuple[list[int], dict[int, int]] | None:
        """Return the earliest time of every instant and the waking stretch of every watched step, none earlier than

        in the old plan; `pull`: a step whose successor moves into the next day moves with it, to keep a maximum.
        """
        rules = self.rules
        value = [rules.fixed.get(v, rules.floor.get(v, -FAR)) for v in range(2 * len(self.problem.tasks))]
        stretch: dict[int, int] = {}
        for task in self.waiting:
            if task.watched:
                at = self.guide.start[task.index]
                stretch[task.index] = sum(1 for begin, _, _ in self.stretches[1:] if begin <= at)
        edges = list(least) + ([(b, a, -most) for a, b, most in rules.most] if pull else [])
        bound = max(self.problem.targets) + 3 * 1440 + max(0, self.now - min(self.problem.targets))
        for _ in range(ROUNDS):
            changed = False
            for index, number in stretch.items():
                task, s = self.problem.tasks[index], 2 * index
                while value[s] > sum(self.stretches[number][1:]) - task.watched:
                    number += 1
                    if number >= len(self.stretches):
                        return None
                stretch[index] = number
                if value[s] < self.stretches[number][0]:
                    value[s] = self.stretches[number][0]
                    changed = True
            for a, b, gap in edges:
                if b not in rules.fixed and value[a] + gap > value[b]:
                    value[b] = value[a] + gap
                    changed = True
            if not changed:
                return value, stretch
            if max(value) > bound:
                return None
        return None

    # --- times -----------------------------------------------------------------------------------------------------

    def times(self, order: list[int] | None, pull: bool) -> tuple[int, Solution] | None:
        least = self.rules.least + ([] if order is None else self._ordered(order))
        early = self._earliest(least, pull)
        if early is None:
            return None
        _, stretch = early
        program = Program(2 * len(self.problem.tasks))
        up: dict[int, int] = {}  # minutes of sleep given up, by stretch
        for v, at in self.rules.fixed.items():
            program.low[v] = program.high[v] = at
        for v, at in self.rules.floor.items():
            program.low[v] = at
        for index, number in stretch.items():
            begin, end, extra = self.stretches[number]
            latest = end - self.problem.tasks[index].watched
            program.low[2 * index] = max(program.low[2 * index], begin)
            program.high[2 * index] = latest + extra
            if extra:
                if number not in up:
                    up[number] = program.new(AWAKE)
                program.row([(2 * index, 1.0), (up[number], -1.0)], latest)
        for a, b, gap in least:
            program.at_least(a, b, gap)
        for a, b, most in self.rules.most:
            program.above(a, b, most, OVER)
        self._wishes(program)
        values = program.solve()
        if values is None:
            return None
        count = len(self.problem.tasks)
        start, end = [values[2 * i] for i in range(count)], [values[2 * i + 1] for i in range(count)]
        over = sum(max(0, values[b] - values[a] - most) for a, b, most in self.rules.most)
        late = sum(
            max(0, *[end[t.index] - target for t in self.problem.tasks if t.ready and t.job == job], 0)
            for job, target in enumerate(self.problem.targets)
        )
        return program.cost, Solution(
            start,
            end,
            False,
            {"over_min": over, "awake_min": sum(values[column] for column in up.values()), "late_min": late},
        )

    def _wishes(self, program: Program) -> None:
        tasks = self.problem.tasks
        for job, target in enumerate(self.problem.targets):
            ready = [t for t in tasks if t.ready and t.job == job and self.state(t) != DONE]
            if not ready:
                continue
            late = program.new(LATE)
            for task in ready:
                program.row([(2 * task.index + 1, 1.0), (late, -1.0)], target)
            last = max(ready, key=lambda t: self.was.end[t.index])
            aim = target - round(self.problem.jobs[job].spec.buffer_s / MINUTE_S)
            program.row([(2 * last.index + 1, -1.0), (program.new(EARLY), -1.0)], -aim)
        for task in tasks:
            s, e = 2 * task.index, 2 * task.index + 1
            if self.state(task) in (WAITING, RUNNING) and task.flexible:
                low, high = near(task)
                off = program.new(rest_weight(task))
                program.row([(e, 1.0), (s, -1.0), (off, -1.0)], high)
                program.row([(e, -1.0), (s, 1.0), (off, -1.0)], -low)
            if self.state(task) == WAITING:
                moved = program.new(1)
                program.row([(s, 1.0), (moved, -1.0)], self.was.start[task.index])
                program.row([(s, -1.0), (moved, -1.0)], -self.was.start[task.index])

    def _fits(self, solution: Solution) -> bool:
        """Whether no place holds more than it can at any time: orders keep most of that, not all of it."""
        for place, limit in self.problem.capacity.items():
            changes = []
            for t in self.problem.tasks:
                if t.process.place != place or self.state(t) not in (WAITING, RUNNING):
                    continue
                if place == wire.OVEN and t.process.kind == wire.PROOF:
                    continue
                units = limit if t.process.kind == wire.PREHEAT else t.process.units
                begin = max(self.now, solution.start[t.index])
                if solution.end[t.index] > begin:
                    changes += [(begin, 1, units), (solution.end[t.index], 0, -units)]
            level = 0
            for _, _, units in sorted(changes):
                level += units
                if level > limit:
                    return False
        return True


def beyond(solution: Solution) -> int:
    """Minutes beyond maxima and bedtime."""
    return solution.reached["over_min"] + solution.reached["awake_min"]
