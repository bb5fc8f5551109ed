"""Water for the dough, and the integer thermal fields a plan carries to the timer."""

from __future__ import annotations

from dataclasses import dataclass

from shared_schedule import ferment
from tourier.batch.geometry import Geometry, Unworkable
from tourier.batch.ingredients import COLD, FLOURS
from tourier.batch.kitchenheat import KitchenHeat
from tourier.batch.model import BatchSpec, FormulaLine
from tourier.craft import stacks
from tourier.craft import water as craft_water

#: Less ice than this share of the water (2 K) is not worth weighing: a splash from a jug in the fridge does it.
ICE_WORTH = 0.025
_RISE = {"hand": "hand", "mixer": "stand mixer"}


@dataclass(frozen=True)
class Water:
    """Water for the dough wanted (mean temperature; `ice_g` of it as ice); None and a note when there is no water."""

    water_c: float | None
    ice_g: float
    rule_c: float | None
    note: str = ""


def ingredient_c(spec: BatchSpec, line: FormulaLine) -> float:
    """Temperature of an ingredient: as written, else the fridge's or the room's by its kind."""
    if line.temperature_c is not None:
        return line.temperature_c
    return spec.kitchen.fridge_c if line.kind in COLD else spec.kitchen.room_c


def water(spec: BatchSpec, geometry: Geometry, learned: dict) -> Water:
    """Water temperature by heat balance, ice where needed, the three-factor rule beside it. Raises Unworkable."""
    rise = learned.get("mixing_rise_k", spec.kitchen.friction_k)
    if rise is None:
        rise = craft_water.MIXING_RISE_K[_RISE[spec.kitchen.mixing]]
    others, grams = [], 0.0
    for line, weighed in zip(spec.formula, geometry.weighed, strict=True):
        if line.kind == "water" and line.temperature_c is None:
            grams += weighed.g
        else:
            others.append(craft_water.Ingredient(line.kind, weighed.g, ingredient_c(spec, line)))
    if grams <= 0.0:
        return Water(None, 0.0, None, "the formula has no plain water whose temperature could be chosen")
    flour_c = next((ingredient_c(spec, x) for x in spec.formula if x.kind in FLOURS), spec.kitchen.room_c)
    try:
        plan = craft_water.water_plan(
            others, grams, spec.dough_temp_c, rise, spec.kitchen.tap_c, flour_c, spec.kitchen.room_c
        )
    except craft_water.NoWater as error:
        raise Unworkable(str(error), error.quantity) from None
    cool = plan.t_c > craft_water.COLDEST_WATER_C and plan.ice_g < ICE_WORTH * grams
    return Water(plan.t_c, 0.0 if cool else plan.ice_g, plan.three_factor_c)


def device_fields(spec: BatchSpec, heat: KitchenHeat) -> dict[str, int]:
    """Plan fields in the integer conventions of shared_schedule.plan."""
    b = heat.butter
    least, best, most = ferment.GROWTH
    fields = dict(stacks.device_parameters(heat.place, heat.laminate_m))
    fields["proof_cdeg"] = round(min(heat.proof_air_c, heat.proof_cap_c) * 100)
    fields.update(
        butter_low_cdeg=round(b.window_low_c * 100),
        butter_high_cdeg=round(b.window_high_c * 100),
        butter_brittle_cdeg=round(b.stop_low_c * 100),
        butter_stop_cdeg=round(b.stop_high_c * 100),
        butter_melt_cdeg=round(b.melting_point_c * 100),
        proof_cap_cdeg=round(heat.proof_cap_c * 100),
        yeast_min_cdeg=least,
        yeast_opt_cdeg=best,
        yeast_max_cdeg=most,
        yeast_ref_cdeg=ferment.REFERENCE_CDEG,
        room_rh_pct=round(spec.kitchen.humidity_pct),
    )
    return fields
