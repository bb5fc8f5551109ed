"""The heat model against exact solutions, its orders of convergence, and its energy balance."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import erfc, erfcx
from tourier.craft.butter import profile
from tourier.craft.heat import Face, Layer, Stack
from tourier.craft.properties import REFERENCE_DOUGH, Material, butter_material, dough_material

K, ALPHA = 0.39, 1.21e-7
DOUGH = Material("dough", K, 1250.0, K / ALPHA / 1250.0)


def roots(bi: float, count: int = 200) -> np.ndarray:
    """Roots of z tan z = Bi by scipy's brentq: the independent part of the series."""
    return np.array(
        [
            brentq(lambda z: z * math.sin(z) - bi * math.cos(z), n * math.pi, n * math.pi + math.pi / 2, xtol=1e-15)
            for n in range(count)
        ]
    )


def series(z: np.ndarray, fo: float) -> tuple[float, float, float]:
    """Centre, surface and mean of a plane wall (Incropera, ch. 5.5), dimensionless."""
    c = 4 * np.sin(z) / (2 * z + np.sin(2 * z)) * np.exp(-z * z * fo)
    return float(c.sum()), float((c * np.cos(z)).sum()), float((c * np.sin(z) / z).sum())


@pytest.mark.parametrize("bi", [0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0])
def test_slab_follows_its_series(bi):
    half = 0.01
    stack = Stack([Layer(DOUGH, half, 80, 1.0)], Face(), Face(bi * K / half, 0.0))
    run = stack.run(5.0 * half**2 / ALPHA, tol_k=2e-4)
    z = roots(bi)
    for fo in (0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0):
        seconds = fo * half**2 / ALPHA
        state = run.at(seconds)
        ours = (stack.face_c(state, seconds, "bottom")[0], stack.face_c(state, seconds, "top")[0], state.mean())
        assert ours == pytest.approx(series(z, fo), abs=0.002), (bi, fo)


def test_published_one_term_values():
    # Published: table of one-term coefficients, Bi 1: zeta 0.8603, C 1.1191; theta at Fo 1 = 0.53386.
    z = roots(1.0)
    assert z[0] == pytest.approx(0.8603, abs=5e-5)
    stack = Stack([Layer(DOUGH, 0.01, 80, 1.0)], Face(), Face(K / 0.01, 0.0))
    state = stack.run(0.01**2 / ALPHA, tol_k=1e-4).t_c[-1]
    assert stack.face_c(state, 0.0, "bottom")[0] == pytest.approx(0.53386, abs=0.001)


def _smooth_start(cells: int) -> np.ndarray:
    """Cell means of the first mode of a plate with Bi = 1 (an exact solution is then that mode decaying)."""
    z = roots(1.0, 1)[0]
    edges = np.linspace(0.0, 1.0, cells + 1)
    return np.diff(np.sin(z * edges)) / np.diff(edges) / z


def _order(errors: list[float]) -> float:
    return min(math.log2(a / b) for a, b in zip(errors, errors[1:], strict=False))


def test_second_order_in_space(record_property, capsys):
    z = roots(1.0, 1)[0]
    seconds = 0.5 * 0.01**2 / ALPHA
    errors = []
    for cells in (10, 20, 40, 80):
        stack = Stack([Layer(DOUGH, 0.01, cells, _smooth_start(cells))], Face(), Face(K / 0.01, 0.0))
        state = stack.run(seconds, step_s=seconds / 2000).t_c[-1, 0]
        errors.append(np.abs(state - _smooth_start(cells) * math.exp(-z * z * 0.5)).max())
    with capsys.disabled():
        print(f"\nheat: errors in space {[f'{e:.2e}' for e in errors]}, order {_order(errors):.3f}")
    record_property("order_in_space", _order(errors))
    assert _order(errors) >= 1.9


