"""Warnings of a worked-out batch: what, where, and the source of the limit, or "common practice, no source"."""

from __future__ import annotations

from tourier.batch.geometry import Geometry
from tourier.batch.kitchenheat import KitchenHeat
from tourier.batch.model import BatchSpec, Warned
from tourier.batch.plausible import BAKE_S, CP, OVEN_C, unusual
from tourier.craft import dewpoint, sheets
from tourier.voice import span


def warnings(spec: BatchSpec, geometry: Geometry, heat: KitchenHeat, wet) -> tuple[Warned, ...]:
    """Every warning, in the order of the work."""
    out: list[Warned] = []
    deg = spec.voice.temperature
    out += unusual(spec)
    out += _oven(spec)
    out += _formula(spec, geometry)
    if wet.note:
        out.append(Warned("water", wet.note, "heat balance"))
    elif wet.ice_g >= 5.0:
        ice = spec.voice.weight(round(wet.ice_g))
        out.append(
            Warned("ice", f"water alone is not cold enough: replace {ice} of it by ice", "heat balance")
        )
    elif wet.water_c is not None and wet.water_c > 45.0:
        out.append(
            Warned(
                "water-hot",
                f"the water comes to {deg(wet.water_c)}; keep yeast out of it, or choose a cooler dough",
                CP,
            )
        )
    out += _layers(spec, geometry)
    out += _kitchen(spec, heat)
    out += _heat(spec, geometry, heat)
    out += _safety(spec, heat)
    return tuple(out)


def _formula(spec: BatchSpec, geometry: Geometry) -> list[Warned]:
    out = []
    if spec.kind == "leavened" and not 24.5 <= geometry.of_dough <= 33.5:
        out.append(
            Warned(
                "roll-in",
                f"a roll-in of {geometry.of_dough:.1f} % of dough ({geometry.of_flour:.0f} % of flour) "
                "is outside the usual 25 to 33 % of dough",
                "published trade guidance",
            )
        )
    worst = max(geometry.weighed, key=lambda w: abs(w.error_percent))
    if abs(worst.error_percent) > 3.0:
        out.append(
            Warned(
                "rounding",
                f"{worst.name} is rounded to {spec.voice.mass(worst.g)}, {worst.error_percent:+.1f} %",
                CP,
            )
        )
    if not 8.0 <= spec.trim_percent <= 15.0:
        out.append(
            Warned(
                "trim",
                f"a trim of {spec.trim_percent:g} % is outside 8 to 15 %; two public recipes lose 12 %",
                "two published recipes",
            )
        )
    if heat_note := _uncalibrated(spec):
        out.append(heat_note)
    return out


def _oven(spec: BatchSpec) -> list[Warned]:
    out, k, deg = [], spec.kitchen, spec.voice.temperature
    low_c, high_c = OVEN_C[spec.kind][0]
    if not low_c <= k.oven_c <= high_c:
        hot = k.oven_c > high_c
        text = f"kitchen.oven.temperature: {deg(k.oven_c)}; usual is {deg(low_c)} to {deg(high_c)}: " + (
            "the outside burns before the core is baked" if hot else "the butter runs before it sets"
        )
        out.append(Warned("oven", text, CP))
    low_s, high_s = BAKE_S[spec.kind][0]
    if not low_s <= spec.bake_s <= high_s:
        text = (
            f"bake: {span(spec.bake_s)} a load; usual is {span(low_s)} to {span(high_s)}: "
            f"go by the colour, and by a core of {deg(93.0)} or more"
        )
        out.append(Warned("bake", text, CP))
    return out


def _uncalibrated(spec: BatchSpec) -> Warned | None:
    from tourier.craft.butter import profile

    caution = profile(spec.butter.profile).caution
    return Warned("butter-uncalibrated", caution, CP) if caution else None


