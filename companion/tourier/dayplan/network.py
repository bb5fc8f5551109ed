"""The plan as a network of differences: with the order of work kept, how late may every step start?

A plan fixes who follows whom at the bench, in the oven and in the cook's hands, and in which waking stretch every
hands-on step lies. With that order kept, all rules are differences between instants (`x_b - x_a <= w`), and the
shortest paths give the exact latest time of each instant. Capacities above one are kept by keeping the order in
which the place is emptied and filled.
"""

from __future__ import annotations

from shared_schedule import plan as wire
from tourier.dayplan.problem import OVEN_COOL_MIN, Problem
from tourier.dayplan.solution import Solution

Edge = tuple[int, int, int]  # x[second] - x[first] <= weight

FAR = 10**9


def edges_of(problem: Problem, solution: Solution) -> tuple[list[Edge], list[int]]:
    """Return the rules as differences and an upper bound of every instant. Start of task i is 2i, its end 2i + 1."""
    edges: list[Edge] = []
    upper = [FAR] * (2 * len(problem.tasks))
    start, end = solution.start, solution.end

    def before(first: int, second: int, gap: int = 0) -> None:
        """first + gap <= second"""
        edges.append((second, first, -gap))

    for task in problem.tasks:
        s, e = 2 * task.index, 2 * task.index + 1
        length = end[task.index] - start[task.index]
        edges.append((s, e, max(task.high, length)))
        before(s, e, min(task.low, length))
        for pred, most in task.preds:
            before(2 * pred + 1, s)
            if most is not None:
                wait = start[task.index] - end[pred]
                edges.append((2 * pred + 1, s, max(most, wait)))
        if task.ready:
            upper[e] = max(task.target, end[task.index])
        if task.watched:
            for begin, _ in problem.spans:
                if begin >= start[task.index] + task.watched:
                    upper[s] = min(upper[s], begin - task.watched)
    hands = sorted((t for t in problem.tasks if t.attended), key=lambda t: (start[t.index], t.index))
    for one, two in zip(hands, hands[1:], strict=False):
        before(2 * one.index, 2 * two.index, one.attended)
    for place, limit in problem.capacity.items():
        _keep_order(problem, solution, place, limit, before)
    if problem.oven_proofs:
        for proof in problem.tasks:
            for hot in problem.tasks:
                if proof.process.kind == wire.PROOF and hot.process.kind in (wire.PREHEAT, wire.BAKE):
                    if end[proof.index] <= start[hot.index]:
                        before(2 * proof.index + 1, 2 * hot.index)
                    else:
                        before(2 * hot.index + 1, 2 * proof.index, OVEN_COOL_MIN)
    return edges, upper


def _keep_order(problem: Problem, solution: Solution, place: int, limit: int, before) -> None:
    there = [t for t in problem.tasks if t.process.place == place and t.high > 0]
    units = {t.index: limit if t.process.kind == wire.PREHEAT else t.process.units for t in there}
    if sum(units.values()) <= limit:
        return
    for one in there:
        for two in there:
            # Two that cannot be in the place together, or that had to wait for each other, stay in their order.
            if one is not two and solution.end[one.index] <= solution.start[two.index]:
                if (
                    limit == 1
                    or units[one.index] + units[two.index] > limit
                    or _full(there, units, limit, two, solution)
                ):
                    before(2 * one.index + 1, 2 * two.index)


def _full(there, units, limit, task, solution: Solution) -> bool:
    """Whether the place could be short of room when a task enters it, were earlier ones to stay longer."""
    return sum(units[t.index] for t in there if solution.start[t.index] <= solution.start[task.index]) > limit


def latest_starts(problem: Problem, solution: Solution) -> list[int]:
    """Return the latest start of every task in minutes, everything else free to move within the kept order."""
    edges, upper = edges_of(problem, solution)
    # x[second] <= x[first] + weight: relax upper bounds until nothing changes (Bellman-Ford, no negative cycle
    # because the plan itself satisfies every difference).
    for _ in range(len(upper) + 1):
        changed = False
        for first, second, weight in edges:
            bound = upper[first] + weight
            if bound < upper[second]:
                upper[second] = bound
                changed = True
        if not changed:
            break
    return [
        upper[2 * task.index] if upper[2 * task.index] < FAR // 2 else solution.start[task.index]
        for task in problem.tasks
    ]