@pytest.mark.parametrize("case", ["smooth linear", "driven air", "melting butter"])
def test_second_order_in_time(case, record_property, capsys):
    """Against the same cells with a far smaller step, so that only time is seen."""
    seconds = 600.0
    z = roots(1.0, 1)[0]
    x = (np.arange(40) + 0.5) / 40
    if case == "melting butter":
        butter = butter_material(profile("standard-82"))
        stack = Stack([Layer(butter, 0.01, 40, 22.0 - 10.0 * np.cos(z * x))], Face(), Face(8.0, 22.0))
    else:
        air = (lambda t: math.sin(2 * math.pi * t / 600.0)) if case == "driven air" else 0.0
        stack = Stack([Layer(DOUGH, 0.01, 40, np.cos(z * x))], Face(), Face(K / 0.01, air))
    steps = (12, 24, 48, 96)
    exact = stack.run(seconds, step_s=seconds / 6144).t_c[-1]
    errors = [float(np.abs(stack.run(seconds, step_s=seconds / n).t_c[-1] - exact).max()) for n in steps]
    with capsys.disabled():
        print(f"\nheat: errors in time, {case}: {[f'{e:.2e}' for e in errors]}, order {_order(errors):.3f}")
    record_property(f"order_in_time {case}", _order(errors))
    assert _order(errors) >= 1.9


def test_any_step_is_stable():
    """A step as long as the story, or a thousand times the explicit limit, neither rings nor leaves the bounds."""
    stack = Stack(
        [Layer(Material("steel", 17.0, 7900.0, 460.0), 0.001, 20, 22.0, contact=700.0), Layer(DOUGH, 0.02, 40, 5.0)],
        Face(6.0, 22.0),
        Face(8.0, 22.0),
    )
    explicit = 0.5 * (0.001 / 20) ** 2 / (17.0 / 7900.0 / 460.0)
    for step in (1e3 * explicit, 60.0, 7200.0):
        run = stack.run(7200.0, step_s=step)
        assert run.t_c[1:].min() > 4.0 and run.t_c.max() < 23.0
    calm = Stack([Layer(DOUGH, 0.02, 40, 5.0)], Face(np.inf, 5.0), Face(8.0, 5.0)).run(1e6, step_s=1e5)
    assert np.abs(calm.t_c - 5.0).max() < 1e-12


@pytest.mark.parametrize("scenarios", [1, 7])
def test_energy_closes(scenarios):
    """Heat through the faces equals heat in the cells, whatever the step, melting and moving air included."""
    butter, dough = butter_material(profile("hard-fraction")), dough_material(REFERENCE_DOUGH)
    air = (lambda t: 22.0 + 3.0 * math.sin(t / 200.0)) if scenarios == 1 else np.linspace(18.0, 30.0, scenarios)
    stack = Stack(
        [
            Layer(Material("marble", 3.5, 2800.0, 1000.0), 0.02, 12, 22.0, contact=700.0),
            Layer(dough, 0.01, 10, 4.0),
            Layer(butter, 0.008, 12, 14.0, melt_scale=1.2),
            Layer(dough, 0.01, 10, 4.0),
        ],
        Face(6.0, air),
        Face(7.7, air),
        scenarios,
    )
    for kwargs in ({}, {"step_s": 100.0}, {"tol_k": 0.5}):
        run = stack.run(3000.0, **kwargs)
        assert np.abs(run.heat_in_j_m2 - run.stored_j_m2).max() <= 1e-9 * np.abs(run.stored_j_m2).min()
        # And from the outside: enthalpy by the material's own formula, not by the solver's tables.
        first, last = run.t_c[0], run.t_c[-1]
        total = np.zeros(scenarios)
        for layer, here in zip(stack.layers, stack.slices, strict=True):
            m, dz = layer.material, layer.thickness_m / layer.cells
            melted = 0.0
            if m.fat is not None:
                from tourier.craft.butter import melting_heat_j_kg

                melted = (
                    1.2 * m.rho * (melting_heat_j_kg(m.fat, last[:, here]) - melting_heat_j_kg(m.fat, first[:, here]))
                )
            total += (dz * (m.rho * m.c * (last[:, here] - first[:, here]) + melted)).sum(axis=1)
        assert total == pytest.approx(run.heat_in_j_m2, rel=2e-4)


def test_a_leak_would_be_seen():
    """The balance is a test that can fail: heat taken from one cell by hand must show."""
    stack = Stack([Layer(DOUGH, 0.02, 20, 18.0)], Face(), Face(8.0, 4.0))
    run = stack.run(600.0)
    run.t_c[-1, 0, 3] -= 1e-3
    lost = (stack.enthalpy(run.t_c[-1])[0] - stack.enthalpy(run.t_c[0])[0]).sum()
    assert abs(lost - run.heat_in_j_m2[0]) > 1e-9 * abs(run.heat_in_j_m2[0])


