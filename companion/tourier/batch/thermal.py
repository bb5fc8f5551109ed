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
from tourier.known import Known, at

#: Less ice than this share of the water (2 K) is not worth weighing: a splash from a jug in the fridge does it.
ICE_WORTH = 0.025
_MILKS = ("milk", "skim milk")
_RISE = {"hand": "hand", "mixer": "stand mixer"}


@dataclass(frozen=True)
class Water:
    """Water for the dough wanted (mean temperature; `ice_g` of it as ice), or milk where the formula has no water.

    `name` is what is poured at `water_c`; None and a note when there is neither. A note beside a temperature says what
    milk cannot do.
    """

    water_c: float | None
    ice_g: float
    rule_c: float | None
    note: str = ""
    name: str = "water"


def ingredient_c(spec: BatchSpec, line: FormulaLine) -> float:
    """Temperature of an ingredient: as written, else the fridge's or the room's by its kind."""
    if line.temperature_c is not None:
        return line.temperature_c
    return spec.kitchen.fridge_c if line.kind in COLD else spec.kitchen.room_c


def water(spec: BatchSpec, geometry: Geometry, known: Known) -> Water:
    """Water temperature by heat balance, ice where needed, the three-factor rule beside it. Raises Unworkable."""
    usual_k, written_k = craft_water.MIXING_RISE_K[_RISE[spec.kitchen.mixing]], spec.kitchen.friction_k
    rise = at(known.mixing_rise_k, usual_k if written_k is None else written_k)
    poured, others, grams = _poured(spec, geometry)
    if grams <= 0.0:
        return Water(None, 0.0, None, "the formula has no plain water or milk whose temperature could be chosen")
    flour_c = next((ingredient_c(spec, x) for x in spec.formula if x.kind in FLOURS), spec.kitchen.room_c)
    if poured.kind in _MILKS:
        return _milk(spec, poured, others, grams, rise)
    try:
        plan = craft_water.water_plan(
            others, grams, spec.dough_temp_c, rise, spec.kitchen.tap_c, flour_c, spec.kitchen.room_c
        )
    except craft_water.NoWater as error:
        raise Unworkable.of(error, spec.voice) from None
    cool = plan.t_c > craft_water.COLDEST_WATER_C and plan.ice_g < ICE_WORTH * grams
    return Water(plan.t_c, 0.0 if cool else plan.ice_g, plan.three_factor_c)


def _poured(spec: BatchSpec, geometry: Geometry) -> tuple[FormulaLine, list[craft_water.Ingredient], float]:
    """Return (the ingredient whose temperature is chosen, all others, its grams): water, else most of the milk.

    A line whose temperature is written in the batch file is not chosen. Zero grams: there is none to choose.
    """
    pairs = [*zip(spec.formula, geometry.weighed, strict=True)]
    free = [(line, weighed.g) for line, weighed in pairs if line.temperature_c is None]
    chosen = [line for line, _ in free if line.kind == "water"]
    if not chosen:
        milks = sorted((pair for pair in free if pair[0].kind in _MILKS), key=lambda pair: pair[1])
        chosen = [line for line, _ in milks[-1:]]
    others, grams = [], 0.0
    for line, weighed in pairs:
        if any(line is one for one in chosen):
            grams += weighed.g
        else:
            others.append(craft_water.Ingredient(line.kind, weighed.g, ingredient_c(spec, line)))
    return (chosen or [spec.formula[0]])[0], others, grams


def _milk(
    spec: BatchSpec, poured: FormulaLine, others: list[craft_water.Ingredient], grams: float, rise_k: float
) -> Water:
    """Milk for the dough wanted: no ice goes into it, so the fridge is as cold as it gets; warm as water at most.

    Where that does not do, the nearest it can do is given, with the dough that comes of it in the note.
    """
    one_c = craft_water.Ingredient(poured.kind, grams, spec.dough_temp_c)
    heat = one_c.heat_j_k / (grams * 1e-3)
    want_c = craft_water.balance_water_c(others, grams, spec.dough_temp_c, rise_k, heat)
    pour_c = min(max(want_c, spec.kitchen.fridge_c), craft_water.HOTTEST_WATER_C)
    note = ""
    if abs(want_c - pour_c) > 0.5:
        dough_c = craft_water.mixed_c([*others, craft_water.Ingredient(poured.kind, grams, pour_c)]) + rise_k
        how = "straight from the fridge" if pour_c > want_c else "as warm as yeast bears"
        what = "chill the flour too" if pour_c > want_c else "warm the flour too"
        comes_to = spec.voice.temperature(dough_c)
        note = f"{poured.name} {how} makes dough of {comes_to}: {what}, or ask for that temperature"
    return Water(pour_c, 0.0, None, note, poured.name)


def device_fields(spec: BatchSpec, heat: KitchenHeat) -> dict[str, int]:
    """Plan fields in the integer conventions of shared_schedule.plan."""
    b = heat.butter
    least, best, most = ferment.GAS
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
