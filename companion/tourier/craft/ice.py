"""Ice in dough and in butter's water: where it begins, how much there is at a temperature, what heat it takes.

The water that can freeze leaves as ice little by little, since what stays liquid gets saltier and sweeter: with an
ideal solution ``x_ice = water (1 - t_f / t)`` below the initial freezing point ``t_f`` (Schwartzberg 1976, J. Food Sci.
41:152, from memory; of the models Fricke and Becker compared in HVAC&R Research 7 (2001) it did best for the apparent
heat capacity). Water bound to protein and starch never freezes and is left out of ``water``.

Butter's water stands in droplets that may stay liquid well below their freezing point while they cool; this reckons
with equilibrium, so a block in the freezer may in truth be a little quicker. Temperatures C, heats J/kg.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from tourier.craft.composition import REFERENCE_RECIPE, composition, mixture

LATENT_J_KG = 333_550.0  # of ice at 0 C, as in tourier.craft.water
#: Heat capacity of water over that of ice, J/(kg K): by it the latent heat falls with the temperature. Choi and Okos'
#: water at 0 C, 4129, less their ice at -10 C, 2002.
LESS_J_KGK = 2_127.0
CRYOSCOPIC_K_KG_MOL = 1.86  # of water; CRC Handbook, from memory
STEP_C = 0.005  # freezing points lie on the heat model's grid, so that the kink there is met exactly

#: Water that does not freeze, kg per kg of protein (ASHRAE Handbook Refrigeration 2006 ch. 9) and per kg of flour's
#: protein and starch together (about 0.3 in dough: from memory; it is what bread's enthalpy, Riedel's table, asks for).
BOUND_PROTEIN, BOUND_FLOUR = 0.4, 0.3
FLOURS = ("bread flour", "flour")

#: Moles of dissolved particles in a kg: sucrose; salt in two ions, 7 % less than ideal (osmotic coefficient at
#: 1 mol/kg, from memory); milk by its freezing point of -0.53 C; flour about 1.5 % maltose, from memory.
SOLUTES = {
    "sugar": 1.0 / 0.3423,
    "salt": 2.0 * 0.93 / 0.05844,
    "milk": 0.285 * 0.881,
    "skim milk": 0.285 * 0.908,
    "cream": 0.285 * 0.58,
    "milk powder": 0.285 * 9.7,
    "bread flour": 0.015 / 0.3423,
    "flour": 0.015 / 0.3423,
}

#: Unsalted butter's water melts at -0.5 C (J. Dairy Res. 39 (1972) 319).
BUTTER_FREEZING_C = -0.5


@dataclass(frozen=True)
class Ice:
    """What can freeze in a material: ``water`` kg per kg of it, beginning at ``freezing_c`` below 0 C."""

    freezing_c: float
    water: float

    def __post_init__(self) -> None:
        if not -40.0 < self.freezing_c < 0.0 or not 0.0 <= self.water <= 1.0:
            raise ValueError(
                f"ice of {self.water:g} kg/kg from {self.freezing_c:g} C is not a food's: water 0..1 kg/kg, freezing "
                "point between -40 and 0 C"
            )

    def share(self, t_c):
        """Ice, kg per kg of the material, at ``t_c`` (array or float)."""
        t = np.minimum(np.asarray(t_c, dtype=float), self.freezing_c)
        return self.water * (1.0 - self.freezing_c / t)

    def heat_j_kg(self, t_c):
        """Heat the ice has given away, J per kg of the material, as a negative number; 0 when all is liquid.

        On top of the heat of the unfrozen material, whose water would go on as water: so the latent heat is that at
        ``t_c`` and the smaller heat capacity of ice is in it.
        """
        return -self.share(t_c) * (LATENT_J_KG + LESS_J_KGK * np.asarray(t_c, dtype=float))

    def apparent_c_j_kgk(self, t_c):
        """What freezing adds to the heat capacity, J/(kg K): large just below the freezing point, 0 above it."""
        t = np.asarray(t_c, dtype=float)
        cold = np.minimum(t, self.freezing_c)
        slope = -self.water * self.freezing_c / cold**2  # -d share / dt
        return np.where(t > self.freezing_c, 0.0, slope * (LATENT_J_KG + LESS_J_KGK * t) - self.share(t) * LESS_J_KGK)

    def of(self, share: float) -> Ice:
        """The same ice in a mixture that holds ``share`` kg of this material in a kg."""
        return replace(self, water=self.water * share)


def dough_ice(parts: Iterable[tuple[str, float]]) -> Ice | None:
    """Ice of a dough of (kind, mass), masses in any one unit: freezing point by Raoult's law on the water not bound.

    None when the flour binds all the water. Good to about 1.5 K: what yeast and flour dissolve is a guess.
    """
    parts = list(parts)
    total = sum(mass for _, mass in parts)
    mixed = mixture(parts)
    in_flour = sum(
        mass * (composition(kind)["protein"] + composition(kind)["carbohydrate"])
        for kind, mass in parts
        if kind in FLOURS
    )
    free = mixed["water"] - BOUND_FLOUR * in_flour / total
    if free <= 0.0:
        return None
    moles = sum(SOLUTES.get(kind, 0.0) * mass for kind, mass in parts) / total
    return Ice(_on_grid(-CRYOSCOPIC_K_KG_MOL * moles / free), free)


def butter_ice(x: Mapping[str, float]) -> Ice:
    """Ice of unsalted butter of composition ``x``."""
    return Ice(BUTTER_FREEZING_C, max(0.0, x["water"] - BOUND_PROTEIN * x["protein"]))


def _on_grid(t_c: float) -> float:
    return min(-STEP_C, max(-39.0, round(t_c / STEP_C) * STEP_C))


#: Ice of the reference dough of :mod:`tourier.craft.properties`.
REFERENCE_ICE = dough_ice(REFERENCE_RECIPE)
