"""Dew point: when a chilled bench or a cold sheet sweats. Magnus form, 0..50 C, within 0.02 K of ASHRAE's equations."""

from __future__ import annotations

import math

# Alduchov and Eskridge 1996, constants from memory; checked against psychrolib in the table of outside checks.
_A, _B = 17.625, 243.04


def saturation_pa(t_c: float) -> float:
    """Vapour pressure over water, Pa; -40..50 C (over water, not ice)."""
    if not -40.0 <= t_c <= 60.0:
        raise ValueError(f"{t_c} C is outside -40 to 60 C, the range of the vapour pressure formula")
    return 610.94 * math.exp(_A * t_c / (_B + t_c))


def dew_point_c(air_c: float, humidity: float) -> float:
    """Dew point in C of air at ``air_c`` with relative ``humidity`` 0..1 (not percent)."""
    if not 0.0 < humidity <= 1.0:
        raise ValueError(f"a relative humidity of {humidity} is not above 0 and up to 1")
    if not -40.0 <= air_c <= 60.0:
        raise ValueError(f"{air_c} C is outside -40 to 60 C, the range of the dew point formula")
    g = math.log(humidity) + _A * air_c / (_B + air_c)
    return _B * g / (_A - g)
