"""Butter profiles, dew point, water, probe and proof: behaviour, refusals, and the trade's figures."""

from __future__ import annotations

import math

import film_theory
import numpy as np
import probe_curves
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tourier.craft import butter, dewpoint, films, probe, proof, properties, water
from tourier.craft.composition import composition
from tourier.craft.properties import REFERENCE_DOUGH, butter_material, dough_material, laminate_material
from tourier.craft.scene import Ambient

LAMINATE = laminate_material(dough_material(REFERENCE_DOUGH), butter_material(butter.profile("standard-82")), 500, 1755)

# --- butter ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("p", butter.PROFILES.values(), ids=butter.PROFILES)
def test_profiles_hang_together(p):
    assert sum(p.composition.values()) == pytest.approx(1.0, abs=0.002)
    assert p.stop_low_c < p.window_low_c < p.window_high_c < p.stop_high_c < p.melting_point_c
    sfc = butter.solid_fraction(p, np.linspace(-30, 60, 400))
    assert np.all(np.diff(sfc) <= 1e-12) and sfc[0] <= 1.0 and sfc[-1] == pytest.approx(0.0, abs=1e-12)
    assert p.sources
    assert bool(p.caution) == (not p.calibrated)
    assert butter.proof_air_cap_c(p) <= 28.0


def test_legal_composition():
    # Published: Codex / EU 1308/2013: milk fat 80 to < 90 %, water <= 16 %; USDA's average has 17.94 % water.
    for name in ("standard-82", "roll-in-84", "hard-fraction", "cultured-82"):
        p = butter.profile(name)
        assert 0.80 <= p.fat < 0.90 and p.water <= 0.16


def test_apparent_heat_capacity():
    # Independent: c_base + x L (-dSFC/dT) with 81.11 % fat and 80.8 J/g, mean over 5 K spans, kJ/(kg K).
    m = butter_material(butter.profile("standard-80"), 12.5)
    for low, wanted in ((0, 3.30), (5, 3.43), (10, 3.95), (15, 4.21), (20, 3.30), (25, 3.04), (30, 2.90)):
        h = m.enthalpy_j_m3(np.array([low, low + 5.0])) / m.rho
        assert (h[1] - h[0]) / 5e3 == pytest.approx(wanted, abs=0.03), low


def test_melting_slope_is_the_derivative():
    p = butter.profile("hard-fraction")
    t = np.linspace(-15, 38, 200)
    by_steps = (butter.melting_heat_j_kg(p, t + 1e-4) - butter.melting_heat_j_kg(p, t - 1e-4)) / 2e-4
    assert butter.melting_cp_j_kgk(p, t) == pytest.approx(by_steps, rel=1e-4, abs=1.0)
    assert butter.melting_cp_j_kgk(p, 50.0) == 0.0


def test_season_and_own_window():
    p = butter.profile("standard-82")
    winter = butter.seasonal(p, 3.0)
    # Published: winter butter is 6 points more solid than summer butter at 10 C (J. Dairy Sci., abstract).
    gap = butter.solid_fraction(winter, 10.0) - butter.solid_fraction(butter.seasonal(p, -3.0), 10.0)
    assert gap == pytest.approx(0.06, abs=1e-9)
    own = butter.with_window(butter.profile("plant-block"), 11.0, 14.0)
    assert own.calibrated and (own.stop_low_c, own.stop_high_c) == (8.0, 18.0)
    for low, high in ((16.0, 13.0), (-4.0, 10.0), (10.0, 40.0)):
        with pytest.raises(ValueError, match="pliable window"):
            butter.with_window(p, low, high)
    with pytest.raises(KeyError, match="known: standard-80"):
        butter.profile("margarine")


# --- properties -----------------------------------------------------------------------------------------------------

fractions = st.lists(st.floats(0.01, 1.0), min_size=6, max_size=6)


@given(fractions, st.floats(-5.0, 60.0))
def test_mixture_stays_between_its_bounds(parts, t):
    x = {n: p / sum(parts) for n, p in zip(properties.COMPONENTS, parts, strict=True)}
    series, parallel = properties.conductivity_series(x, t), properties.conductivity_parallel(x, t)
    assert series <= properties.conductivity_fat_continuous(x, t) * (1 + 1e-12)
    assert properties.conductivity_fat_continuous(x, t) <= parallel * (1 + 1e-12)
    rhos = [properties.component_density(n, t) for n in properties.COMPONENTS]
    assert min(rhos) <= properties.density(x, t) <= max(rhos)