def _layers(spec: BatchSpec, geometry: Geometry) -> list[Warned]:
    out, said = [], spec.voice
    final = geometry.patons[0].stages[-1]
    fat_um, layer = final.fat_layer_m * 1e6, said.layer(final.fat_layer_m)
    # The two published figures do not agree at 3 to 4 mm: 27 layers come to about 40 µm. Only who misses both is told,
    # and not who makes a 3-fold and a 4-fold, 12 layers: usual in the trade, common practice, no source.
    if spec.kind == "leavened" and not 90.0 <= fat_um <= 220.0 and not 12 <= final.fat_layers <= 32:
        out.append(
            Warned(
                "fat-layer",
                f"{final.fat_layers} fat layers of {layer} in the final sheet; published croissants have 18 to 32 "
                f"layers (12 are usual too), or layers of {said.layer(1e-4)} to {said.layer(2e-4)}: "
                + (
                    "a 3-fold in place of a 4-fold, or one fold less, keeps them thicker; thin ones make the crumb "
                    "finer, more like bread"
                    if final.fat_layers > 32
                    else "one fold more makes them thinner"
                ),
                "Macias Rodriguez & Marangoni 2018, Physics Today 71(1):70",
            )
        )
    if fat_um < 25.0 and spec.kind == "leavened":
        out.append(Warned("fat-layer-thin", f"fat layers of {layer} risk breaking up", CP + " (a guess)"))
    # A study went from 50 to 200; cookery books roll six 3-folds, 729. Only who is outside both is told.
    if spec.kind == "puff" and not 50 <= final.fat_layers <= 729:
        out.append(
            Warned(
                "layers",
                f"{final.fat_layers} fat layers are outside the 50 to 729 of published puff: "
                + ("add a fold" if final.fat_layers < 50 else "leave out a fold, the layers run into each other"),
                "Silow et al. 2017, Foods 6(2):15 (50 to 200); Leiths puff pastry (six 3-folds, 729)",
            )
        )
    thin = [
        s
        for s in geometry.patons[0].stages
        if s.step.endswith("rolled") and s.thickness_m < sheets.MIN_BETWEEN_M - 5e-5
    ]
    for stage in thin:
        out.append(
            Warned(
                "sheet-thin",
                f"{stage.step}: {said.thickness(stage.thickness_m)}; not thinner than {said.thickness(0.008)} between "
                "folds",
                "a published recipe",
            )
        )
    for stage in geometry.patons[0].stages:
        if not stage.step.endswith("rolled") or stage.length_m >= 2.0 * stage.width_m:
            continue
        if stage.roll_to_m > spec.kitchen.bench_length_m - 0.005:
            text = (
                f"{stage.step}: the bench of {said.length(spec.kitchen.bench_length_m)} lets the sheet rest at "
                f"only {said.length(stage.length_m)}, less than twice its width; it folds into a thick packet"
            )
            out.append(Warned("bench-short", text, CP))
        else:
            text = (
                f"{stage.step}: {said.length(stage.length_m)} long and {said.length(stage.width_m)} wide makes a thick "
                "packet; a longer sheet folds better"
            )
            out.append(Warned("sheet-short", text, CP))
        break
    return out


def _kitchen(spec: BatchSpec, heat: KitchenHeat) -> list[Warned]:
    k, out, deg = spec.kitchen, [], spec.voice.temperature
    if k.room_c > 24.0:
        out.append(
            Warned(
                "room-warm",
                f"the room is {deg(k.room_c)}; above about {deg(24)} the butter leaves its window "
                "in minutes: chill the bench, work in short sittings",
                CP,
            )
        )
    if k.room_c > heat.butter.stop_high_c + 8.0:
        out.append(
            Warned("room-hot", "in a room this warm any pause longer than a few minutes belongs in the fridge", CP)
        )
    dew = dewpoint.dew_point_c(k.room_c, k.humidity_pct / 100.0)
    if k.ice_bench and dew > 12.0:
        out.append(
            Warned(
                "sweat",
                f"a bench colder than {deg(dew)} sweats in this air; wipe it dry and dust it",
                "Magnus formula, Alduchov & Eskridge 1996",
            )
        )
    if spec.kind == "leavened" and heat.proof_air_c > heat.proof_cap_c:
        out.append(
            Warned(
                "proof-warm",
                f"proof air of {deg(heat.proof_air_c)} is above {deg(heat.proof_cap_c)}, "
                "where butter may run out; the plan is worked out with the lower",
                "IREKS compendium 11.5",
            )
        )
    if k.fridge_c > 5.0:
        out.append(
            Warned(
                "fridge",
                f"the fridge is {deg(k.fridge_c)}; many rules want {deg(5)} or colder for dough with milk or "
                "egg: follow your local rules",
                "FDA Food Code 3-501.16",
            )
        )
    return out


