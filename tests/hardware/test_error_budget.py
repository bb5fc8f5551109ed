"""The error budget: its curves against published tables, its arithmetic against hand sums, its goal."""

from __future__ import annotations

import numpy as np
import pytest

from hardware.budget import error_budget as eb
from hardware.firmware_pins import firmware_pins
from shared_schedule import thermistor

PINS = firmware_pins()
FIXED = float(PINS["R_FIXED_PROBE_OHM"])

# published: Vishay NTCLE100E3 B25/85 3977 K, resistances at 5 K steps from data sheet 29049's polynomial
TABLE_3977 = {-20: 96360, -10: 55047, 0: 32555, 10: 19873, 20: 12488, 25: 10000, 30: 8059.2, 40: 5330.0, 60: 2490.0}


@pytest.mark.parametrize("celsius, ohm", eb.TABLE_103AT.items())
def test_curve_103at_follows_the_published_table(celsius, ohm):
    # published: Semitec 103AT resistance table, as in wwaites/thermo semitec-103at.tsv
    assert float(eb.celsius_from_ohm(ohm)) == pytest.approx(celsius, abs=0.025)
    assert float(eb.ohm_from_celsius(celsius)) == pytest.approx(ohm, rel=0.0012)


@pytest.mark.parametrize("celsius, ohm", TABLE_3977.items())
def test_curve_3977_follows_the_published_table(celsius, ohm):
    assert float(eb.celsius_from_ohm(ohm, "3977")) == pytest.approx(celsius, abs=0.02)


def test_curve_agrees_with_an_independent_library():
    # independent: thermistor-utils 0.0.4, three-point Steinhart-Hart through -20, 10 and 40 °C
    tools = pytest.importorskip("thermistor_utils")
    converter = getattr(tools, "SH_converter", None)
    if converter is None:
        from thermistor_utils.SH_converter import SH_converter as converter
    sh = converter.from_points([(c + 273.15, eb.TABLE_103AT[c]) for c in (-20, 10, 40)])
    for celsius in range(-20, 41, 5):
        ohm = float(eb.ohm_from_celsius(celsius))
        assert sh.temperature(ohm) - 273.15 == pytest.approx(celsius, abs=0.05)


@pytest.mark.parametrize("name", ["103at", "3977"])
def test_firmware_reads_what_the_budget_supposes(name):
    coefficients = thermistor.curve(name)
    for celsius in range(-20, 61, 5):
        code = float(eb.code_at(celsius, FIXED, name))
        state, cdeg = thermistor.read(round(code * 64), 4096 * 64, int(FIXED), coefficients)
        assert state == thermistor.OK
        assert cdeg / 100 == pytest.approx(celsius, abs=0.02)


def test_resistor_of_the_firmware_keeps_the_converter_steps_out_of_the_work():
    # published: erratum RP2040-E11, steps at codes 512, 1536, 2560, 3584
    steps = eb.step_temperatures_c(FIXED, str(PINS["CURVE_PROBE"]))
    assert steps == pytest.approx([-32.4, -2.2, 23.0, 65.2], abs=0.1)  # independent: worked out by hand from the table
    assert not [t for t in steps if -2.0 <= t <= 22.5]
    assert [t for t in eb.step_temperatures_c(10000) if -2.0 <= t <= 22.5], "10 kohm was meant to fail this"


@pytest.mark.parametrize("celsius, per_count_k", [(-20, 0.031), (0, 0.024), (4, 0.024), (20, 0.026), (40, 0.038)])
def test_kelvin_per_count(celsius, per_count_k):
    # independent: d T/d code from the divider formula and the table's slope
    t = np.array([celsius - 0.5, celsius + 0.5])
    assert 1 / abs(float(np.diff(eb.code_at(t, 18000)).item())) == pytest.approx(per_count_k, abs=0.0008)


def test_resistance_tolerance_alone_is_the_hand_sum():
    # R25 +-1 % at alpha 3.85 %/K is +-0.26 K at 20 °C; 95 % of a uniform spread is 0.95 of it. The sensor's share at
    # 25 °C holds no beta error, only R25 (3.73 %/K -> 0.268 K) and the curve's 0.022 K.
    result = eb.simulate(only="sensor", celsius=np.array([25.0]), trials=6000)
    assert float(result.p95_k(iced=False)[0]) == pytest.approx(0.95 * 0.01 / 0.0373, abs=0.012)


def test_self_heating_alone_is_the_hand_sum():
    # 3.3 V over 10 k + 18 k: 0.139 mW; at 2 to 7 mW/K that is 0.020 to 0.069 K
    result = eb.simulate(only="self-heating", celsius=np.array([25.0]), trials=4000)
    raw = result.raw_k[:, 0]
    assert raw.min() == pytest.approx(0.0199, abs=0.001)
    assert raw.max() == pytest.approx(0.0694, abs=0.001)


def test_budget_reaches_its_goal():
    result = eb.simulate(FIXED)
    assert result.worst_k(0, 30) <= 0.5
    assert result.worst_k(0, 10) < 0.6 * result.worst_k(0, 10, iced=False), (
        "the ice point must help where butter is judged"
    )
    assert result.worst_k(-20, 60) < 1.0


def test_the_other_sensor_needs_its_own_resistor():
    assert eb.simulate(20000, "3977", trials=4000).worst_k() <= 0.5
    assert eb.simulate(18000, "3977", trials=4000).worst_k() > 0.5


def test_goal_does_not_hang_on_the_seed():
    assert max(eb.simulate(FIXED, seed=s, trials=3000).worst_k() for s in range(5)) <= 0.5


@pytest.mark.parametrize("name, factor", [("r25", 5), ("beta", 2), ("r_fixed", 40), ("adc_scale", 4), ("ice_k", 6)])
def test_worse_parts_break_the_goal(name, factor, monkeypatch):
    # A budget that nothing can break proves nothing: a 5 % bead, a 4 % resistor or a careless bath must show.
    value, why = eb.SPREAD[name]
    monkeypatch.setitem(eb.SPREAD, name, (value * factor, why))
    worse = eb.simulate(FIXED, trials=3000)
    assert worse.worst_k(iced=False) > 0.5 or worse.worst_k() > 0.5


def test_report_is_repeatable_and_kept():
    from hardware.firmware_pins import ROOT

    text = eb.report()
    assert (ROOT / "hardware/budget/error_budget.md").read_text(encoding="utf-8") == text
    assert f"within {eb.simulate().worst_k():.2f} K over 0..30 °C" in text
