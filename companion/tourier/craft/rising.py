"""One dose from the end of mixing to the oven: dough as a body that follows the air of each place it lies in.

``dT/dt = (air - T) / tau``: mean temperature of a plate, with the film and a third of the half plate's own resistance
in ``tau = rho c L (1/h + L / (3 k))``, L half the thickness. That is coarse beside :mod:`tourier.craft.heat` and good
enough for an account over two days, in which the yeast's own low end is by far the greatest doubt: at 4 °C the
literature is a factor of 16 apart, so every sum is made three times, with the least temperatures of :data:`LEASTS`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from shared_schedule.ferment import GAS, REFERENCE_CDEG
from tourier.craft.proof import weight
from tourier.craft.properties import Material

#: Least temperature of yeast at work, 0.01 °C: growth's (least gas in the cold), the usual, and from memory (most).
LEASTS = (280, GAS[0], -200)
#: A lump of dough in its bowl, s: rho c r / (3 h) of 1.7 kg at 8 W/(m2 K); a guess.
BOWL_S = 10_800.0
_PARTS = 24


@dataclass(frozen=True)
class Stay:
    """Dough for ``seconds`` in air of ``air_c``, which it follows with ``tau_s``; ``part`` names the sum it goes to.

    ``within_c`` is what the work itself keeps the dough to, as butter in its window does; None = as it comes.
    """

    part: str
    seconds: float
    air_c: float
    tau_s: float
    within_c: tuple[float, float] | None = None


def tau_s(material: Material, thickness_m: float, film_w_m2k: float) -> float:
    """Time in which a plate open on both sides follows its air, s (to 63 %)."""
    half = thickness_m / 2.0
    return material.rho * material.c * half * (1.0 / film_w_m2k + half / (3.0 * material.k))


def gathered(start_c: float, stays: Iterable[Stay]) -> tuple[dict[str, tuple[float, float, float]], float]:
    """Return ({part: dose in s at the reference, (least, usual, most)}, temperature at the end) of dough's stays."""
    sums: dict[str, np.ndarray] = {}
    t_c = start_c
    for stay in stays:
        if stay.within_c is not None:
            t_c = min(max(t_c, stay.within_c[0]), stay.within_c[1])
        if stay.seconds > 0.0:
            # Middles of equal parts, so that one sum does for a night and for ten minutes.
            at_s = (np.arange(_PARTS) + 0.5) * stay.seconds / _PARTS
            course = stay.air_c + (t_c - stay.air_c) * np.exp(-at_s / stay.tau_s)
            if stay.within_c is not None:
                course = np.clip(course, *stay.within_c)
            rates = [float(weight(course, cold).mean()) / at_best for cold, at_best in _AT_REFERENCE]
            sums[stay.part] = sums.get(stay.part, np.zeros(3)) + stay.seconds * np.array(rates)
            t_c = stay.air_c + (t_c - stay.air_c) * math.exp(-stay.seconds / stay.tau_s)
            if stay.within_c is not None:
                t_c = min(max(t_c, stay.within_c[0]), stay.within_c[1])
    return {part: (float(d[0]), float(d[1]), float(d[2])) for part, d in sums.items()}, t_c


def _cardinals(least: int) -> tuple[tuple[int, int, int], float]:
    cold = (least, GAS[1], GAS[2])
    return cold, float(weight(REFERENCE_CDEG / 100.0, cold))


_AT_REFERENCE = tuple(_cardinals(least) for least in LEASTS)
