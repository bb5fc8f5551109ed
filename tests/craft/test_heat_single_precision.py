"""What a Pico's arithmetic does to slab, thermistor and dose: 32-bit floats and 31-bit integers, emulated here.

The virtual board's interpreter has doubles and 63-bit integers, so neither limit would show on it.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from tourier.craft import scene, stacks
from tourier.craft.butter import profile
from tourier.craft.properties import REFERENCE_DOUGH, butter_material, dough_material, laminate_material

from shared_schedule import ferment, slab, thermistor

F = np.float32
LAMINATE = laminate_material(dough_material(REFERENCE_DOUGH), butter_material(profile("standard-82")), 500, 1755)


class _SingleMath:
    """`math` as a Pico has it: everything rounded to 32 bits."""

    @staticmethod
    def log(x):
        return F(np.log(F(x)))

    @staticmethod
    def exp(x):
        return F(np.exp(F(x)))


def _laid(kitchen: scene.Ambient, um: int, single: bool, where: str) -> slab.Slab:
    n = stacks.device_parameters(kitchen, LAMINATE)
    number = F if single else int
    s = slab.Slab()
    if where == "bench":
        s.lay(
            number(um),
            number(n["laminate_k_mw"]),
            number(n["laminate_rc"]),
            number(n["film_room_mw"]),
            number(n["bench_effusivity"]),
            number(n["bench_um"]),
            number(slab.CONTACT_MW),
        )
    else:
        s.lay(number(um), number(n["laminate_k_mw"]), number(n["laminate_rc"]), number(n["film_fridge_mw"]))
    return s


@pytest.mark.parametrize("bench", sorted(scene.BENCHES))
def test_forecast_survives_32_bit_floats(bench, monkeypatch):
    for thick, um in ((0.001, 4_000), (0.020, 8_000), (0.040, 30_000)):
        kitchen = scene.Ambient(room_c=23.0, bench=bench, bench_m=thick)
        double = _laid(kitchen, um, False, "bench")
        monkeypatch.setattr(slab, "BENCH_RC", F(slab.BENCH_RC))
        monkeypatch.setattr(slab, "FILM_UNDER_BENCH_MW", F(slab.FILM_UNDER_BENCH_MW))
        single = _laid(kitchen, um, True, "bench")
        monkeypatch.undo()
        assert list(double._w) != [] and len(double._w) == len(single._w)
        for s in (double, single):
            s.start(900, 2300)
        for high in (1000, 1300, 1600):
            a, b = (s.seconds_until(600, high, 2300) for s in (double, single))
            assert abs(a - b) <= max(2, a // 200), (bench, um, high, a, b)
    rest = [_laid(scene.Ambient(), 20_000, single, "fridge") for single in (False, True)]
    for s in rest:
        s.start(1600)
    a, b = (s.core_seconds_until(800, 400) for s in rest)
    assert abs(a - b) <= a // 200


class Small(int):
    """An integer that refuses to leave a Pico's small integers (31 bits), beyond which every sum is a heap object."""

    def __new__(cls, value):
        assert -(1 << 30) <= value < 1 << 30, f"{value} is not a small integer"
        return int.__new__(cls, value)


def _wrap(name):
    plain = getattr(int, name)

    def method(self, other):
        return Small(plain(int(self), int(other)))

    return method


for _name in ("__add__", "__radd__", "__sub__", "__rsub__", "__mul__", "__rmul__", "__floordiv__", "__rfloordiv__",
              "__rshift__", "__and__", "__lshift__", "__rand__"):  # fmt: skip
    setattr(Small, _name, _wrap(_name))


class _Watched(list):
    """A list that gives and takes small integers only."""

    def __getitem__(self, index):
        return Small(list.__getitem__(self, index))

    def __setitem__(self, index, value):
        list.__setitem__(self, index, Small(value))


def _watched(s: slab.Slab) -> slab.Slab:
    for name in ("_now", "_ago", "_older", "_begin", "_w", "_c"):
        setattr(s, name, _Watched(getattr(s, name)))
    return s


def test_the_loop_stays_in_31_bits():
    extremes = [(-1800, 3000, 3200), (3500, -1500, -2000), (2200, 200, 400), (400, 3500, 3500), (-1500, 2500, 400)]
    for bench, thick in (("steel", 0.001), ("marble", 0.03), ("oak", 0.04)):
        for um in (2_000, 8_000, 40_000):
            s = _watched(_laid(scene.Ambient(bench=bench, bench_m=thick), um, False, "bench"))
            for core, bench_cdeg, air in extremes:
                s.start(core, bench_cdeg)
                s.core_after(slab.LONGEST_S, air)
                s.seconds_until(-3000, 3900, air, 7200)
                s.track(60, air, core)
    s = _watched(_laid(scene.Ambient(), 8_000, False, "fridge"))
    for core, _, air in extremes:
        s.start(core, rested_in_cdeg=air)
        s.core_after(slab.LONGEST_S, air)


def test_the_watch_would_see_an_overflow():
    with pytest.raises(AssertionError, match="not a small integer"):
        Small(1 << 20) * Small(1 << 12)


def test_thermistor_survives_32_bit_floats(monkeypatch):
    monkeypatch.setattr(thermistor, "math", _SingleMath)
    for name in thermistor.CURVE_NAMES:
        double = thermistor.curve(name)
        single = tuple(F(c) for c in double)
        for celsius in np.arange(-25.0, 60.0, 0.37):
            with pytest.MonkeyPatch.context() as undo:
                undo.setattr(thermistor, "math", math)
                ohm = thermistor.ohm_from_cdeg(round(celsius * 100), double)
                exact = thermistor.cdeg_from_ohm(ohm, double)
            assert abs(thermistor.cdeg_from_ohm(F(ohm), single) - exact) <= 1, (name, celsius)


def test_dose_survives_32_bit_floats(monkeypatch):
    exact = {t: ferment.rate_ppm(t, ferment.GROWTH) for t in range(300, 4500, 37)}
    real = ferment.gamma
    monkeypatch.setattr(ferment, "gamma", lambda *a: real(*(F(x) for x in a)))
    for t, rate in exact.items():
        assert abs(ferment.rate_ppm(t, ferment.GROWTH) - rate) <= max(20, rate // 20_000), t
