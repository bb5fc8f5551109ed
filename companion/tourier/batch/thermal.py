"""Water for the dough, and the integer thermal fields a plan carries to the timer."""

from __future__ import annotations

from dataclasses import dataclass

from tourier.batch.geometry import Geometry
from tourier.batch.ingredients import COLD
from tourier.batch.kitchenheat import CARDINALS, KitchenHeat
from tourier.batch.model import BatchSpec
from tourier.craft import properties
from tourier.craft.composition import composition

#: Warming by mixing, K: by hand 1 to 2, by mixer 4 to 6 for a short mix. Common practice, no source.
FRICTION_K = {"hand": 1.5, "mixer": 4.0}
TAP_C = 15.0


@dataclass(frozen=True)
class Water:
    """Water and ice for the dough temperature wanted; None and a note when there is no water in the formula."""

    water_c: float | None
    ice_g: float
    rule_c: float | None
    note: str = ""


def ingredient_c(spec: BatchSpec, line) -> float:
    """Temperature of an ingredient: as written, else from the fridge or the room by its kind."""
    if line.temperature_c is not None:
        return line.temperature_c
    return spec.kitchen.fridge_c if line.kind in COLD else spec.kitchen.room_c


def water(spec: BatchSpec, geometry: Geometry, learned: dict) -> Water:
    """Water temperature by heat balance, with ice when water alone is not cold enough."""
    friction = learned.get("friction_k", spec.kitchen.friction_k)
    if friction is None:
        friction = FRICTION_K[spec.kitchen.mixing]
    heat = {k: 0.0 for k in ("all", "others", "water")}
    for line, weighed in zip(spec.formula, geometry.weighed, strict=True):
        c = weighed.g * properties.heat_capacity(composition(line.kind), 20.0)
        heat["all"] += c
        if line.kind == "water" and line.temperature_c is None:
            heat["water"] += c
        else:
            heat["others"] += c * ingredient_c(spec, line)
    if heat["water"] <= 0.0:
        return Water(None, 0.0, None, "the formula has no plain water whose temperature could be chosen")
    wanted = ((spec.dough_temp_c - friction) * heat["all"] - heat["others"]) / heat["water"]
    flour = next((ingredient_c(spec, x) for x in spec.formula if "flour" in x.kind), spec.kitchen.room_c)
    rule = 3 * spec.dough_temp_c - (flour + spec.kitchen.room_c + 3 * friction)
    grams = sum(w.g for x, w in zip(spec.formula, geometry.weighed, strict=True) if x.kind == "water")
    ice = 0.0
    if wanted < 2.0:
        ice = grams * (TAP_C - wanted) / (TAP_C + 79.7)
    return Water(wanted, ice, rule)


def device_fields(spec: BatchSpec, geometry: Geometry, heat: KitchenHeat) -> dict[str, int]:
    """Plan fields in the integer conventions of shared_schedule.plan."""
    b, k = heat.butter, spec.kitchen
    least, best, most = CARDINALS
    return {
        "butter_low_cdeg": round(b.window_low_c * 100),
        "butter_high_cdeg": round(b.window_high_c * 100),
        "butter_brittle_cdeg": round(b.stop_low_c * 100),
        "butter_stop_cdeg": round(b.stop_high_c * 100),
        "butter_melt_cdeg": round(b.melting_point_c * 100),
        "proof_cap_cdeg": round(heat.proof_cap_c * 100),
        "yeast_min_cdeg": least,
        "yeast_opt_cdeg": best,
        "yeast_max_cdeg": most,
        "yeast_ref_cdeg": 2600,
        "room_cdeg": round(k.room_c * 100),
        "room_rh_pct": round(k.humidity_pct),
        "fridge_cdeg": round(k.fridge_c * 100),
        "freezer_cdeg": round(k.freezer_c * 100),
        "proof_cdeg": round(min(heat.proof_air_c, heat.proof_cap_c) * 100),
        "bench_um": round(k.bench_thickness_m * 1e6),
        "bench_effusivity": {"marble": 3130, "granite": 2698, "slate": 2298, "steel": 7860, "glass": 1369,
                             "wood": 442}.get(k.bench_material, 600),
        "film_room_mw": 7700,
        "film_fridge_mw": 14000 if k.fridge_fan else 8000,
        "film_freezer_mw": 9000,
        "laminate_k_mw": 270,
        "laminate_rc": 3600,
    }  # fmt: skip
