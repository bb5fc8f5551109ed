"""The virtual kitchen is a truth worth forecasting: it keeps its heat, is fast, repeatable, and shares no solver."""

from __future__ import annotations

import ast
import time
from pathlib import Path

import numpy as np
import pytest
from tourier.craft.butter import profile
from tourier.craft.heat import Face, Layer, Stack
from tourier.craft.properties import Material
from tourier.device.virtual import kitchen as module
from tourier.device.virtual import matter
from tourier.device.virtual.kitchen import KitchenConfig, PlayedKitchen
from tourier.device.virtual.scenarios import SCENARIOS, scenario

EXACT = {"spread": 0.0, "room_swing_c": 0.0}


def heat_of(kitchen: PlayedKitchen, body) -> float:
    """J/m2 in a body above 0 C."""
    dz = body.thickness_m / len(body.t)
    return sum(kitchen._heat(t, p)[0] for t, p in zip(body.t, body.phi, strict=True)) * dz


def test_shares_no_solver_with_the_forecasts():
    names: set[str | None] = set()
    for part in (module, matter):
        tree = ast.parse(Path(part.__file__).read_text(encoding="utf-8"))
        names |= {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
        names |= {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    assert not any(word in name for name in names if name for word in ("heat", "slab", "stacks", "properties", "scipy"))


def test_two_days_in_seconds():
    """34,560 advances of 5 s with a pâton in the fridge, then on the bench for hours: at most 8 s of CPU."""
    k = PlayedKitchen(seed=3)
    k.add_dough(t_c=24.0, thickness_um=20_000, where="fridge")
    k.add_butter(t_c=14.0, thickness_um=8_000)
    k.probe_in()
    start = time.process_time()
    for i in range(34_560):
        if i == 17_000:
            k.lock_in()
        if i == 19_000:
            k.place("fridge")
        k.advance(5)
        k.probe_c, k.bench_c  # noqa: B018
    used = time.process_time() - start
    print(f"two days in {used:.2f} s of CPU")
    assert used <= 8.0


def test_same_seed_same_history():
    def day(seed, step):
        k = PlayedKitchen(KitchenConfig(room_c=24.0), seed)
        k.add_dough(t_c=18.0, thickness_um=20_000, where="bench")
        k.probe_in()
        for _ in range(0, 1800, step):
            k.advance(step)
        return k.probe_c, k.bench_c, k.air_c, k.truth()["core_c"]

    assert day(5, 10) == day(5, 10)
    assert day(5, 10) != day(6, 10)
    # How finely the caller cuts time changes noise and wandering, not the dough.
    assert day(5, 5)[3] == pytest.approx(day(5, 30)[3], abs=0.1)


def test_agrees_with_the_fine_model_on_the_same_numbers():
    """A block of plain dough in the fridge against craft.heat with the kitchen's own true values."""
    k = PlayedKitchen(KitchenConfig(**EXACT), seed=1)
    k.add_dough(t_c=18.0, thickness_um=20_000, where="fridge")
    m = Material("dough", k.dough_k, 1000.0, k.dough_rc / 1000.0)
    h = k.film["fridge"]
    stack = Stack([Layer(m, 0.020, 25, 18.0)], Face(h * k.tray_share, 4.0), Face(h, 4.0))
    run = stack.run(7200.0)
    core = stack.weights(layer=0, share=0.5)
    for minutes in (30, 60, 120):
        while k.t_s < minutes * 60:
            k.advance(10)
        # The fridge's own cycle (0.8 K) moves the truth a little.
        assert k.truth()["core_c"] == pytest.approx(float((run.at(minutes * 60.0)[0] * core).sum()), abs=0.3)


def test_lock_in_agrees_with_the_fine_model():
    k = PlayedKitchen(KitchenConfig(room_c=22.0, **EXACT), seed=1)
    k.add_dough(t_c=5.0, thickness_um=20_000, where="bench")
    k.bodies["dough1"].t = [5.0] * 24
    k.add_butter(t_c=14.0, thickness_um=8_000)
    k.lock_in()
    dough = Material("dough", k.dough_k, 1000.0, k.dough_rc / 1000.0)
    butter = Material("butter", k.butter_k, k.butter_rho, k.butter_rc / k.butter_rho, profile("standard-82"), 1.0)
    bench = Material("bench", k.bench_k, 1000.0, k.bench_rc / 1000.0)
    stack = Stack(
        [
            Layer(bench, 0.020, 20, k._bench[0], contact=k.contact),
            Layer(dough, 0.010, 20, 5.0),
            Layer(butter, 0.008, 20, 14.0),
            Layer(dough, 0.010, 20, 5.0),
        ],
        Face(6.0, k.air_c),
        Face(k.film["bench"], k.air_c),
    )
    run = stack.run(900.0)
    core = stack.weights(layer=2, share=0.5)
    for seconds in (60, 180, 600):
        while k.t_s < seconds:
            k.advance(5)
        assert k.truth()["core_c"] == pytest.approx(float((run.at(float(seconds))[0] * core).sum()), abs=0.6), seconds


def test_folding_rolling_and_closing_keep_the_heat():
    k = PlayedKitchen(KitchenConfig(**EXACT), seed=1)
    k.add_dough(t_c=5.0, thickness_um=20_000, where="room")
    k.add_butter(t_c=14.0, thickness_um=8_000)
    before = heat_of(k, k.bodies["dough1"]) + heat_of(k, k.bodies["butter1"])
    k.lock_in()
    body = k.bodies["dough1"]
    assert heat_of(k, body) == pytest.approx(before, rel=1e-6)
    fat = sum(body.phi) * body.thickness_m
    for n in (4, 3, 2):
        before = heat_of(k, body)
        k.fold(n)
        assert heat_of(k, body) == pytest.approx(n * before, rel=1e-6)
        fat *= n
        assert sum(body.phi) * body.thickness_m == pytest.approx(fat, rel=1e-9)
    assert k.truth()["folds"] == 3 and k.truth()["thickness_um"] == 28_000 * 24


def test_rolling_thins_over_its_seconds_and_warms_a_little():
    k = PlayedKitchen(KitchenConfig(room_c=12.0, **EXACT), seed=1)
    k.set_bench(10.0)
    k.add_dough(t_c=10.0, thickness_um=24_000, where="bench")
    k.work("roll", 8_000, 120)
    k.advance(60)
    assert 8_000 < k.truth()["thickness_um"] < 24_000
    k.advance(70)
    assert k.truth()["thickness_um"] == 8_000
    assert 0.2 < k.truth()["mean_c"] - 10.0 < 1.5


def test_ice_chills_and_bench_recovers():
    k = PlayedKitchen(KitchenConfig(room_c=24.0), seed=2)
    k.advance(60)
    warm = k.bench_c
    k.set_ice(900)
    k.advance(900)
    cold = k.bench_c
    assert cold < warm - 8
    k.advance(3600)
    assert cold + 3 < k.bench_c < warm


def test_probe_lags_goes_to_air_and_breaks():
    k = PlayedKitchen(KitchenConfig(room_c=22.0), seed=4)
    k.add_dough(t_c=5.0, thickness_um=20_000, where="fridge")
    k.advance(300)
    assert k.probe_c == pytest.approx(k.air_c, abs=0.3) and k.probe_place == "room"
    k.probe_in()
    k.advance(2)
    assert k.probe_c > 10.0
    k.advance(40)
    assert k.probe_c == pytest.approx(k.truth()["core_c"], abs=0.3)
    for kind in ("open", "short"):
        k.probe_fault(kind)
        assert k.probe_c is None and k.probe_fault_kind == kind
    k.probe_fault(None)
    k.probe_out("fridge")
    k.advance(200)
    assert k.probe_c == pytest.approx(k.air["fridge"], abs=0.5)
    k.bench_fault("open")
    assert k.bench_c is None


def test_a_piece_proofs_about_when_the_plan_says():
    """A shaped piece (a roll as a plate of half its thickness) against the forecast, dose at its own temperature."""
    from tourier.craft import proof, scene
    from tourier.craft.properties import REFERENCE_DOUGH, butter_material, dough_material, laminate_material

    from shared_schedule.ferment import GAS, Dose

    butter = profile("standard-82")
    laminate = laminate_material(dough_material(REFERENCE_DOUGH), butter_material(butter), 28.0, 72.0)
    dry = scene.Ambient(proof_humidity=0.3)
    dose_s = proof.usual_dose_s(laminate, dry)
    wanted_s = proof.warming(laminate, 65.0, 5.0, 26.0, dry).when_s(dose_s)
    k = PlayedKitchen(KitchenConfig(**EXACT), seed=1)
    k.add_dough(t_c=5.0, thickness_um=round(5e5 * proof.piece_thickness_m(65.0)), where="fridge")
    k.bodies["dough1"].phi = [0.33] * 24
    k.place("proof")
    dose = Dose(GAS)
    while dose.seconds() < dose_s and k.t_s < 30_000:
        k.advance(30)
        dose.add(round(100 * k.truth()["mean_c"]), 30)
    assert k.t_s == pytest.approx(wanted_s, rel=0.10)


def test_patons_are_apart():
    k = PlayedKitchen(seed=1)
    for paton, t in ((1, 20.0), (2, 5.0), (3, -2.0)):
        k.add_dough(t_c=t, thickness_um=20_000, where="fridge", paton=paton)
    k.place("room", paton=2)
    k.advance(1800)
    assert k.truth(1)["core_c"] < 20.0 and k.truth(2)["core_c"] > 5.0 and k.truth(3)["core_c"] > -2.0
    k.remove(2)
    with pytest.raises(KeyError, match="there is dough1, dough3"):
        k.truth(2)


def test_dew_falls_on_cold_things_in_damp_air():
    wet = {}
    for humidity in (0.25, 0.85):
        k = PlayedKitchen(KitchenConfig(room_c=26.0, humidity=humidity), seed=1)
        k.add_dough(t_c=4.0, thickness_um=20_000, where="fridge")
        k.place("bench")
        k.set_ice(600)
        k.advance(900)
        wet[humidity] = (k.truth()["condensed_g_m2"], k.bench_condensed_kg_m2 * 1e3)
    assert wet[0.85][0] > 5.0 and wet[0.85][1] > 3.0
    assert wet[0.25][0] < 1.0


def test_seeds_differ_about_as_much_as_kitchens_do():
    films = np.array([PlayedKitchen(seed=s).film["fridge"] for s in range(200)])
    assert 6.0 < np.quantile(films, 0.1) < 7.2 and 9.0 < np.quantile(films, 0.9) < 11.0
    assert np.median(films) == pytest.approx(8.0, rel=0.06)


def test_wrong_words_are_refused():
    k = PlayedKitchen(seed=1)
    k.add_dough(t_c=5.0, thickness_um=20_000)
    for wrong, word in (
        (lambda: k.place("cellar"), "known: bench"),
        (lambda: k.fold(5), "2, 3 or 4"),
        (lambda: k.work("knead", 1000, 10), "known: roll"),
        (lambda: k.probe_fault("loose"), "open"),
        (lambda: k.set_place("bench", 5.0), "known: fridge"),
        (lambda: k.add_dough(5.0, 0), "above zero"),
        (lambda: PlayedKitchen(KitchenConfig(bench="cork")), "known: marble"),
    ):
        with pytest.raises(ValueError, match=word):
            wrong()


# --- scenarios ------------------------------------------------------------------------------------------------------


def test_every_scenario_changes_something_but_the_good_one():
    believed = KitchenConfig()
    assert scenario("good").slips == () and scenario("good").configure(believed) == believed
    for name, s in SCENARIOS.items():
        assert s.name == name and s.sentence.endswith(".")
        if name != "good":
            assert s.slips or s.configure(believed) != believed
    with pytest.raises(KeyError, match="known: good"):
        scenario("perfect")


def test_additions_to_what_was_believed():
    assert scenario("warm-bench").configure(KitchenConfig(room_c=20.5)).room_c == 23.5
    assert scenario("warm-fridge").configure(KitchenConfig(fridge_c=3.0)).fridge_c == 9.0


def test_slips_are_found_by_kind_and_fold():
    from shared_schedule import plan

    s = scenario("warm-third-fold")
    assert s.slip(plan.FOLD, 3).extra_s == 2700
    assert s.slip(plan.FOLD, 2).extra_s == 0 and s.slip(plan.REST, 3).extra_s == 0
    assert scenario("warm-bench").slip(plan.FOLD, 2).bench_c == 27.0


def test_twelve_staged_faults_have_a_cause():
    assert len({s.cause for s in SCENARIOS.values() if s.cause}) >= 12


def test_every_bench_and_butter_a_batch_may_name_can_be_played():
    from tourier.batch.sections import BENCHES, PROFILES

    for bench in BENCHES:
        assert module.PlayedKitchen(module.KitchenConfig(bench=bench), 1).bench_c is not None
    for butter in PROFILES:
        assert module.PlayedKitchen(module.KitchenConfig(butter=butter), 1).bench_c is not None
