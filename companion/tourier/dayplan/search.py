"""The search: stages in their order, each with a bound of its own that does not hang on the machine's speed."""

from __future__ import annotations

import threading

from tourier.dayplan.constraints import DayModel, cp_model
from tourier.dayplan.objectives import Stage
from tourier.dayplan.solution import WAITING, Solution

SEED = 20200101
# A share of the search, not of the wall clock, so that the same wish gives the same plan on a slow machine.
STAGE_EFFORT = 2.0
FAR_EFFORT = 1e9


class Budget:
    """What all searches for one wish may cost together, in the solver's own count of work: so it stays reproducible.

    `crowded`: search the way that suits many pâtons in little room, see `new_solver`.
    """

    def __init__(self, effort: float, crowded: bool = False):
        self.left = effort
        self.crowded = crowded

    def share(self, effort: float) -> float:
        return max(0.001, min(effort, self.left))

    def spend(self, solver: cp_model.CpSolver) -> None:
        self.left -= solver.response_proto.deterministic_time


def solve(
    day: DayModel,
    stages: list[Stage],
    effort: float = STAGE_EFFORT,
    first: Solution | None = None,
    budget: Budget | None = None,
) -> Solution | None:
    """Minimise the stages in order and return the last solution, or None when there is proven to be none.

    Raises TimeoutError when the effort is spent with neither a solution nor a proof.
    """
    budget = Budget(FAR_EFFORT) if budget is None else budget
    solution = first
    proven = True
    reached: dict[str, int] = {}
    for name, objective in stages:
        expression = objective(day)
        if isinstance(expression, int):
            reached[name] = expression
            continue
        day.model.minimize(expression)
        if solution is not None:
            _hint(day, solution)
        solver = new_solver(budget.share(effort), budget.crowded)
        status = run_search(solver, day.model)
        budget.spend(solver)
        if status == cp_model.INFEASIBLE:
            return None
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            if solution is None:
                raise TimeoutError("the planner found neither a plan nor a proof that there is none")
            proven = False
            break
        proven = proven and status == cp_model.OPTIMAL
        reached[name] = round(solver.objective_value)
        solution = Solution([solver.value(v) for v in day.starts], [solver.value(v) for v in day.ends], proven, reached)
        day.model.clear_objective()
        day.model.add(expression <= reached[name])
    if solution is not None:
        solution.proven = proven
        solution.reached = reached
    return solution


def settle(day: DayModel, solution: Solution, stages: list[Stage], budget: Budget | None = None) -> Solution:
    """Keep the order of work of a solution and minimise further stages; `proven` stays that of the solution."""
    keep_order(day, solution)
    settled = solve(day, stages, first=solution, budget=budget)
    if settled is None:
        return solution
    return Solution(settled.start, settled.end, solution.proven, {**solution.reached, **settled.reached})


def keep_order(day: DayModel, solution: Solution) -> None:
    """Let hands-on work, and steps that exclude each other in a place, follow each other as they do there."""
    tasks = [t for t in day.problem.tasks if day.state(t) == WAITING]
    hands = sorted((t for t in tasks if t.attended), key=lambda t: (solution.start[t.index], t.index))
    for one, two in zip(hands, hands[1:], strict=False):
        day.model.add(day.starts[two.index] >= day.starts[one.index] + one.attended)
    for place, limit in day.problem.capacity.items():
        there = [t for t in tasks if t.process.place == place]
        if sum(t.process.units for t in there) <= limit:
            continue
        there.sort(key=lambda t: (solution.start[t.index], solution.end[t.index], t.index))
        for place_in_line, one in enumerate(there):
            for two in there[place_in_line + 1 :]:
                if solution.end[one.index] <= solution.start[two.index]:
                    day.model.add(day.starts[two.index] >= day.ends[one.index])


def _hint(day: DayModel, solution: Solution) -> None:
    day.model.clear_hints()
    for variable, value in zip(day.starts, solution.start, strict=True):
        if hasattr(variable, "index") and hasattr(variable, "name"):
            day.model.add_hint(variable, value)


def any_timetable(day: DayModel, budget: Budget) -> Solution | None:
    """Return some timetable, good or bad, or None when there is proven to be none; raises TimeoutError."""
    solver = new_solver(budget.share(FAR_EFFORT), budget.crowded)
    day.model.clear_objective()
    status = run_search(solver, day.model)
    budget.spend(solver)
    if status == cp_model.INFEASIBLE:
        return None
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        raise TimeoutError("the planner found neither a plan nor a proof that there is none")
    return Solution([solver.value(v) for v in day.starts], [solver.value(v) for v in day.ends], False)


def run_search(solver: cp_model.CpSolver, model: cp_model.CpModel) -> cp_model.CpSolverStatus:
    """Search, and let Ctrl-C and a kill end it at once.

    The interpreter looks at signals between its own steps only, and a search is one step that can last for minutes. So
    the main thread, which alone is given them, waits while another one searches.
    """
    if threading.current_thread() is not threading.main_thread():
        return solver.solve(model)
    found: list[cp_model.CpSolverStatus | Exception] = []
    over = threading.Event()

    def search() -> None:
        try:
            found.append(solver.solve(model))
        except Exception as error:  # for the thread that asked
            found.append(error)
        finally:
            over.set()

    # An event is waited for, for a join that is interrupted takes its thread for ended.
    threading.Thread(target=search, name="day planner", daemon=True).start()
    try:
        over.wait()
    except BaseException:
        while not over.wait(0.02):
            solver.stop_search()  # again and again: one that is only about to begin does not hear it
        raise
    if isinstance(found[0], Exception):
        raise found[0]
    return found[0]


def new_solver(effort: float, crowded: bool = False) -> cp_model.CpSolver:
    """Return a solver that gives the same answer on every machine.

    `crowded`: what fills fridge and hands is reasoned about more closely and no linear bound is kept up, which finds
    timetables, or proofs that there are none, where three pâtons share two shelves; it proves fewer of them best.
    """
    solver = cp_model.CpSolver()
    # Left on, it takes Ctrl-C for itself and for the rest of the process: no port is closed, no timer ended after it.
    solver.parameters.catch_sigint_signal = False
    solver.parameters.num_workers = 1
    solver.parameters.max_size_to_create_precedence_literals_in_disjunctive = 200
    if crowded:
        solver.parameters.linearization_level = 0
        solver.parameters.cp_model_probing_level = 0
        solver.parameters.use_timetable_edge_finding_in_cumulative = True
        solver.parameters.use_overload_checker_in_cumulative = True
        solver.parameters.use_strong_propagation_in_disjunctive = True
    else:
        solver.parameters.linearization_level = 2  # the hours on duty are proven by the linear bound or not at all
    solver.parameters.random_seed = SEED
    solver.parameters.max_deterministic_time = effort  # none on the clock: a busy machine comes to the same plan
    return solver
