"""The cook's questions: answers in the range of published and common-practice figures, bands that behave, refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tourier.craft import heat, scene, stacks
from tourier.craft.butter import profile
from tourier.craft.properties import REFERENCE_DOUGH, Material, butter_material, dough_material, laminate_material

from shared_schedule.slab import BENCH_RC

BUTTER = butter_material(profile("standard-82"))
DOUGH = dough_material(REFERENCE_DOUGH)
LAMINATE = laminate_material(DOUGH, BUTTER, 500.0, 1755.0)
PLAIN = Material("plain", 0.39, 1250.0, 0.39 / 1.21e-7 / 1250.0)


@pytest.mark.parametrize(
    ("thickness", "minutes"), [(0.010, (58, 44, 30, 19)), (0.020, (120, 92, 64, 42)), (0.040, (257, 201, 145, 100))]
)
def test_minutes_to_cool_in_four_degree_air(thickness, minutes):
    # Independent: exact series, core 18 -> 8 C, equal films of 6 / 8 / 12 / 20 on both faces.
    for film, wanted in zip((6.0, 8.0, 12.0, 20.0), minutes, strict=True):
        d = scene.draws(1)
        stack = heat.Stack(
            [scene.slab_layer(PLAIN, thickness, 18.0, d)], heat.Face(film, 4.0), heat.Face(film, 4.0)
        )
        run = stack.run(20_000.0)
        assert run.crossing_s(stack.weights(layer=0, share=0.5), 8.0)[0] / 60 == pytest.approx(wanted, abs=1.0)


def test_half_an_hour_does_not_rechill_a_book_in_a_static_fridge():
    # Independent: 20 mm, h 8, 18 C -> 13.5 C in 30 min. A fan fridge does better, a freezer much better.
    static = stacks.rest_seconds(LAMINATE, 0.020, 18.0, 8.0, scene.Ambient(), covered=False)
    fan = stacks.rest_seconds(LAMINATE, 0.020, 18.0, 8.0, scene.Ambient(fan_fridge=True), covered=False)
    freezer = stacks.rest_seconds(LAMINATE, 0.020, 18.0, 8.0, scene.Ambient(), "freezer", covered=False)
    assert static.usual > 1.5 * 3600 > fan.usual > freezer.usual
    assert static.low < static.usual < static.high
    # Melting makes it longer than the same dough without it would take.
    dry = laminate_material(DOUGH, butter_material(profile("standard-82"), melting=False), 500.0, 1755.0)
    assert stacks.rest_seconds(dry, 0.020, 18.0, 8.0, scene.Ambient(), covered=False).usual < 0.95 * static.usual


def test_wrapped_dough_rests_longer():
    bare = stacks.rest_seconds(LAMINATE, 0.020, 14.0, 8.0, scene.Ambient(), covered=False)
    wrapped = stacks.rest_seconds(LAMINATE, 0.020, 14.0, 8.0, scene.Ambient())
    assert 1.3 < wrapped.usual / bare.usual < 1.7


def test_a_target_beyond_the_air_is_never_reached():
    assert math.isnan(stacks.rest_seconds(LAMINATE, 0.02, 14.0, 2.0, scene.Ambient(fridge_c=4.0)).usual)
    assert stacks.rest_seconds(LAMINATE, 0.02, 8.0, 8.0, scene.Ambient()).usual == 0.0


def test_stone_at_room_temperature_warms_faster_than_wood():
    # Published trade fact (fine cooking magazines) and physics: effusivity.
    times = {
        bench: stacks.leaves_window(LAMINATE, 0.008, 9.0, (6.0, 16.0), scene.Ambient(room_c=22.0, bench=bench))
        for bench in ("marble", "maple")
    }
    assert all(leaving.side == "warm" for leaving in times.values())
    assert times["marble"].seconds.high < times["maple"].seconds.low
    # A room-temperature stone leaves a thin sheet minutes, not tens of minutes.
    assert 2 * 60 < times["marble"].seconds.usual < 8 * 60


def test_thicker_stays_longer():
    last = 0.0
    for thickness in (0.004, 0.008, 0.016, 0.032):
        usual = stacks.leaves_window(LAMINATE, thickness, 9.0, (6.0, 16.0), scene.Ambient(room_c=24.0)).seconds.usual
        assert usual > last
        last = usual


def test_outside_already_and_empty_window():
    assert stacks.leaves_window(LAMINATE, 0.008, 17.0, (10.0, 16.0), scene.Ambient()) == stacks.Leaving(
        scene.Band(0.0, 0.0, 0.0), "warm"
    )
    assert stacks.leaves_window(LAMINATE, 0.008, 7.0, (10.0, 16.0), scene.Ambient()).side == "cold"
    with pytest.raises(ValueError, match="empty"):
        stacks.leaves_window(LAMINATE, 0.008, 12.0, (16.0, 10.0), scene.Ambient())


def test_cold_dough_hardens_butter_in_minutes():
    # Estimates in the trade's accounts: 8 mm butter at 14 C between 10 mm sheets at 4 C falls under 10 C in about 2 min
    # and settles at 6-7 C; with dough at 8 C it settles at 9-10 C, with 10 C near 11 C (latent heat left out there).
    race = stacks.rehardening(DOUGH, BUTTER, 0.010, 0.008, 4.0, 14.0, 10.0, scene.Ambient(room_c=20.0))
    assert 90 < race.seconds.usual < 210
    assert 6.0 < race.settles_c < 7.5
    assert 9.0 < stacks.rehardening(DOUGH, BUTTER, 0.010, 0.008, 8.0, 14.0, 10.0, scene.Ambient()).settles_c < 10.3
    assert 10.7 < stacks.rehardening(DOUGH, BUTTER, 0.010, 0.008, 10.0, 14.0, 10.0, scene.Ambient()).settles_c < 11.7
    # Equal temperatures do not race.
    calm = stacks.rehardening(DOUGH, BUTTER, 0.010, 0.008, 14.0, 14.0, 10.0, scene.Ambient(room_c=14.0))
    assert math.isnan(calm.seconds.usual) and calm.settles_c == pytest.approx(14.0, abs=0.01)


def test_ice_buys_time():
    kitchen = scene.Ambient(room_c=22.0, humidity=0.30)
    profile = stacks.ice_profile(kitchen, 900.0)
    iced, bare = (stacks.leaves_window(LAMINATE, 0.008, 9.0, (6.0, 16.0), kitchen, one) for one in (profile, None))
    assert iced.seconds.usual > 3 * bare.seconds.usual
    assert 0.5 < profile[-1] < 12.0 and profile[0] > profile[-1]
    assert np.all(stacks.ice_profile(scene.Ambient(room_c=21.0), 0.0) == 21.0)


def test_learned_film_is_used_and_doubt_narrows():
    slow = stacks.rest_seconds(LAMINATE, 0.02, 14.0, 8.0, scene.Ambient(learned={"fridge": 6.0}))
    fast = stacks.rest_seconds(LAMINATE, 0.02, 14.0, 8.0, scene.Ambient(learned={"fridge": 12.0}))
    assert fast.high < slow.low
    sure = stacks.rest_seconds(LAMINATE, 0.02, 14.0, 8.0, scene.Ambient(learned={"fridge": 6.0}, doubt=0.3))
    assert sure.usual == pytest.approx(slow.usual, rel=2e-3)  # one time step serves all draws
    assert sure.high - sure.low < 0.5 * (slow.high - slow.low)


def test_band_holds_four_of_five_kitchens():
    """The band from 41 draws against 400 other draws of the same doubt: about 80 % inside."""
    kitchen = scene.Ambient()
    band = stacks.rest_seconds(LAMINATE, 0.02, 14.0, 8.0, kitchen)
    d = scene.draws(400, seed=99)
    stack = scene.on_tray([scene.slab_layer(LAMINATE, 0.02, 14.0, d)], kitchen, "fridge", d)
    times = stack.run(40_000.0).crossing_s(stack.weights(layer=0, share=0.5), 8.0)
    inside = np.mean((times >= band.low) & (times <= band.high))
    assert 0.70 < inside < 0.90


def test_device_parameters_fit_the_plan_and_say_the_same():
    from shared_schedule import plan

    limits = {name: (low, high) for name, kind, low, high in plan.PLAN_FIELDS if kind == "u"}
    for bench, thick in (("marble", 0.03), ("steel", 0.001), ("oak", 0.04), ("stone", 0.02), ("wood", 0.03)):
        numbers = stacks.device_parameters(scene.Ambient(bench=bench, bench_m=thick), LAMINATE)
        for name, value in numbers.items():
            assert isinstance(value, int)
            if name in limits:
                assert limits[name][0] < value <= limits[name][1], name
    # Effusivity and heat content survive the change of description.
    bench = scene.BENCHES["marble"]
    numbers = stacks.device_parameters(scene.Ambient(bench="marble", bench_m=0.03), LAMINATE)
    assert numbers["bench_effusivity"] == pytest.approx(bench.effusivity, abs=1)
    assert numbers["bench_um"] * 1e-6 * BENCH_RC == pytest.approx(0.03 * bench.rho * bench.c, rel=1e-4)


def test_unknown_words_are_refused_with_the_known_ones():
    with pytest.raises(KeyError, match="known: marble"):
        stacks.leaves_window(LAMINATE, 0.008, 9.0, (6.0, 16.0), scene.Ambient(bench="formica"))