def test_gas_and_range():
    assert properties.density(REFERENCE_DOUGH, 20.0, 0.1) == pytest.approx(
        0.9 * properties.density(REFERENCE_DOUGH, 20.0)
    )
    assert properties.conductivity_dough(REFERENCE_DOUGH, 20.0, 0.1) < properties.conductivity_parallel(
        REFERENCE_DOUGH, 20
    )
    for wrong in (
        lambda: properties.density(REFERENCE_DOUGH, 20.0, 1.0),
        lambda: properties.component_heat("fat", 200.0),
    ):
        with pytest.raises(ValueError):
            wrong()
    # Chen's shortcut, a cross-check by another formula: within 12 % for dough, 2 % for milk.
    for mix, share in ((REFERENCE_DOUGH, 0.12), (composition("milk"), 0.02)):
        solids = 1.0 - mix["water"]
        chen = 1e3 * (4.19 - 2.30 * solids - 0.628 * solids**3)
        assert properties.heat_capacity(mix, 20.0) == pytest.approx(chen, rel=share)


def test_laminate_is_between_its_parts():
    d, b = dough_material(REFERENCE_DOUGH), butter_material(butter.profile("standard-82"))
    for share in (0.1, 0.25, 0.4):
        m = laminate_material(d, b, share, 1 - share)
        assert b.k < m.k < d.k and b.rho < m.rho < d.rho and m.butter_share == pytest.approx(share)
    assert laminate_material(d, b, 0.0, 1.0).k == pytest.approx(d.k)


# --- films and dew point --------------------------------------------------------------------------------------------


def test_films_in_their_published_ranges():
    # Published: free convection of gases 2-25 W/(m2 K) (Cengel); radiation as strong as convection in a static fridge
    # (Laguerre 2010).
    for surface, air in ((18, 4), (7, 4), (18, -18), (5, 22), (22, 27)):
        for facing in ("up", "down"):
            assert 1.5 < film_theory.free_convection(surface, air, 0.0857, facing) < 25
    assert film_theory.radiation(18, 4) == pytest.approx(film_theory.free_convection(18, 4, 0.0857), rel=0.15)
    with pytest.raises(KeyError, match="known: room"):
        films.usual("cellar")
    assert films.usual("fridge", covered=True).usual < films.usual("fridge").usual


@given(st.floats(0.0, 40.0), st.floats(0.05, 1.0))
def test_dew_point_is_where_air_is_saturated(t, rh):
    d = dewpoint.dew_point_c(t, rh)
    assert d <= t + 1e-9
    assert dewpoint.saturation_pa(d) == pytest.approx(rh * dewpoint.saturation_pa(t), rel=1e-9)


def test_percent_is_not_taken_for_a_share():
    with pytest.raises(ValueError, match="not above 0 and up to 1"):
        dewpoint.dew_point_c(20.0, 55.0)


# --- water ----------------------------------------------------------------------------------------------------------

DRY = [water.Ingredient("bread flour", 1000, 22), water.Ingredient("milk", 250, 4), water.Ingredient("sugar", 120, 22)]


@given(st.floats(16.0, 27.0), st.floats(0.0, 6.0), st.floats(2.0, 30.0), st.floats(4.0, 25.0))
def test_water_makes_the_dough_asked_for(wanted, rise, flour, tap):
    others = [water.Ingredient("bread flour", 1000, flour), water.Ingredient("milk", 250, 4)]
    try:
        plan = water.water_plan(others, 300.0, wanted, rise, tap, flour, 22.0)
    except water.NoWater as refused:
        assert refused.quantity in ("water temperature", "ice")
        return
    # First law, apart from the formula used: heat of everything that goes in, ice melting included.
    c = water.WATER_C_J_KGK
    ice = plan.ice_g * 1e-3
    poured = plan.water_g * 1e-3
    t_poured = tap if plan.ice_g > 0 else plan.t_c
    heat = sum(i.heat_j_k * i.t_c for i in others) + poured * c * t_poured - ice * water.ICE_LATENT_J_KG
    total = sum(i.heat_j_k for i in others) + (poured + ice) * c
    assert heat / total + rise == pytest.approx(wanted, abs=0.01)
    assert plan.water_g + plan.ice_g == pytest.approx(300.0)


