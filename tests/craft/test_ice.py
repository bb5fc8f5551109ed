"""Ice in the heat model: against an exact solution, a stiff solver, textbook enthalpies and Plank's freezing time."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.special import erf
from tourier.craft import scene, stacks
from tourier.craft.butter import profile
from tourier.craft.heat import Face, Layer, Stack
from tourier.craft.ice import LATENT_J_KG, LESS_J_KGK, REFERENCE_ICE, Ice, butter_ice, dough_ice
from tourier.craft.properties import (
    REFERENCE_DOUGH,
    Material,
    butter_material,
    conductivity_frozen,
    conductivity_parallel,
    dough_material,
    laminate_material,
)
from tourier.known import Known

from shared_schedule.slab import Slab

DOUGH = dough_material(REFERENCE_DOUGH, porosity=0.05, ice=REFERENCE_ICE)
BUTTER = butter_material(profile("standard-82"))
LAMINATE = laminate_material(DOUGH, BUTTER, 28.0, 72.0)
DRY = replace(LAMINATE, ices=())
SURE = scene.Ambient(doubt=0.0)


def test_water_freezes_as_fast_as_neumanns_solution_says():
    """Half space of water at 0 C, wall at -10 C: front at 2 lambda sqrt(a t), lambda e^(l^2) erf(l) sqrt(pi) = Stefan
    number (Neumann; Carslaw and Jaeger). Freezing point -0.01 C stands for a sharp one. Heat through the wall."""
    freezing, k, rho, c = -0.01, 2.2, 917.0, 4129.0
    water = Material("water", k, rho, c, ices=(Ice(freezing, 1.0),))
    c_ice, drop = c - LESS_J_KGK, 10.0 + freezing
    stefan = c_ice * drop / LATENT_J_KG
    root = brentq(lambda x: math.sqrt(math.pi) * x * math.exp(x * x) * erf(x) - stefan, 1e-3, 2.0)
    exact = 2.0 * k * drop * math.sqrt(3600.0 / (math.pi * k / (rho * c_ice))) / erf(root)
    run = Stack([Layer(water, 0.05, 50, 0.0)], Face(np.inf, -10.0), Face()).run(3600.0)
    assert -run.heat_in_j_m2[0] == pytest.approx(exact, rel=0.003)
    assert run.stored_j_m2[0] == pytest.approx(run.heat_in_j_m2[0], rel=1e-9)


def test_the_freezing_time_lies_by_planks_equation():
    """Slab at its freezing point, film on both sides, until the centre is 98 % ice. Plank counts the latent heat alone;
    with a Stefan number of 0.1 and a Biot number under 0.1 what it leaves out is a few percent."""
    k, rho, c, thick, film, air = 2.2, 917.0, 4129.0, 0.02, 20.0, -18.0
    water = Material("water", k, rho, c, ices=(Ice(-0.02, 1.0),))
    stack = Stack([Layer(water, thick, 41, 0.0)], Face(film, air), Face(film, air))
    run = stack.run(20_000.0, tol_k=0.03)
    ours = run.crossing_s(stack.weights(layer=0, share=0.5), -1.0)[0]
    plank = rho * LATENT_J_KG / -air * (thick / (2.0 * film) + thick**2 / (8.0 * k))
    assert ours == pytest.approx(plank, rel=0.04)


@pytest.mark.parametrize("material", [DOUGH, BUTTER, LAMINATE], ids=["dough", "butter", "laminate"])
def test_a_freezing_slab_agrees_with_a_stiff_solver_and_loses_no_heat(material):
    """Same cells, enthalpy as the unknown, scipy's BDF at 1e-7: core within 0.1 K at all times, balance to rounding."""
    cells, thick, span = 25, 0.02, 6 * 3600.0
    stack = Stack([Layer(material, thick, cells, 18.0)], Face(7.0, -18.0), Face(9.0, -18.0))
    t = np.linspace(-40.0, 40.0, 160_001)
    h = material.enthalpy_j_m3(t) * thick / cells

    def rate(_s, state):
        q = stack.flow(np.interp(state, h, t)[None, :], -18.0, -18.0)
        return (q[:, 1:] - q[:, :-1])[0]

    start = np.full(cells, float(material.enthalpy_j_m3(18.0)) * thick / cells)
    at = np.linspace(60.0, span, 150)
    theirs = np.interp(solve_ivp(rate, (0.0, span), start, "BDF", rtol=1e-6, atol=1e-2, t_eval=at).y, h, t)
    run = stack.run(span)
    ours = np.array([run.at(s)[0] for s in at]).T
    assert np.abs(ours - theirs)[cells // 2].max() < 0.1
    assert np.abs(ours - theirs).max() < 0.6  # butter's outer cells dwell at -0.5 C, where a step is guessed late
    assert run.stored_j_m2[0] == pytest.approx(run.heat_in_j_m2[0], rel=1e-9)


def test_ice_changes_nothing_above_freezing():
    """Where no air is below freezing the run is the same to the last bit; a freezer rest to 6 C within 10 ppm."""
    for where, target in (("fridge", 8.0), ("freezer", 6.0)):
        with_ice = stacks.rest_seconds(LAMINATE, 0.02, 14.0, target, SURE, where).usual
        without = stacks.rest_seconds(DRY, 0.02, 14.0, target, SURE, where).usual
        assert with_ice == pytest.approx(without, rel=0 if where == "fridge" else 1e-5)


def test_the_apparent_heat_capacity_is_the_slope_of_the_enthalpy():
    t = np.array([-30.0, -15.0, -8.0, -5.5, -4.0, -2.0, -0.7, 1.0, 12.0])
    slope = (LAMINATE.enthalpy_j_m3(t + 1e-4) - LAMINATE.enthalpy_j_m3(t - 1e-4)) / 2e-4 / LAMINATE.rho
    assert LAMINATE.apparent_c(t) == pytest.approx(slope, rel=1e-5)
    assert (LAMINATE.apparent_c(t) > 1000.0).all()


def test_salt_and_sugar_lower_the_freezing_point():
    plain = dough_ice([("flour", 100.0), ("water", 60.0)])
    salted = dough_ice([("flour", 100.0), ("water", 60.0), ("salt", 2.0)])
    sweet = dough_ice([("flour", 100.0), ("water", 60.0), ("salt", 2.0), ("sugar", 12.0)])
    assert plain and salted and sweet
    assert -1.0 < plain.freezing_c and sweet.freezing_c < salted.freezing_c - 1.0 < plain.freezing_c - 2.0
    assert dough_ice([("flour", 100.0), ("water", 10.0)]) is None  # all of it bound
    with pytest.raises(ValueError, match="not a food's"):
        Ice(0.5, 0.3)


def test_what_the_unfrozen_conductivity_costs():
    """The model keeps k: frozen dough conducts about twice as well, yet films decide: times change by under 9 %."""
    frozen = conductivity_frozen(REFERENCE_DOUGH, -18.0, float(REFERENCE_ICE.share(-18.0)))
    ratio = frozen / conductivity_parallel(REFERENCE_DOUGH, 0.0)
    assert 1.7 < ratio < 2.3
    quick = replace(LAMINATE, k=LAMINATE.k * ratio)
    for thick, most in ((0.010, 0.05), (0.020, 0.06), (0.030, 0.09)):
        for start, target, where in ((12.0, -12.0, "freezer"), (-18.0, -0.3, "fridge")):
            slow_s, quick_s = (
                stacks.rest_seconds(m, thick, start, target, SURE, where, limit_s=2e5, tol_k=0.05).usual
                for m in (LAMINATE, quick)
            )
            assert 0.0 < 1.0 - quick_s / slow_s < most, (thick, where)


def test_how_far_down_the_timers_forecast_holds_in_the_freezer():
    """The timer's slab knows no ice. Every core a plan asks it for is above 2 C, where that costs nothing; at -2 C it
    would call a rest a quarter too short. Pâtons of 8 to 30 mm."""
    ints = stacks.device_parameters(SURE, LAMINATE)
    for thick in (0.008, 0.012, 0.020, 0.030):
        by_ice = [stacks.rest_seconds(LAMINATE, thick, 14.0, c, SURE, "freezer").usual for c in (2.0, 0.0, -2.0)]
        by_none = [stacks.rest_seconds(DRY, thick, 14.0, c, SURE, "freezer").usual for c in (2.0, 0.0, -2.0)]
        short = [1.0 - b / a for a, b in zip(by_ice, by_none, strict=True)]
        assert abs(short[0]) < 0.01 and 0.0 <= short[1] < 0.08 and 0.2 < short[2] < 0.3, (thick, short)
        slab = Slab()
        slab.lay(round(thick * 1e6), ints["laminate_k_mw"], ints["laminate_rc"], ints["film_freezer_mw"])
        slab.start(1400, 1400)
        device = slab.core_seconds_until(400, -1800, 7200)
        fine = stacks.rest_seconds(LAMINATE, thick, 14.0, 4.0, SURE, "freezer").usual
        assert device == pytest.approx(fine, rel=0.15)


def test_a_plan_never_asks_the_timer_for_a_core_near_freezing():
    from datetime import UTC, datetime

    from tourier.batch.examples import NAMES, example_text
    from tourier.batch.read import read_batch_text
    from tourier.batch.workup import work_up

    from shared_schedule import plan as wire

    for name in NAMES:
        work = work_up(read_batch_text(example_text(name), name, datetime(2026, 3, 9, 8, tzinfo=UTC)), Known())
        cores = [s.core_c for s in work.process if s.core_c is not None and s.ends_by == wire.BY_CORE]
        assert cores and min(cores) >= 2.0, name


def test_butters_water_is_the_published_one():
    ice = butter_ice(profile("standard-80").composition)
    assert ice.freezing_c == -0.5 and ice.water == pytest.approx(0.1794 - 0.4 * 0.0085)
