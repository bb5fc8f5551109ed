"""How likely the plan is to be ready by the hour: simulated days in which steps take as long as they really do.

Every step's length is drawn from its band (5 % and 95 % points as factors on the ideal, a split log-normal with its
median at the planned length). The simulated cook keeps the planned order, starts nothing before its planned time,
shortens rests down to their minimum when late, and does not work in his away hours. With dough in hand he stays up
past his bedtime to finish what was planned for the evening, `STAYS_UP_MIN` at most.
"""

from __future__ import annotations

import math

import numpy as np

from shared_schedule import plan as wire
from tourier.dayplan.model import Chance
from tourier.dayplan.problem import MINUTE_S, Problem
from tourier.dayplan.search import SEED
from tourier.dayplan.solution import DONE, RUNNING, SKIPPED, WAITING, Fact, Solution

RUNS = 2000
#: How long a cook stays up to finish an evening's work that runs late: common practice, no source.
STAYS_UP_MIN = 60
Z95 = 1.6448536269514722  # 95 % point of the standard normal


def chance_of(
    problem: Problem,
    solution: Solution,
    runs: int = RUNS,
    seed: int = SEED,
    facts: dict[int, Fact] | None = None,
    now: int = 0,
) -> Chance:
    """Return the chance that the last piece of every batch is ready by its hour, over `runs` days.

    After a replan `facts` say what has happened until `now`: that is the same in all of them.
    """
    ready, blame = simulate(problem, solution, runs, seed, facts, now)
    wished = np.array([to_min(problem, job) for job in range(len(problem.jobs))])
    late = (ready - wished).max(axis=1)
    points = np.quantile(late, (0.05, 0.5, 0.95), method="higher")
    slack = max(0, math.ceil(points[2] / 5.0 - 1e-9) * 5) if points[2] > 0 else 0
    return Chance(
        ready_by=float((late <= 1e-9).mean()),
        late_s=tuple(int(round(p * MINUTE_S)) for p in points),  # type: ignore[arg-type]
        slack_for_95_s=int(slack * MINUTE_S),
        runs=runs,
        weak=blame,
    )


def to_min(problem: Problem, job: int) -> float:
    """Return the wished ready time of a batch in minutes of the problem, without the slack aimed for."""
    return (problem.jobs[job].spec.wished_at.timestamp() - _origin_unix(problem)) / MINUTE_S


def _origin_unix(problem: Problem) -> float:
    from shared_schedule.units import EPOCH_UNIX_S

    return problem.origin_s + EPOCH_UNIX_S


def draw(rng: np.random.Generator, band: tuple[float, float], runs: int) -> np.ndarray:
    """Return factors with median 1 and the band as their 5 % and 95 % points."""
    low, high = band
    z = rng.standard_normal(runs)
    down = -math.log(min(max(low, 1e-3), 1.0)) / Z95
    up = math.log(max(high, 1.0)) / Z95
    return np.exp(np.where(z < 0, z * down, z * up))


def simulate(
    problem: Problem, solution: Solution, runs: int, seed: int, facts: dict[int, Fact] | None = None, now: int = 0
) -> tuple[np.ndarray, tuple[str, ...]]:
    """Return (ready[runs, jobs] in minutes, names of the steps that most often set the delay)."""
    rng = np.random.default_rng(seed)
    tasks = problem.tasks
    count = len(tasks)
    start = np.zeros((count, runs))
    end = np.zeros((count, runs))
    earliest_end = np.zeros((count, runs))  # when a successor may take over at the soonest
    delay_from = np.zeros((count, runs))
    hands = np.full(runs, -1e9)
    bench = np.full(runs, -1e9)
    oven = np.full(runs, -1e9)
    order = sorted(range(count), key=lambda i: (solution.start[i], solution.end[i], i))
    for i in order:
        task = tasks[i]
        step = task.process
        factor = draw(rng, step.band, runs)
        begin = np.full(runs, float(solution.start[i]))
        fact = (facts or {}).get(i, Fact(WAITING))
        if fact.state in (DONE, SKIPPED):
            start[i], end[i], earliest_end[i] = begin, solution.end[i], solution.end[i]
            continue
        for before, _ in task.preds:
            begin = np.maximum(begin, earliest_end[before])
        attended = float(task.attended)
        stretched = attended * np.maximum(factor, 0.2) if attended else np.zeros(runs)
        if attended:
            begin = np.maximum(begin, hands)
        if step.place == wire.BENCH:
            begin = np.maximum(begin, bench)
        if step.place == wire.OVEN and step.kind != wire.PROOF:
            full = [t for t in tasks if t.process.place == wire.OVEN and solution.end[t.index] <= solution.start[i]]
            if full and problem.capacity[wire.OVEN] <= step.units:
                begin = np.maximum(begin, oven)
        if task.watched:
            for (_, b), hours in zip(problem.spans, problem.away, strict=True):
                a = (hours.from_s - problem.origin_s) // MINUTE_S
                # Work that would begin in away hours waits until they end; before sleep the evening's own work is
                # finished first.
                evening = hours.why == "sleep" and solution.start[i] < a
                begin = np.where((begin >= a + (STAYS_UP_MIN if evening else 0)) & (begin < b), float(b), begin)
        if fact.state == RUNNING:
            begin = np.full(runs, float(fact.start))
        planned = float(solution.end[i] - solution.start[i])
        if task.flexible:
            need = np.full(runs, float(task.low))
            if step.ends_by in (wire.BY_CORE, wire.BY_DOSE):
                # Heat and yeast keep their own time: what the model calls ideal takes what it takes that day.
                need = np.clip(task.ideal * factor, task.low, task.high)
                need = np.minimum(need, np.maximum(planned * factor, task.low))
            soonest = begin + need
            finish = np.maximum(soonest, float(solution.end[i]))
        else:
            soonest = begin + np.maximum(planned * factor, stretched)
            finish = soonest
        if fact.state == RUNNING:
            soonest, finish = np.maximum(soonest, now), np.maximum(finish, now)
        start[i], end[i], earliest_end[i] = begin, finish, soonest
        delay_from[i] = soonest - solution.end[i]
        if attended:
            hands = begin + (stretched if task.flexible else np.minimum(stretched, finish - begin))
        if step.place == wire.BENCH:
            bench = soonest
        if step.place == wire.OVEN and step.kind != wire.PROOF:
            oven = np.maximum(oven, soonest)
    ready = np.stack(
        [
            np.max([earliest_end[t.index] for t in tasks if t.ready and t.job == job], axis=0)
            for job in range(len(problem.jobs))
        ],
        axis=1,
    )
    return ready, _blame(problem, solution, delay_from, ready)


def _blame(problem: Problem, solution: Solution, delay: np.ndarray, ready: np.ndarray) -> tuple[str, ...]:
    """Name up to three steps whose lateness goes most with the lateness of the end."""
    late = ready.max(axis=1)
    if float(late.std()) < 1e-9:
        return ()
    scores = []
    for task in problem.tasks:
        own = delay[task.index]
        before = np.max([delay[b] for b, _ in task.preds], axis=0) if task.preds else np.zeros_like(own)
        added = own - np.maximum(before, 0)
        if float(added.std()) > 1e-9:
            scores.append((float(np.corrcoef(added, late)[0, 1]), task.process.name))
    scores.sort(key=lambda pair: (-pair[0], pair[1]))
    names = dict.fromkeys(name for score, name in scores if score > 0.2)
    return tuple(names)[:3]
