"""Limits from heat and yeast: they move the right way, agree with a second reckoning, and refuse what cannot be."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tourier.batch.examples import demo_text, example_text
from tourier.batch.geometry import Unworkable, lay_out
from tourier.batch.kitchenheat import KitchenHeat
from tourier.batch.read import read_batch_text
from tourier.batch.thermal import water
from tourier.batch.workup import work_up
from tourier.craft import scene, stacks
from tourier.known import Known, Learned

NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)
OWN = read_batch_text(demo_text(), "", NOW)  # with the cook's own proof of 2 h at 25 °C
BASE = replace(OWN, proof_s=None)
GEOMETRY = lay_out(BASE)
NOTHING = Known()


def taught(**values):
    return Known(**{q: Learned(q, "", v, v, v, "", "", ()) for q, v in values.items()})


def heat(known=NOTHING, folds=None, pieces=None, **kitchen):
    spec = replace(BASE, kitchen=replace(BASE.kitchen, **kitchen))
    if folds:
        spec = replace(spec, folds=replace(spec.folds, **folds))
    if pieces:
        spec = replace(spec, pieces=pieces)
    return KitchenHeat(spec, lay_out(spec), known)


def test_a_warmer_fridge_rests_longer():
    times = [heat(fridge_c=c).rest(0.024, 17.0).ideal_s for c in (2.0, 4.0, 7.0)]
    assert times == sorted(times) and times[0] < times[2]


def test_a_fan_shortens_a_rest_and_the_freezer_more():
    still, fan = heat().rest(0.024, 17.0), heat(fridge_fan=True).rest(0.024, 17.0)
    freezer = heat(folds={"rest_place": "freezer"}).rest(0.024, 17.0)
    assert freezer.ideal_s <= fan.ideal_s < still.ideal_s


def test_no_rest_is_shorter_than_the_gluten_needs_nor_past_brittle():
    for start in (12.0, 14.0, 17.0):
        for thickness in (0.010, 0.024, 0.040):
            limits = heat().rest(thickness, start)
            assert limits.min_s >= 20 * 60
            kitchen = heat()
            snap = stacks.rest_seconds(kitchen.laminate_m, thickness, start, kitchen.butter.stop_low_c, kitchen.place,
                                       "fridge").usual  # fmt: skip
            assert limits.max_s <= max(snap + 60, limits.ideal_s + 20 * 60)


def test_ice_buys_time_on_the_bench():
    kitchen = heat()
    assert kitchen.bench_s(0.024, 0.008, True) > 3 * kitchen.bench_s(0.024, 0.008, False)
    assert heat(room_c=30.0).bench_s(0.024, 0.008, False) < heat(room_c=22.0).bench_s(0.024, 0.008, False)


def test_stone_at_room_temperature_is_worse_than_wood():
    # published: finecooking.com on marble; a room-warm stone warms cold dough faster than wood.
    stone, wood = heat(bench_material="marble"), heat(bench_material="maple")
    assert stone.bench_s(0.016, 0.008, False) < wood.bench_s(0.016, 0.008, False)


def test_dough_temperature_for_the_lock_in_settles_where_it_should():
    # independent: the heat stack's own mixing temperature of dough, butter, dough.
    kitchen = heat()
    race = kitchen.rehardening()
    middle = (kitchen.butter.stop_low_c + kitchen.butter.window_low_c) / 2
    assert race.settles_c == pytest.approx(middle, abs=0.05)
    assert 4.0 <= kitchen.dough_lock_in_c <= 12.0


def test_larger_pieces_proof_longer():
    small = tuple(replace(p, base_m=p.base_m * 0.7) for p in BASE.pieces)
    assert heat(pieces=small).proof().ideal_s < heat().proof().ideal_s


def test_pieces_from_the_fridge_proof_longer():
    assert heat(folds={"overnight": "dough"}).proof().ideal_s < heat().proof().ideal_s


def test_altitude_shortens_proof_and_bulk():
    # published: rise 25-50 % faster above 1,000 m (tasteofhome.com): at 1,500 m 20-33 % shorter and more.
    ratio = heat(altitude_m=1500.0).proof().ideal_s / heat().proof().ideal_s
    assert 0.6 < ratio < 0.85
    assert heat(altitude_m=1500.0).bulk().ideal_s < heat().bulk().ideal_s


@pytest.mark.parametrize("air_c", [23.0, 25.0, 27.0])
@pytest.mark.parametrize("overnight", ["pieces", "dough"])
def test_the_cooks_own_proof_takes_as_long_as_the_cook_says(air_c, overnight):
    # In the same air the time is the cook's, whatever the pieces weigh, however cold they come, and at any altitude.
    spec = replace(OWN, proof_s=5400.0, proof_ref_c=air_c, folds=replace(OWN.folds, overnight=overnight),
                   kitchen=replace(OWN.kitchen, proof_c=air_c, altitude_m=1200.0))  # fmt: skip
    assert KitchenHeat(spec, lay_out(spec), NOTHING).proof().ideal_s == pytest.approx(5400.0, abs=60)
    warmer = replace(spec, kitchen=replace(spec.kitchen, proof_c=air_c - 3.0))
    assert KitchenHeat(warmer, lay_out(warmer), NOTHING).proof().ideal_s > 1.1 * 5400.0


def with_share(kind, percent):
    lines = tuple(replace(x, percent_of_flour=percent) if x.kind == kind else x for x in BASE.formula)
    spec = replace(BASE, formula=lines)
    return KitchenHeat(spec, lay_out(spec), NOTHING)


def test_yeast_sugar_and_salt_move_bulk_and_proof():
    # common practice, no source: yeast times time stays the same; sugar of 25 % asks for about double the yeast.
    usual, double = heat(), with_share("fresh yeast", 8.0)
    sweet, salt = with_share("sugar", 25.0), with_share("salt", 4.0)
    assert double.bulk().ideal_s == pytest.approx(usual.bulk().ideal_s / 2, rel=0.1)
    assert 1.6 < sweet.bulk().ideal_s / usual.bulk().ideal_s < 3.0
    assert double.proof().ideal_s < usual.proof().ideal_s < salt.proof().ideal_s < sweet.proof().ideal_s
    with pytest.raises(Unworkable, match="more yeast"):
        with_share("salt", 12.0).bulk()


def test_moist_air_warms_cold_pieces_sooner():
    dry, moist = heat(proof_humidity_pct=35.0), heat(proof_humidity_pct=80.0)
    assert 5 * 60 <= dry.proof().ideal_s - moist.proof().ideal_s <= 25 * 60


def test_proof_is_capped_by_the_butter():
    # published: 28 °C for butter goods, IREKS compendium 11.5.
    warm, cap = heat(proof_c=35.0), heat(proof_c=28.0)
    assert warm.proof_cap_c <= 28.0
    assert warm.proof() == cap.proof()


def test_learned_figures_are_used():
    assert heat(taught(proof_dose_s=5000)).proof().ideal_s < heat(taught(proof_dose_s=9000)).proof().ideal_s
    assert heat(taught(film_fridge=16.0)).rest(0.024, 17.0).ideal_s < heat().rest(0.024, 17.0).ideal_s
    slow, fast = heat(taught(bench_effusivity=400.0)), heat(taught(bench_effusivity=4000.0))
    assert fast.bench_s(0.024, 0.008, False) < heat().bench_s(0.024, 0.008, False) < slow.bench_s(0.024, 0.008, False)
    assert heat(taught(butter_low_c=11.0, butter_high_c=15.0)).rest_core_c == 11.0
    assert water(BASE, GEOMETRY, taught(mixing_rise_k=6.0)).water_c < water(BASE, GEOMETRY, NOTHING).water_c


def test_water_brings_the_dough_where_it_should_be():
    # independent: heat balance added up again, kJ by hand from the weighed grams.
    from tourier.craft.composition import composition
    from tourier.craft.properties import heat_capacity

    wet = water(BASE, GEOMETRY, NOTHING)
    total = heat_sum = 0.0
    for line, weighed in zip(BASE.formula, GEOMETRY.weighed, strict=True):
        cold = line.kind in ("milk", "fresh yeast")
        t = wet.water_c if line.kind == "water" else BASE.kitchen.fridge_c if cold else BASE.kitchen.room_c
        c = 4186.0 if line.kind == "water" else heat_capacity(composition(line.kind), t)
        total += weighed.g * c
        heat_sum += weighed.g * c * t
    assert heat_sum / total + 3.0 == pytest.approx(BASE.dough_temp_c, abs=0.05)  # a stand mixer adds 3 K


@pytest.mark.parametrize(
    ("change", "quantity"),
    [
        ({"kitchen": replace(BASE.kitchen, room_c=12.0), "dough_temp_c": 14.0}, "room temperature"),
        ({"kitchen": replace(BASE.kitchen, room_c=45.0, friction_k=15.0), "dough_temp_c": 10.0}, "ice"),
        ({"kitchen": replace(BASE.kitchen, room_c=14.0), "dough_temp_c": 32.0}, "water temperature"),
        ({"kitchen": replace(BASE.kitchen, proof_c=4.0)}, "proof temperature"),
        ({"kitchen": replace(BASE.kitchen, fridge_c=12.0)}, "fridge"),
    ],
)
def test_unphysical_kitchens_name_the_limit(change, quantity):
    with pytest.raises(Unworkable) as caught:
        work_up(replace(BASE, **change), Known())
    assert caught.value.quantity == quantity, str(caught.value)
    assert "\n" not in str(caught.value)


def test_benches_of_the_file_are_benches_of_the_heat_model():
    from tourier.batch.sections import BENCHES, PROFILES
    from tourier.craft.butter import PROFILES as KNOWN

    assert set(BENCHES) <= {*scene.BENCHES, *scene.BENCH_ALIASES}
    assert set(PROFILES) == set(KNOWN)


def test_kinds_of_the_file_have_a_composition():
    from tourier.batch.ingredients import KINDS
    from tourier.craft.composition import composition

    for kind in KINDS:
        composition(kind)


@pytest.mark.parametrize("name", ["demo", "three-patons"])
def test_working_a_batch_out_is_quick(name):
    import time

    spec = read_batch_text(example_text(name), "", NOW)
    work_up(spec, Known())
    start = time.process_time()
    work_up(spec, Known())
    assert time.process_time() - start < 3.0


@settings(max_examples=40, deadline=None)
@given(
    room=st.floats(8.0, 40.0), fridge=st.floats(-1.0, 11.0), freezer=st.floats(-30.0, -6.0),
    bench=st.sampled_from(["marble", "steel", "wood", "glass"]), bench_mm=st.floats(1.0, 60.0), ice=st.booleans(),
    folds=st.lists(st.sampled_from([2, 3, 4]), min_size=1, max_size=5).map(tuple),
    overnight=st.sampled_from(["dough", "paton", "pieces", "none"]), dough=st.floats(14.0, 30.0),
    profile=st.sampled_from(["standard-80", "roll-in-84", "hard-fraction", "plant-block"]),
    wish=st.sampled_from([None, 900.0, 3600.0]),
)  # fmt: skip
def test_any_kitchen_is_worked_out_or_refused_in_one_sentence(
    room, fridge, freezer, bench, bench_mm, ice, folds, overnight, dough, profile, wish
):
    kitchen = replace(BASE.kitchen, room_c=room, fridge_c=fridge, freezer_c=freezer, bench_material=bench,
                      bench_thickness_m=bench_mm / 1000, ice_bench=ice)  # fmt: skip
    spec = replace(
        BASE, kitchen=kitchen, dough_temp_c=dough, butter=replace(BASE.butter, profile=profile),
        folds=replace(BASE.folds, folds=folds, overnight=overnight, rest_s=wish, dough_chill_s=wish),
    )  # fmt: skip
    try:
        made = work_up(spec, Known())
    except Unworkable as error:
        assert error.quantity
        assert "\n" not in str(error)
        return
    for step in made.process:
        assert 0 <= step.min_s <= step.ideal_s <= step.max_s <= 2678400
        assert step.attended_s <= step.ideal_s


def test_too_many_steps_for_the_timer_are_refused():
    with pytest.raises(Unworkable, match="the timer holds at most 96") as caught:
        work_up(replace(BASE, patons=6, folds=replace(BASE.folds, folds=(3, 3, 3, 3, 3))), Known())
    assert caught.value.quantity == "steps"


def test_a_short_bench_is_warned_of_by_name():
    spec = replace(BASE, patons=1, kitchen=replace(BASE.kitchen, bench_length_m=1.2, bench_width_m=0.6),
                   pieces=(replace(BASE.pieces[1], count=30),),
                   butter=replace(BASE.butter, block_width_m=0.5, block_length_m=0.2))  # fmt: skip
    codes = {w.code for w in work_up(spec, Known()).warnings}
    assert codes & {"bench-short", "sheet-short"}


@pytest.mark.parametrize("name", ["demo", "hot-kitchen", "mixed-shapes", "three-patons"])
def test_a_rest_aims_at_a_core_the_next_fold_can_be_made_with(name):
    """Rest of ideal length from where the bench leaves the core: still half a degree clear of brittle."""
    spec = read_batch_text(example_text(name), "", NOW)
    made = {step.key: step for step in work_up(spec, Known()).process}
    kitchen = KitchenHeat(spec, lay_out(spec), NOTHING)
    for n in range(1, len(spec.folds.folds)):
        rest, fold = made[f"p1.rest{n}"], made[f"p1.fold{n + 1}"]
        start = kitchen.rest_core_c  # a pâton of the coldest usual start: it came from the bench no warmer than it went
        end = kitchen.rested_c(rest.thickness_m, start, min(rest.ideal_s, 1200))
        assert end >= fold.low_c + 0.5, (rest.key, end, fold.low_c)
        assert rest.max_s >= rest.ideal_s >= 1200


def test_a_wish_that_freezes_the_butter_hard_is_warned_of():
    """Two hours in the fridge between folds are kept as wished and end below brittle; an hour, wrapped, does not."""
    spec = read_batch_text(example_text("home-inches"), "", NOW)
    assert "rest-cold" not in {w.code for w in work_up(spec, Known()).warnings}
    work = work_up(replace(spec, folds=replace(spec.folds, rest_s=7200.0)), Known())
    assert next(s for s in work.process if s.key == "p1.rest1").ideal_s == 7200
    warned = {w.code: w for w in work.warnings}
    assert "°F" in warned["rest-cold"].text and "°C" not in warned["rest-cold"].text
