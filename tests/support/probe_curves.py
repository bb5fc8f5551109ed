"""Curves of NTC probes through measured points, to hold the timer's table against. C (kelvin inside), ohm."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

ZERO_K = 273.15

#: What a 10 kilohm kitchen probe may plausibly be: B of parts on the market is 3000..4500 K.
BETA_RANGE_K = (2800.0, 4600.0)


class BadCalibration(ValueError):
    """Points that no good probe gives; the sentence says which and what to do."""


@dataclass(frozen=True)
class SteinhartHart:
    """1/T = a + b ln R + c (ln R)^3."""

    a: float
    b: float
    c: float

    def temperature_c(self, ohm: float) -> float:
        """C at a resistance."""
        x = math.log(ohm)
        return 1.0 / (self.a + self.b * x + self.c * x**3) - ZERO_K

    def resistance(self, t_c: float) -> float:
        """Ohm at a temperature, by Newton (the curve is monotone)."""
        wanted = 1.0 / (t_c + ZERO_K)
        x = math.log(10_000.0)
        for _ in range(50):
            step = (self.a + self.b * x + self.c * x**3 - wanted) / (self.b + 3.0 * self.c * x * x)
            x -= step
            if abs(step) < 1e-14:
                break
        return math.exp(x)


def steinhart_hart(points: Sequence[tuple[float, float]]) -> SteinhartHart:
    """Through exactly three (C, ohm) points; :class:`BadCalibration` when they are too close or implausible."""
    if len(points) != 3:
        raise BadCalibration(f"Three points are needed for a Steinhart-Hart curve, not {len(points)}.")
    points = sorted(points)
    _check_points(points)
    (t1, r1), (t2, r2), (t3, r3) = points
    l1, l2, l3 = math.log(r1), math.log(r2), math.log(r3)
    y1, y2, y3 = (1.0 / (t + ZERO_K) for t in (t1, t2, t3))
    g2, g3 = (y2 - y1) / (l2 - l1), (y3 - y1) / (l3 - l1)
    c = (g3 - g2) / (l3 - l2) / (l1 + l2 + l3)
    b = g2 - c * (l1 * l1 + l1 * l2 + l2 * l2)
    curve = SteinhartHart(y1 - (b + l1 * l1 * c) * l1, b, c)
    if not (b > 0.0 and b + 3.0 * c * min(l1, l2, l3) ** 2 > 0.0):
        raise BadCalibration("These three points give a curve that turns back: one was read wrong; repeat them.")
    return curve


def beta(first: tuple[float, float], second: tuple[float, float]) -> float:
    """B in K from two (C, ohm) points: ln(R1/R2) / (1/T1 - 1/T2)."""
    points = sorted((first, second))
    _check_points(points)
    (t1, r1), (t2, r2) = points
    return math.log(r1 / r2) / (1.0 / (t1 + ZERO_K) - 1.0 / (t2 + ZERO_K))


def beta_resistance(t_c: float, b: float, r25: float = 10_000.0) -> float:
    """Ohm by the beta form."""
    return r25 * math.exp(b * (1.0 / (t_c + ZERO_K) - 1.0 / (25.0 + ZERO_K)))


def _check_points(points: Sequence[tuple[float, float]]) -> None:
    for t, r in points:
        if not (-60.0 <= t <= 150.0 and 10.0 <= r <= 10e6):
            raise BadCalibration(f"A point of {t:g} C and {r:g} ohm is outside what a kitchen probe gives; check it.")
    for (t1, r1), (t2, r2) in zip(points, points[1:], strict=False):
        if t2 - t1 < 3.0:
            raise BadCalibration(f"Points at {t1:g} and {t2:g} C are too close together; take them 3 K or more apart.")
        if r2 >= r1:
            raise BadCalibration(
                f"The resistance does not fall from {t1:g} to {t2:g} C: no NTC probe does that; are two points swapped?"
            )
        b = math.log(r1 / r2) / (1.0 / (t1 + ZERO_K) - 1.0 / (t2 + ZERO_K))
        if not BETA_RANGE_K[0] <= b <= BETA_RANGE_K[1]:
            raise BadCalibration(
                f"Between {t1:g} and {t2:g} C the probe's B is {b:.0f} K; real ones have {BETA_RANGE_K[0]:.0f} to "
                f"{BETA_RANGE_K[1]:.0f}. Read both points again."
            )