def test_semi_infinite_contact():
    """Two half-spaces: (e1 T1 + e2 T2)/(e1 + e2) at the joint and erfc into each (Cengel; Carslaw and Jaeger)."""
    marble = Material("marble", 3.5, 2800.0, 1000.0)
    stack = Stack([Layer(marble, 0.2, 500, 22.0), Layer(DOUGH, 0.06, 500, 5.0)], Face(), Face())
    run = stack.run(300.0, tol_k=1e-3)
    joint = (marble.effusivity * 22.0 + DOUGH.effusivity * 5.0) / (marble.effusivity + DOUGH.effusivity)
    for seconds in (30.0, 120.0, 300.0):
        state = run.at(seconds)[0]
        for side, sign, t0, here, m in ((0, -1, 22.0, slice(0, 500), marble), (1, 1, 5.0, slice(500, None), DOUGH)):
            x = sign * (run.x_m[0, here] - 0.2)
            exact = t0 + (joint - t0) * erfc(x / (2 * np.sqrt(m.diffusivity * seconds)))
            assert np.abs(state[here] - exact).max() <= 0.05, (seconds, side)


def test_semi_infinite_with_film():
    """Surface and depth of a half-space under a film: erfc(xi) - exp(...) erfc(...); published check values."""
    # Independent values (h 8, k .385, alpha 1.1961e-7), dimensionless, computed apart from this program.
    m = Material("dough", 0.385, 1250.0, 0.385 / 1250.0 / 1.1961e-7)
    stack = Stack([Layer(m, 0.15, 1000, 0.0)], Face(), Face(8.0, 1.0))
    run = stack.run(1200.0, tol_k=1e-4)
    for depth, seconds, theta in (
        (0.0, 300, 0.12630),
        (0.005, 300, 0.05527),
        (0.0, 1200, 0.22887),
        (0.010, 1200, 0.10184),
    ):
        a = 8.0 * math.sqrt(1.1961e-7 * seconds) / 0.385
        xi = depth / (2 * math.sqrt(1.1961e-7 * seconds))
        exact = erfc(xi) - math.exp(-xi * xi) * erfcx(xi + a)
        assert exact == pytest.approx(theta, abs=2e-5)
        state = run.at(seconds)
        ours = stack.face_c(state, seconds)[0] if depth == 0.0 else np.interp(0.15 - depth, run.x_m[0], state[0])
        assert ours == pytest.approx(theta, abs=0.001)


def _two_layer_modes(l1, l2, m1, m2, h, count=60):
    """Eigenvalues and modes of two layers, insulated below, film above: X1 = cos, X2 by matching at the joint."""

    def end(lam):
        a, b = lam / math.sqrt(m1.diffusivity), lam / math.sqrt(m2.diffusivity)
        value, flux = math.cos(a * l1), -m1.k * a * math.sin(a * l1)
        c, d = value, flux / (m2.k * b)
        u = c * math.cos(b * l2) + d * math.sin(b * l2)
        du = b * (-c * math.sin(b * l2) + d * math.cos(b * l2))
        return m2.k * du + h * u

    grid = np.linspace(1e-6, 2.5, 40_000)
    values = np.array([end(g) for g in grid])
    found = [brentq(end, grid[i], grid[i + 1], xtol=1e-16) for i in np.nonzero(values[:-1] * values[1:] < 0)[0]]
    return found[:count]


