"""A pâton from its night in the fridge stands as the trade has it; with few thick layers, until its butter bends.

The minutes are common practice, no source. How warm its core is by then is checked against a plate by the series of
Carslaw and Jaeger (*published*: Conduction of Heat in Solids, 1959, section 3.11, from memory), without melting, which
can only make it warmer.
"""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from scipy.optimize import brentq
from tourier.batch.examples import demo_text
from tourier.batch.geometry import lay_out
from tourier.batch.kitchenheat import KitchenHeat
from tourier.batch.read import read_batch_text
from tourier.batch.standing import paton_stand, stood_c
from tourier.batch.workup import work_up
from tourier.known import Known

from shared_schedule import plan as P

SPEC = read_batch_text(demo_text(), "", datetime(2026, 11, 25, 9, tzinfo=UTC))


def made(*folds, thickness_m=0.004, **kitchen):
    spec = replace(SPEC, folds=replace(SPEC.folds, overnight="paton", folds=folds, final_thickness_m=thickness_m),
                   kitchen=replace(SPEC.kitchen, **kitchen))  # fmt: skip
    return {step.key.split(".")[-1]: step for step in work_up(spec, Known()).process}


def step_like(steps, name):
    return next(step for key, step in steps.items() if key == name)


@pytest.mark.parametrize("folds", [(3, 3, 3), (4, 3), (4, 4, 3, 3)])
def test_layers_stand_the_trades_minutes(folds):
    steps = made(*folds)
    stand, sheet = step_like(steps, "stand"), step_like(steps, "sheet")
    assert 10 * 60 <= stand.min_s and 10 * 60 <= stand.ideal_s <= 20 * 60
    assert stand.ends_by == P.BY_TIME and stand.core_c is None and "common practice" in stand.why
    # What has stood so long is not too cold for the sheet that follows.
    heat = KitchenHeat(SPEC, lay_out(SPEC), Known())
    assert sheet.low_c < stood_c(heat, stand.thickness_m, stand.min_s)


def test_a_few_thick_layers_wait_until_the_butter_bends():
    stand = step_like(made(2, 2, thickness_m=0.006), "stand")
    assert stand.ideal_s > 25 * 60 and stand.ends_by == P.BY_CORE and stand.core_c is not None


def test_how_warm_the_core_is_by_then():
    heat = KitchenHeat(SPEC, lay_out(SPEC), Known())
    start, room, thickness, seconds = SPEC.kitchen.fridge_c + 0.5, SPEC.kitchen.room_c, 0.024, 900.0
    half, film = thickness / 2, 7.7 * 0.875  # mean of the film above and three quarters of it below the tray
    material = heat.laminate_m
    biot, fourier = film * half / material.k, material.k / (material.rho * material.c) * seconds / half**2
    roots = [brentq(lambda x: x * np.tan(x) - biot, n * np.pi + 1e-9, n * np.pi + np.pi / 2 - 1e-9) for n in range(6)]
    left = sum(4 * np.sin(r) / (2 * r + np.sin(2 * r)) * np.exp(-r * r * fourier) for r in roots)
    series_c = room + (start - room) * left
    assert start < stood_c(heat, thickness, seconds) < series_c + 0.1
    assert stood_c(heat, thickness, seconds) > start + 0.5 * (series_c - start)


def test_a_thick_layer_in_a_cold_room_is_refused_and_a_thin_one_not():
    from tourier.batch.geometry import Unworkable

    spec = replace(SPEC, kitchen=replace(SPEC.kitchen, room_c=9.0))
    heat = KitchenHeat(spec, lay_out(spec), Known())
    with pytest.raises(Unworkable, match="never softens"):
        paton_stand(heat, 0.024, 0.5e-3)
    assert paton_stand(heat, 0.024, 0.05e-3).ideal_s <= 20 * 60


def test_a_four_fold_and_a_three_fold_are_not_warned_of():
    spec = replace(SPEC, folds=replace(SPEC.folds, folds=(4, 3), final_thickness_m=0.0035))
    assert "fat-layer" not in {w.code for w in work_up(spec, Known()).warnings}
    few = replace(SPEC, folds=replace(SPEC.folds, folds=(2, 2), final_thickness_m=0.006))
    assert "fat-layer" in {w.code for w in work_up(few, Known()).warnings}
