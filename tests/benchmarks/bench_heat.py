"""Speed of the heat model as ratios within one run.

``python tests/benchmarks/bench_heat.py`` prints the table; ``pytest -m bench tests/benchmarks`` asserts the ratios.
The rival is scipy's ``solve_ivp`` with BDF, the same cells and the banded Jacobian given as a function, at the loosest
tolerance that still meets the same accuracy (0.02 K against a run a hundred times tighter).
"""

from __future__ import annotations

import time

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from tourier.craft.butter import profile
from tourier.craft.heat import Face, Layer, Stack
from tourier.craft.properties import REFERENCE_DOUGH, Material, butter_material, dough_material

WANTED_K = 0.02
SPAN_S = 3600.0
CHECK_S = tuple(np.geomspace(1.0, SPAN_S, 60))  # all along the run, not at chosen times


def lock_in(scenarios: int = 1, scale: int = 1) -> Stack:
    """Butter at 14 C between dough at 5 C on a marble bench at 22 C: contacts, melting, two films."""
    marble = Material("marble", 3.5, 2800.0, 1000.0)
    dough, butter = dough_material(REFERENCE_DOUGH), butter_material(profile("standard-82"))
    air = np.linspace(20.0, 26.0, scenarios) if scenarios > 1 else 22.0
    layers = [
        Layer(marble, 0.02, 16 * scale, 22.0, contact=700.0),
        Layer(dough, 0.010, 10 * scale, 5.0),
        Layer(butter, 0.008, 16 * scale, 14.0),
        Layer(dough, 0.010, 10 * scale, 5.0),
    ]
    return Stack(layers, Face(6.0, air), Face(7.7, air), scenarios)


def rival(stack: Stack, rtol: float, atol: float):
    """The same equations for ``solve_ivp``: dT/dt = gain / c, Jacobian banded."""
    link, pull = stack._link[0], stack._pull[0]
    low, top = stack.bottom.air_c, stack.top.air_c
    n = stack.cells

    def rate(_t, y):
        y = y[None, :]
        q = stack.flow(y, low, top)
        return ((q[:, 1:] - q[:, :-1]) / stack.enthalpy(y)[1])[0]

    def jacobian(_t, y):  # three diagonals
        c = stack.enthalpy(y[None, :])[1][0]
        bands = np.zeros((3, n))
        bands[1] = -pull / c
        bands[0, 1:] = link[1:-1] / c[:-1]
        bands[2, :-1] = link[1:-1] / c[1:]
        return bands

    # scipy's BDF takes a Jacobian as a dense or sparse matrix; bands go in as sparse diagonals, solved by SuperLU.
    from scipy.sparse import dia_matrix

    def jac(t, y):
        b = jacobian(t, y)
        return dia_matrix((np.array([b[2], b[1], b[0]]), [-1, 0, 1]), shape=(n, n)).tocsc()

    return solve_ivp(rate, (0.0, SPAN_S), stack._t0.ravel(), "BDF", rtol=rtol, atol=atol, jac=jac, t_eval=CHECK_S)


def best_of(times: int, what):
    """Shortest of several runs, and the last result."""
    least, result = np.inf, None
    for _ in range(times):
        start = time.perf_counter()
        result = what()
        least = min(least, time.perf_counter() - start)
    return least, result


def measure() -> dict[str, float]:
    """Every figure of the benchmark in one run."""
    one = lock_in()
    exact = one.run(SPAN_S, tol_k=2e-5)
    truth = np.array([exact.at(s)[0] for s in CHECK_S])

    def error(history) -> float:
        return float(max(np.abs(history.at(s)[0] - truth[i]).max() for i, s in enumerate(CHECK_S)))

    for tol in (0.05, 0.04, 0.03, 0.025, 0.02, 0.01):
        if error(one.run(SPAN_S, tol_k=tol)) <= WANTED_K:
            break
    ours_s, ours = best_of(15, lambda: one.run(SPAN_S, tol_k=tol))
    rival_tol, rival_s, rival_error = 0.0, np.inf, np.inf
    for loose in (1e-1, 3e-2, 2e-2, 1e-2, 3e-3, 1e-3):
        seconds, result = best_of(5, lambda loose=loose: rival(one, 1e-9, loose))
        off = float(np.abs(result.y.T - truth).max())
        if off <= WANTED_K:
            rival_tol, rival_s, rival_error = loose, seconds, off
            break
    many = lock_in(200)
    many_s, _ = best_of(7, lambda: many.run(SPAN_S, tol_k=tol))
    out = {
        "tol_k": tol,
        "ours_s": ours_s,
        "ours_error_k": error(ours),
        "ours_steps": len(ours.t_s) - 1,
        "rival_atol": rival_tol,
        "rival_s": rival_s,
        "rival_error_k": rival_error,
        "ratio_one": rival_s / ours_s,
        "many_s_per_scenario": many_s / 200,
        "ratio_many": rival_s / (many_s / 200),
    }
    # Cost per cell, step and scenario at three sizes of each.
    for name, stack, step in (
        ("200 scenarios", lock_in(200), 60.0),
        ("400 scenarios", lock_in(400), 60.0),
        ("800 scenarios", lock_in(800), 60.0),
        ("200 scenarios, cells x2", lock_in(200, 2), 60.0),
        ("200 scenarios, cells x4", lock_in(200, 4), 60.0),
        ("200 scenarios, steps x2", lock_in(200), 30.0),
        ("200 scenarios, steps x4", lock_in(200), 15.0),
    ):
        seconds, run = best_of(2, lambda stack=stack, step=step: stack.run(SPAN_S / 4, step_s=step))
        work = stack.cells * (len(run.t_s) - 1) * stack.scenarios
        out["ns per cell, step, scenario: " + name] = seconds / work * 1e9
    return out


@pytest.mark.bench
def test_heat_speed():
    figures = measure()
    assert figures["ours_error_k"] <= WANTED_K and figures["rival_error_k"] <= WANTED_K
    assert figures["ratio_one"] >= 10.0, figures
    assert figures["ratio_many"] >= 100.0, figures
    costs = [v for k, v in figures.items() if k.startswith("ns per")]
    assert max(costs) / min(costs) <= 2.5, figures  # linear: cost per unit of work stays put, caches and all


if __name__ == "__main__":
    for key, value in measure().items():
        print(f"{key:55s} {value:.4g}")