def test_two_layers_follow_their_modes():
    """Butter on dough, insulated below, film above, against the eigenfunction expansion of the composite slab."""
    m1 = Material("dough", 0.39, 1250.0, 2580.0)
    m2 = Material("butter", 0.216, 939.0, 2338.0)
    l1, l2, h, t1, t2, air = 0.010, 0.008, 12.0, 4.0, 14.0, 22.0
    lams = _two_layer_modes(l1, l2, m1, m2, h)
    stack = Stack([Layer(m1, l1, 80, t1), Layer(m2, l2, 80, t2)], Face(), Face(h, air))
    run = stack.run(1800.0, tol_k=1e-3)
    x = run.x_m[0]
    fine = 4000
    x1, x2 = (np.arange(fine) + 0.5) / fine * l1, (np.arange(fine) + 0.5) / fine * l2
    for seconds in (20.0, 100.0, 400.0, 1800.0):
        exact = np.full(x.shape, air)
        for lam in lams:
            a, b = lam / math.sqrt(m1.diffusivity), lam / math.sqrt(m2.diffusivity)
            c, d = math.cos(a * l1), -m1.k * a * math.sin(a * l1) / (m2.k * b)
            f1, f2 = np.cos(a * x1), c * np.cos(b * x2) + d * np.sin(b * x2)
            w1, w2 = m1.rho * m1.c * l1 / fine, m2.rho * m2.c * l2 / fine
            norm = w1 * (f1 * f1).sum() + w2 * (f2 * f2).sum()
            amplitude = (w1 * (t1 - air) * f1.sum() + w2 * (t2 - air) * f2.sum()) / norm
            mode = np.where(x < l1, np.cos(a * x), c * np.cos(b * (x - l1)) + d * np.sin(b * (x - l1)))
            exact += amplitude * math.exp(-lam * lam * seconds) * mode
        assert np.abs(run.at(seconds)[0] - exact).max() <= 0.05, seconds


def test_melting_against_a_stiff_integrator():
    """Butter with its melting against scipy's Radau on the same cells, with the smooth apparent capacity."""
    from scipy.integrate import solve_ivp

    butter = butter_material(profile("standard-82"))
    n, dz = 20, 0.01 / 20
    stack = Stack([Layer(butter, 0.01, n, 5.0)], Face(), Face(15.0, 24.0))
    run = stack.run(5400.0, tol_k=2e-3)
    link = butter.k / dz
    top = 1.0 / (1.0 / 15.0 + dz / 2 / butter.k)

    def rate(_t, t):
        q = link * np.diff(t)
        gain = np.zeros(n)
        gain[:-1] += q
        gain[1:] -= q
        gain[-1] += top * (24.0 - t[-1])
        return gain / (butter.rho * butter.apparent_c(t) * dz)

    times = (300.0, 1500.0, 5400.0)
    exact = solve_ivp(rate, (0.0, 5400.0), np.full(n, 5.0), "Radau", rtol=1e-8, atol=1e-8, t_eval=times)
    for i, seconds in enumerate(times):
        assert np.abs(run.at(seconds)[0] - exact.y[:, i]).max() < 0.01, seconds
    # Ignoring the melting would make it warm far too fast: the check that melting is really in there.
    dry = Stack([Layer(butter_material(profile("standard-82"), melting=False), 0.01, n, 5.0)], Face(), Face(15.0, 24.0))
    core = stack.weights(layer=0, share=0.5)
    assert run.crossing_s(core, 16.0)[0] > 1.4 * dry.run(5400.0).crossing_s(core, 16.0)[0]


def test_scenarios_do_not_touch_each_other():
    """Twenty scenarios at once give what each gives alone."""
    butter, dough = butter_material(profile("standard-82")), dough_material(REFERENCE_DOUGH)
    airs, films, thick = np.linspace(4.0, 28.0, 20), np.linspace(5.0, 20.0, 20), np.linspace(0.004, 0.02, 20)

    def build(air, film, t, count):
        return Stack(
            [Layer(dough, t, 8, 4.0), Layer(butter, 0.008, 8, 14.0), Layer(dough, t, 8, 4.0)],
            Face(film, air),
            Face(film, air),
            count,
        )

    together = build(airs, films, thick, 20).run(900.0, step_s=15.0).t_c[-1]
    for i in (0, 7, 19):
        alone = build(airs[i], films[i], thick[i], 1).run(900.0, step_s=15.0).t_c[-1, 0]
        assert together[i] == pytest.approx(alone, abs=1e-10)


def test_refusals_name_the_layer():
    with pytest.raises(ValueError, match="layer"):
        Stack([], Face(), Face())
    with pytest.raises(ValueError, match="'dough' needs a thickness"):
        Stack([Layer(DOUGH, 0.0, 10, 1.0)], Face(), Face())
    with pytest.raises(ValueError, match="time"):
        Stack([Layer(DOUGH, 0.01, 10, 1.0)], Face(), Face()).run(0.0)
