"""How fast a dough ferments beside the usual croissant dough at the same temperature: yeast, its kind, sugar and salt.

``speed = yeast / usual yeast * exp(-K (m - usual m))``, with yeast as grams of fresh yeast on 100 g of flour and m the
particles dissolved in a kg of the dough's free water (mol/kg, as in :mod:`tourier.craft.ice`; yeast splits cane sugar,
so it counts twice). Time goes as one over speed, which is the baker's rule for changing the yeast. The slope K is ours:
5 % glucose left a baker's strain 0.80 of its gas (K 0.36), 10 % cane sugar in stiffer dough 0.29 of it per gram of
yeast (K 1.1): AEM 67 (2001) 4279, table 3; that dough with 20 to 25 % sugar takes about double the yeast (K 0.4) is
common practice, no source. The spread stands in ``slow`` and ``fast``.

Its temperature is :mod:`shared_schedule.ferment`'s matter. A little sugar (under 5 %) speeds fermentation and is not
modelled; nor is yeast that grows in number over many hours.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from tourier.craft.composition import composition, mixture
from tourier.craft.ice import BOUND_FLOUR, FLOURS, SOLUTES

#: Grams of fresh yeast that do the work of one gram: fresh 3, active dry 1.2 to 1.5, instant 1; common practice.
AS_FRESH = {"fresh yeast": 1.0, "active dry yeast": 2.2, "instant yeast": 3.0, "osmotolerant yeast": 3.0}
#: kg/mol, (least, usual, most), and for strains bred for sweet doughs about half of it (a guess).
SLOPE = (0.25, 0.40, 1.10)
OSMOTOLERANT = 0.5
#: The dough the usual times of bulk and proof are about, in baker's percent: common practice, no source.
USUAL = (
    ("bread flour", 100.0), ("water", 27.0), ("milk", 25.0), ("sugar", 12.0), ("butter", 6.0), ("salt", 2.0),
    ("fresh yeast", 4.0),
)  # fmt: skip
_GAS_J_MOLK = 8.314


@dataclass(frozen=True)
class Speed:
    """Fermentation beside the usual dough, 1 = as fast; ``slow`` and ``fast`` by the spread of the slope."""

    slow: float
    usual: float
    fast: float


def particles_mol_kg(parts: Iterable[tuple[str, float]]) -> float:
    """Dissolved particles, mol per kg of free water, of (kind, mass); inf when the flour binds all the water."""
    parts = list(parts)
    total = sum(mass for _, mass in parts)
    bound = BOUND_FLOUR * sum(
        mass * (composition(kind)["protein"] + composition(kind)["carbohydrate"])
        for kind, mass in parts
        if kind in FLOURS
    )
    free = mixture(parts)["water"] * total - bound
    if free <= 0.0:
        return math.inf
    # Yeast's own enzyme splits cane sugar within minutes: two particles of one.
    return sum((2.0 if kind == "sugar" else 1.0) * SOLUTES.get(kind, 0.0) * mass for kind, mass in parts) / free


def osmotic_pressure_pa(parts: Iterable[tuple[str, float]], t_c: float = 25.0) -> float:
    """Osmotic pressure of the dough's water by van 't Hoff's law, Pa; published doughs have 35 to 100 atmospheres."""
    return particles_mol_kg(parts) * 1000.0 * _GAS_J_MOLK * (t_c + 273.15)


def speed(parts: Iterable[tuple[str, float]]) -> Speed:
    """Speed of a dough of (kind, mass), masses in any one unit. Zeros when it has no yeast or no flour to speak of."""
    parts = list(parts)
    flour = sum(mass for kind, mass in parts if kind in FLOURS)
    fresh = sum(AS_FRESH.get(kind, 0.0) * mass for kind, mass in parts)
    if flour <= 0.0 or fresh <= 0.0:
        return Speed(0.0, 0.0, 0.0)
    tolerant = sum(AS_FRESH[kind] * mass for kind, mass in parts if kind == "osmotolerant yeast") / fresh
    more = particles_mol_kg(parts) - _USUAL_MOL_KG
    share = 1.0 - (1.0 - OSMOTOLERANT) * tolerant
    # A strain bred for sweet doughs is no faster than others in the usual one: only what lies beyond it counts less.
    slopes = [slope * (share if more > 0.0 else 1.0) for slope in SLOPE]
    found = sorted(fresh / flour * 100.0 / 4.0 * math.exp(-slope * more) for slope in slopes)
    return Speed(found[0], fresh / flour * 25.0 * math.exp(-slopes[1] * more), found[2])


_USUAL_MOL_KG = particles_mol_kg(USUAL)
