"""A formula without water: the milk's temperature is chosen, by the same heat balance.

Golden rows: *independent* (the balance written out here; heat capacities are those of craft, checked in tests/craft).
"""

from __future__ import annotations

from pathlib import Path

import pytest
from tourier.batch.read import read_batch_text
from tourier.batch.workup import work_up
from tourier.craft.water import MIXING_RISE_K, composition, heat_capacity
from tourier.known import Known, Lessons
from tourier.plantext import formula_lines
from tourier.rehearsal import DEMO_NOW

_DEMO = (Path(__file__).parents[2] / "companion/tourier/batch/examples/demo.toml").read_text(encoding="utf-8")
_ALL_MILK = _DEMO.replace('"whole milk" = "26 %"\nwater = "26 %"', '"whole milk" = "56 %"')


def _work(text: str):
    return work_up(read_batch_text(text, "batch.toml", DEMO_NOW), Known())


def test_the_milk_makes_the_dough_wanted():
    assert _ALL_MILK != _DEMO
    work = _work(_ALL_MILK)
    assert work.water_name == "whole milk" and work.ice_g == 0.0
    kitchen = work.spec.kitchen
    heat = temperatures = 0.0
    for line, spec in zip(work.lines, work.spec.formula, strict=True):
        cold = spec.kind in ("milk", "egg", "fresh yeast")
        t_c = work.water_temp_c if spec.kind == "milk" else kitchen.fridge_c if cold else kitchen.room_c
        at_c = work.spec.dough_temp_c if spec.kind == "milk" else t_c
        c = line.g * heat_capacity(composition(spec.kind), max(0.0, at_c))
        heat, temperatures = heat + c, temperatures + c * t_c
    rise_k = work.spec.dough_temp_c - temperatures / heat
    hand = _work(_ALL_MILK.replace('by = "mixer"', 'by = "hand"'))
    assert rise_k == pytest.approx(MIXING_RISE_K["stand mixer"], abs=0.2)
    assert hand.water_temp_c > work.water_temp_c  # by hand dough warms less, so the milk is poured warmer
    assert any("Whole milk at" in line and "three-factor" not in line for line in formula_lines(work))
    assert not any(warning.code == "water" for warning in work.warnings)


def test_milk_that_cannot_be_cold_enough_says_what_comes_of_it():
    hot = _ALL_MILK.replace('room = "26 °C"', 'room = "33 °C"')
    work = _work(hot.replace('dough_temperature = "22 °C"', 'dough_temperature = "16 °C"'))
    assert work.water_temp_c == work.spec.kitchen.fridge_c
    (said,) = [warning.text for warning in work.warnings if warning.code == "water"]
    assert said.startswith("whole milk straight from the fridge makes dough of ") and "chill the flour too" in said


def test_a_milk_whose_temperature_is_written_is_not_chosen():
    fixed = _ALL_MILK.replace('"whole milk" = "56 %"', '"whole milk" = { percent = "56 %", temperature = "8 °C" }')
    work = _work(fixed)
    assert work.water_temp_c is None
    assert any("no plain water or milk" in warning.text for warning in work.warnings)


@pytest.mark.parametrize("name", ["<b>milk</b>", "milk & honey"])
def test_the_milks_name_is_escaped_on_the_card(name):
    from tourier.dayplan.card import card_html
    from tourier.design import design

    planned = design(_ALL_MILK.replace("whole milk", name), "batch.toml", DEMO_NOW, Lessons())
    page = card_html(planned.day)
    assert "<b>milk</b>" not in page and name.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;") in page
