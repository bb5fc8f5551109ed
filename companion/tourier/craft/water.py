"""Dough water temperature: the full heat balance, the three-factor rule beside it, ice when water cannot, refusal.

Heat balance: T_w = [(wanted - rise) sum(m c) - sum_others(m c T)] / (m_w c_w), each ingredient with its own heat
capacity and temperature; ``rise`` is what mixing adds. The three-factor rule of the trade is shown beside it because
cooks know it; it fails with cold milk. Masses g (any one unit), temperatures C, heat capacities J/(kg K).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tourier.craft.composition import composition
from tourier.craft.misfit import Misfit
from tourier.craft.properties import heat_capacity

WATER_C_J_KGK = 4186.0
ICE_LATENT_J_KG = 333_550.0

#: Warming of the dough by a usual mix, K; learned from the cook's own batches. Common practice, no source.
MIXING_RISE_K = {"hand": 1.0, "stand mixer": 3.0, "spiral mixer": 4.0}

HOTTEST_WATER_C = 45.0  # above, water harms yeast it touches first; common practice, no source
COLDEST_WATER_C = 1.0


class NoWater(Misfit):
    """No water temperature gives the dough wanted; ``quantity`` names the limit that stands in the way."""


@dataclass(frozen=True)
class Ingredient:
    """One ingredient of the mix: ``kind`` as in :mod:`tourier.craft.composition`, mass, temperature."""

    kind: str
    mass_g: float
    t_c: float

    @property
    def heat_j_k(self) -> float:
        """m c in J/K."""
        return self.mass_g * 1e-3 * heat_capacity(composition(self.kind), max(0.0, self.t_c))


@dataclass(frozen=True)
class WaterPlan:
    """What to pour. ``t_c`` is the mean temperature needed; with ``ice_g`` > 0 the rest is tap water at ``tap_c``."""

    t_c: float
    water_g: float
    ice_g: float
    three_factor_c: float
    dough_c: float


def three_factor_c(
    wanted_c: float, flour_c: float, room_c: float, friction_k: float, preferment_c: float | None = None
) -> float:
    """The trade's rule: n wanted - (flour + room [+ preferment] + friction), n = 3 or 4. Same unit throughout (C or F).

    ``friction_k`` is the rule's own friction factor, already counted for all n: n actual - (sum of the others).
    """
    n = 3 if preferment_c is None else 4
    return n * wanted_c - (flour_c + room_c + (preferment_c or 0.0) + friction_k)


def mixed_c(ingredients: Sequence[Ingredient]) -> float:
    """Temperature of a mixture without friction, C; no melting, no freezing."""
    total = sum(i.heat_j_k for i in ingredients)
    if total <= 0.0:
        raise ValueError("a mixture needs some mass")
    return sum(i.heat_j_k * i.t_c for i in ingredients) / total


def balance_water_c(
    others: Sequence[Ingredient],
    water_g: float,
    wanted_c: float,
    rise_k: float,
    water_heat_j_kgk: float = WATER_C_J_KGK,
) -> float:
    """Mean water temperature for a dough of ``wanted_c`` by the heat balance (may be below 0: that means ice)."""
    if water_g <= 0.0:
        raise NoWater("The formula has no water whose temperature could be chosen.", "water")
    m_w = water_g * 1e-3 * water_heat_j_kgk
    before = wanted_c - rise_k
    return before + sum(i.heat_j_k * (before - i.t_c) for i in others) / m_w


def ice_share_g(water_g: float, tap_c: float, want_c: float) -> float:
    """Ice (0 C) that replaces tap water so that both together are as cold as ``water_g`` at ``want_c``.

    m = W (tap - want) / (tap + L/c). ``want_c`` may be below 0 only as far as ice alone reaches (-L/c = -79.7 C).
    """
    if tap_c <= want_c:
        return 0.0
    return water_g * (tap_c - want_c) / (tap_c + ICE_LATENT_J_KG / WATER_C_J_KGK)


def water_plan(
    others: Sequence[Ingredient],
    water_g: float,
    wanted_c: float,
    rise_k: float,
    tap_c: float,
    flour_c: float,
    room_c: float,
) -> WaterPlan:
    """Water for a dough of ``wanted_c``; ice when tap water is too warm; :class:`NoWater` when nothing will do.

    The three-factor rule's friction is three times ``rise_k``.
    """
    rule = three_factor_c(wanted_c, flour_c, room_c, 3.0 * rise_k)
    want = balance_water_c(others, water_g, wanted_c, rise_k)
    if want > HOTTEST_WATER_C:
        raise NoWater(
            "The dough would need water of {water}, which harms yeast: warm the flour or the milk, or ask for a dough "
            "cooler than {dough}.",
            "water temperature",
            water=("temperature", want), dough=("temperature", wanted_c),
        )
    if want >= tap_c:
        return WaterPlan(want, water_g, 0.0, rule, wanted_c)
    ice_g = ice_share_g(water_g, tap_c, want)
    if ice_g > water_g:
        raise NoWater(
            "Even with all {water} of water as ice the dough stays above {dough}: chill the flour and milk first, or "
            "ask for a warmer dough.",
            "ice",
            water=("weight", water_g), dough=("temperature", wanted_c),
        )
    return WaterPlan(want, water_g - ice_g, ice_g, rule, wanted_c)