def _poured(dough_c):
    """Water's °C for a dough that needs it warm; 0 where it is refused."""
    try:
        return water.water_plan(DRY, 400.0, dough_c, 0.0, 10.0, 15.0, 22.0).t_c
    except water.NoWater:
        return 0.0


def test_refusals_say_what_to_do():
    with pytest.raises(water.NoWater, match="warm the flour"):
        water.water_plan(DRY, 100.0, 27.0, 0.0, 18.0, 22.0, 22.0)
    # Yeast is harmed by water above 45 °C (common practice): just below is poured, just above refused.
    assert 44.5 < max(_poured(dough_c / 20) for dough_c in range(400, 720)) <= 45.0
    with pytest.raises(water.NoWater, match="Even with all"):
        water.water_plan([water.Ingredient("bread flour", 1000, 35)], 150.0, 10.0, 6.0, 18.0, 35.0, 30.0)
    with pytest.raises(water.NoWater, match="no water"):
        water.balance_water_c(DRY, 0.0, 24.0, 3.0)


def test_three_factor_rule_fails_with_cold_milk():
    rule_c = water.three_factor_c(24.0, 22.0, 22.0, 4.0)
    assert rule_c == pytest.approx(24.0)  # independent worked example
    assert rule_c < water.water_plan(DRY, 270.0, 24.0, 4.0, 18.0, 22.0, 22.0).t_c - 4.0


# --- probe ----------------------------------------------------------------------------------------------------------


@given(st.floats(3000, 4400), st.floats(-19, 5), st.floats(6, 20), st.floats(6, 20))
def test_three_points_are_met(b, t1, step, step2):
    points = [(t, probe_curves.beta_resistance(t, b)) for t in (t1, t1 + step, t1 + step + step2)]
    curve = probe_curves.steinhart_hart(points)
    for t, r in points:
        assert curve.temperature_c(r) == pytest.approx(t, abs=1e-6)
        assert curve.resistance(t) == pytest.approx(r, rel=1e-7)
    assert probe_curves.beta(points[0], points[2]) == pytest.approx(b, rel=1e-9)


@pytest.mark.parametrize(
    ("points", "word"),
    [
        ([(0.0, 32000.0), (25.0, 10000.0)], "Three points"),
        ([(0.0, 32000.0), (1.0, 31000.0), (25.0, 10000.0)], "too close"),
        ([(0.0, 10000.0), (20.0, 14000.0), (40.0, 20000.0)], "does not fall|no NTC"),
        ([(0.0, 32000.0), (20.0, 31000.0), (40.0, 5800.0)], "B is"),
        ([(0.0, 32000.0), (20.0, 12000.0), (400.0, 10.0)], "outside what"),
    ],
)
def test_implausible_points_are_refused(points, word):
    with pytest.raises(probe_curves.BadCalibration, match=word):
        probe_curves.steinhart_hart(points)


def test_boiling_point():
    assert probe.boiling_point_c(98_000.0) == pytest.approx(99.042, abs=0.01)  # independent: IAPWS-IF97
    with pytest.raises(ValueError, match="pascal"):
        probe.boiling_point_c(1.013)


# --- proof ----------------------------------------------------------------------------------------------------------


def ready_s(piece_g, start_c, air_c, kitchen=None):
    kitchen = kitchen or Ambient()
    made = proof.warming(LAMINATE, piece_g, start_c, air_c, kitchen)
    return made.when_s(proof.usual_dose_s(LAMINATE, kitchen))


def test_usual_proof_takes_usual_hours():
    # Common practice, no source: about 3 h at room temperature for home croissants; 1.5-3 h at 24-27 C.
    assert 1.5 * 3600 < ready_s(60.0, 12.0, 26.0) < 3.2 * 3600
    assert ready_s(60.0, 12.0, 26.0) < ready_s(60.0, 12.0, 22.0) < 4.5 * 3600


def test_larger_pieces_take_longer_by_heat_up():
    times = [ready_s(grams, 8.0, 26.0) for grams in (30, 60, 90, 150)]
    cores = [proof.warming(LAMINATE, grams, 8.0, 26.0, Ambient()).core_s for grams in (30, 60, 90, 150)]
    assert times == sorted(times) and cores == sorted(cores) and times[3] > times[1] + 300.0
    # Without anything to warm, size does not matter: it is heat-up, not a factor.
    warm = [ready_s(grams, 26.0, 26.0) for grams in (30, 150)]
    assert warm[0] == pytest.approx(warm[1], rel=1e-3)
    assert warm[0] == pytest.approx(proof.usual_dose_s(LAMINATE, Ambient()), rel=1e-3)