def _heat(spec: BatchSpec, geometry: Geometry, heat: KitchenHeat) -> list[Warned]:
    """What the heat model has to say about lock-in and bench."""
    out, deg = [], spec.voice.temperature
    dough_c, right_c = heat.lock_in_dough_c, heat.dough_lock_in_c
    after = heat.rehardening().butter_after_5_min_c.usual
    if dough_c < right_c - 5.0:
        wish = span(spec.folds.dough_chill_s or 0)
        text = (
            f"{wish} in the freezer takes the dough's core to about {deg(dough_c)}, and the butter to "
            f"{deg(after)} 5 min after the lock-in; take the dough out near {deg(right_c)}"
        )
        out.append(Warned("dough-freezer", text, "heat model with ice, and published practice"))
    elif after < heat.butter.stop_low_c:
        text = (
            f"dough at {deg(dough_c)} takes the butter from {deg(heat.window_mid_c)} to "
            f"{deg(after)} within 5 min of the lock-in, where it breaks: fold at once"
        )
        out.append(Warned("reharden", text, "heat model, and published practice"))
    if note := _cold_rest(spec, heat, geometry):
        out.append(note)
    stages = geometry.patons[0].stages
    for before, after_stage in zip(stages, stages[1:], strict=False):
        if not after_stage.passes:
            continue
        iced = spec.kitchen.ice_bench
        stay = heat.bench_s(before.thickness_m, after_stage.thickness_m, iced)
        work = heat.work_s(after_stage.passes)
        if stay < work:
            out.append(
                Warned(
                    "bench-time",
                    f"{after_stage.step}: the butter can be worked for about {span(stay)} on this bench, the "
                    f"work takes about {span(work)}; "
                    + ("work in two sittings" if iced else "ice the bench or work in two sittings"),
                    "heat model, usual coefficients",
                )
            )
            break
    return out


def _cold_rest(spec: BatchSpec, heat: KitchenHeat, geometry: Geometry) -> Warned | None:
    """A rest as long as the file wishes that leaves the butter too cold to roll."""
    deg = spec.voice.temperature
    wish, thick = spec.folds.rest_s, geometry.patons[0].stages[-2].thickness_m
    if wish is None:
        return None
    end_c = heat.rested_c(thick, heat.rest_core_c, wish)
    if end_c >= heat.butter.stop_low_c:
        return None
    text = (
        f"{span(wish)} in the {spec.folds.rest_place} take the core to about {deg(end_c)}, and this "
        f"butter breaks below {deg(heat.butter.stop_low_c)}: roll when the timer says the core is right, or let "
        "the pâton stand a few minutes"
    )
    return Warned("rest-cold", text, "heat model, usual coefficients, and published practice")


def _safety(spec: BatchSpec, heat: KitchenHeat) -> list[Warned]:
    out = [
        Warned(
            "raw-dough",
            "raw flour and egg can carry germs: do not taste raw dough; wash hands, probe and bench",
            "FDA and CDC notices",
        )
    ]
    perishable = any(
        line.kind in ("milk", "skim milk", "cream", "egg", "egg yolk", "egg white") for line in spec.formula
    )
    hours = heat.proof().ideal_s / 3600 if spec.kind == "leavened" else 0.0
    if perishable and hours > 2.0:
        out.append(
            Warned(
                "time-warm",
                f"dough with milk or egg proofs about {span(round(hours * 12) * 300)} warm, more than the 2 h "
                "home rule for perishable food: bake it through afterwards; local rules decide, this program does not",
                "USDA/FDA notices; FDA Food Code 3-501.19",
            )
        )
    out.append(Warned("egg-wash", "throw away egg wash that has stood out for more than 2 h", "USDA/FDA notices"))
    return out
