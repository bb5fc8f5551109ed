"""Baker's percent to grams, and grams to a sheet and back.

Roll-in is always said "% of flour" or "% of dough". Masses in kg, volumes in m3, percent as numbers (55.0 = 55 %).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tourier.craft.misfit import Misfit

#: Gas held by a cold, rested, degassed dough, as a share of its volume. From memory: 8-10 % just after mixing, less
#: after flattening. Pieces weigh that much less than gas-free dough would.
DOUGH_GAS = 0.05


class FormulaError(Misfit):
    """A formula that cannot be scaled; `quantity` names what is wrong."""


@dataclass(frozen=True)
class Line:
    """One ingredient to scale: percent of flour, and the step a cook's scale can weigh (g)."""

    name: str
    percent_of_flour: float
    step_g: float = 1.0


@dataclass(frozen=True)
class Weighed:
    """One ingredient as weighed: rounded grams, exact grams, and the error of rounding in percent of it."""

    name: str
    g: float
    exact_g: float
    percent_of_flour: float

    @property
    def error_percent(self) -> float:
        """Rounding error, percent of the exact mass."""
        return (self.g - self.exact_g) / self.exact_g * 100.0


def round_to(value: float, step: float) -> float:
    """Nearest multiple of a step, half up; 0.1 steps come back without binary noise."""
    return round(math.floor(value / step + 0.5) * step, 6)


def scale(lines: Sequence[Line], dough_kg: float) -> list[Weighed]:
    """Grams of each line so that together they make `dough_kg` (> 0); each rounded to its own step, never to zero."""
    total = sum(line.percent_of_flour for line in lines)
    if dough_kg <= 0 or total <= 0:
        raise FormulaError("the dough has no mass", "dough")
    out = []
    for line in lines:
        exact = dough_kg * 1000.0 * line.percent_of_flour / total
        grams = round_to(exact, line.step_g)
        if grams <= 0:
            grams = round_to(exact, 0.1)
        if grams <= 0:
            raise FormulaError("{name} comes to less than can be weighed; make more", line.name, name=line.name)
        out.append(Weighed(line.name, grams, exact, line.percent_of_flour))
    return out


def butter_per_dough(percent_sum: float, of_flour: float | None = None, of_dough: float | None = None) -> float:
    """Mass of roll-in butter per mass of base dough.

    `of_flour`: percent of flour, with `percent_sum` the baker's percentages of the base dough together.
    `of_dough`: percent of the *whole* laminated dough, butter included (25 to 33 % is the trade's usual span,
    domson.co.uk pastry academy). Exactly one is given.
    """
    if (of_flour is None) == (of_dough is None):
        raise FormulaError("roll-in is given either as % of flour or as % of dough", "roll-in")
    if of_flour is not None:
        return of_flour / percent_sum
    assert of_dough is not None
    if not 0 < of_dough < 100:
        raise FormulaError(f"a roll-in of {of_dough:g} % of dough is not possible", "roll-in")
    return of_dough / (100.0 - of_dough)


def roll_in_percents(butter_kg: float, dough_kg: float, percent_sum: float) -> tuple[float, float]:
    """(% of dough, % of flour): of the whole laminated dough, and of the flour in the base dough."""
    flour = dough_kg * 100.0 / percent_sum
    return butter_kg / (butter_kg + dough_kg) * 100.0, butter_kg / flour * 100.0


@dataclass(frozen=True)
class Split:
    """A pâton divided: masses in kg, volumes in m3. `fat_share` = the butter's share of the volume."""

    dough_kg: float
    butter_kg: float
    dough_m3: float
    butter_m3: float

    @property
    def volume_m3(self) -> float:
        """Volume of dough and butter together."""
        return self.dough_m3 + self.butter_m3

    @property
    def fat_share(self) -> float:
        """Volume fraction of the butter layers."""
        return self.butter_m3 / self.volume_m3


def split_volume(volume_m3: float, butter_per_dough_kg: float, dough_kg_m3: float, butter_kg_m3: float) -> Split:
    """Dough and butter that fill a volume (m3) at given densities (kg/m3, dough with its gas)."""
    dough = volume_m3 / (1.0 / dough_kg_m3 + butter_per_dough_kg / butter_kg_m3)
    butter = dough * butter_per_dough_kg
    return Split(dough, butter, dough / dough_kg_m3, butter / butter_kg_m3)