@pytest.mark.parametrize("name", butter.PROFILES)
def test_proof_is_capped_for_the_butter(name):
    p = butter.profile(name)
    assert butter.proof_air_cap_c(p) == min(28.0, p.melting_point_c - 4.0) <= 28.0


def test_altitude_is_faster():
    # Published (taste of home): above 3,000 ft rise 25-50 % faster.
    assert 1.25 <= proof.altitude_factor(1000.0) <= 1.5
    assert proof.altitude_factor(300.0) == 1.0 < proof.altitude_factor(301.0) < proof.altitude_factor(1500.0)


def test_forecast_agrees_with_the_timer_counting():
    """The dose the bench timer counts at the dough's own temperature reaches its goal when the forecast says so."""
    from tourier.craft.heat import Face, Layer, Stack

    from shared_schedule.ferment import GAS, Dose

    dry = Ambient(proof_humidity=0.2)
    seconds = ready_s(80.0, 8.0, 26.0, dry)
    thick = proof.piece_thickness_m(80.0) / 2
    stack = Stack([Layer(LAMINATE, thick, 15, 8.0)], Face(8.0 * 0.85, 26.0), Face(8.0, 26.0))
    run = stack.run(seconds)
    dose = Dose(GAS)
    for t in np.arange(30.0, seconds, 60.0):
        dose.add(round(100 * float(run.at(t).mean())), 60)
    assert dose.seconds() == pytest.approx(proof.usual_dose_s(LAMINATE, dry), rel=0.02)


def test_condensation_against_a_plain_explicit_reckoning():
    """Independent: psychrolib's vapour pressure, an explicit scheme with the flow of vapour in its boundary."""
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.SI)
    start, air, n, piece_g = 5.0, 26.0, 21, 60.0
    plate = proof.piece_thickness_m(piece_g) / 2
    dx, k, film = plate / n, LAMINATE.k, 8.0
    grid = np.linspace(start, air, 200)
    # By enthalpy, since butter melts on the way.
    h_of = np.array([float(LAMINATE.enthalpy_j_m3(np.array([g]))[0]) for g in grid])
    vapour = 0.8 * psychrolib.GetSatVapPres(air)
    saturation = np.array([psychrolib.GetSatVapPres(g) for g in grid])
    t, h, seconds, step, gathered = np.full(n, start), np.full(n, h_of[0]), 0.0, 1.0, 0.0
    while seconds < 3600.0:
        flow = -k * np.diff(t) / dx
        face = t[-1] + (air - t[-1]) * 0.5 * dx * film / k
        wet = 2.9 * 0.622 * 2.45e6 / (1006.0 * 101325.0) * max(0.0, vapour - np.interp(face, grid, saturation))
        top = film * (air - t[-1]) / (1 + film * 0.5 * dx / k) + wet
        bottom = 0.85 * film * (air - t[0]) / (1 + 0.85 * film * 0.5 * dx / k)
        net = np.concatenate([[bottom], flow]) - np.concatenate([flow, [-top]])
        h = h + step / dx * net
        t = np.interp(h, h_of, grid)
        gathered += step * float(proof.weight(t).mean() / proof.weight(26.0))
        seconds += step
    ours = proof.warming(LAMINATE, piece_g, start, air, Ambient(proof_humidity=0.8)).gathered_s(3600.0)
    dry = proof.warming(LAMINATE, piece_g, start, air, Ambient(proof_humidity=0.2)).gathered_s(3600.0)
    assert ours == pytest.approx(gathered, rel=0.02) and dry < 0.93 * gathered


def test_nothing_rises_in_the_cold_and_sizes_are_refused():
    with pytest.raises(ValueError, match="hardly works"):
        proof.warming(LAMINATE, 60.0, 4.0, 3.0, Ambient())
    for grams, kind in ((0.0, "croissant"), (60.0, "brick")):
        with pytest.raises(ValueError):
            proof.piece_thickness_m(grams, kind)
    assert math.isclose(proof.piece_thickness_m(60.0, "flat") * 3, proof.piece_thickness_m(60.0))
