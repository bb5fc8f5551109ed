"""A batch worked out: masses, sheets, cuts, steps, warnings. What `tourier plan` prints, before the clock."""

from __future__ import annotations

from dataclasses import replace

from shared_schedule.plan import MAX_STEPS
from tourier.batch.geometry import Geometry, Unworkable, lay_out
from tourier.batch.kitchenheat import KitchenHeat
from tourier.batch.model import BatchSpec, MassLine, SheetStage, Workup
from tourier.batch.process import later, process
from tourier.batch.rising import Rising
from tourier.batch.thermal import device_fields, water
from tourier.batch.warn import warnings
from tourier.craft import cuts, sheets
from tourier.known import Known, at
from tourier.voice import sixteenths

__all__ = ["Unworkable", "work_up"]


def work_up(spec: BatchSpec, known: Known) -> Workup:
    """Work a batch out with what is known of its kitchen and butter; the Workup's `spec` has the learned air in it.

    Raises Unworkable with one sentence and the limiting quantity.
    """
    fridge_c, freezer_c = at(known.fridge_c, spec.kitchen.fridge_c), at(known.freezer_c, spec.kitchen.freezer_c)
    spec = replace(spec, kitchen=replace(spec.kitchen, fridge_c=fridge_c, freezer_c=freezer_c))
    geometry = lay_out(spec)
    heat = KitchenHeat(spec, geometry, known)
    steps = process(spec, geometry, heat)
    if len(steps) > MAX_STEPS:
        raise Unworkable(
            f"{len(geometry.patons)} pâtons make {len(steps)} steps; the timer holds at most {MAX_STEPS}: make fewer "
            "pieces, or two batches", "steps",
        )  # fmt: skip
    wet = water(spec, geometry, known)
    first = geometry.patons[0]
    return Workup(
        spec=spec,
        lines=tuple(MassLine(w.name, w.g, w.percent_of_flour, w.exact_g) for w in geometry.weighed),
        dough_g=round(sum(w.g for w in geometry.weighed), 1),
        butter_block_g=round(geometry.butter_kg * 1000.0),
        roll_in_percent_of_dough=geometry.of_dough,
        roll_in_percent_of_flour=geometry.of_flour,
        water_temp_c=wet.water_c,
        ice_g=wet.ice_g,
        water_name=wet.name,
        water_rule_c=wet.rule_c,
        patons=len(geometry.patons),
        block={
            "length_m": first.block.length_m,
            "width_m": first.block.width_m,
            "thickness_m": first.block.thickness_m,
            "mass_kg": first.split.butter_kg,
            "dough_length_m": first.block.dough_length_m,
            "dough_width_m": first.block.dough_width_m,
            "dough_thickness_m": first.block.dough_thickness_m,
            "lock_in": first.block.lock_in,
        },
        stages=tuple(_stages(geometry)),
        cuts=_cuts(spec, geometry),
        process=steps,
        device=device_fields(spec, heat),
        warnings=warnings(spec, geometry, heat, wet),
        layers=tuple(
            {"after": row.after, "fat": row.fat, "dough": row.dough, "total": row.total, "naive": row.naive}
            for row in sheets.layers(spec.folds.folds)
        ),
        patons_g=tuple(
            {"paton": p.number, "dough_g": round(p.split.dough_kg * 1000), "butter_g": round(p.split.butter_kg * 1000),
             "pieces": sum(p.counts)}
            for p in geometry.patons
        ),
        later=later(spec, heat),
        rising=Rising(heat),
    )


def _stages(geometry: Geometry):
    for paton in geometry.patons:
        block = paton.block
        yield SheetStage("butter block", paton.number, block.length_m, block.width_m, block.thickness_m,
                         block.thickness_m, 0.0, 1, 0, 1)  # fmt: skip
        yield SheetStage("dough sheet", paton.number, block.dough_length_m, block.dough_width_m,
                         block.dough_thickness_m, 0.0, block.dough_thickness_m, 0, 1, 1)  # fmt: skip
        for stage in paton.stages:
            fat = stage.fat_layers
            yield SheetStage(stage.step, paton.number, stage.length_m, stage.width_m, stage.thickness_m,
                             stage.fat_layer_m, stage.dough_layer_m, fat, fat + 1, 3 * fat, stage.passes,
                             stage.roll_to_m)  # fmt: skip


def _cuts(spec: BatchSpec, geometry: Geometry) -> dict:
    """What is cut: pieces promised and cut, offcut, and one entry a pâton with its marks in mm and 1/16 inch."""
    rolled = sum(p.final[0] * p.final[1] for p in geometry.patons)
    used = sum(p.layout.pieces_area_m2 for p in geometry.patons)
    pieces = []
    for index, wish in enumerate(spec.pieces):
        cut = sum(
            strip.count for p in geometry.patons for strip in p.layout.strips if strip.index == _index_in(p, index)
        )
        mass = (wish.base_m * wish.height_m * (0.5 if wish.shape == "triangle" else 1.0) * wish.thickness_m
                * geometry.laminate_kg_m3)  # fmt: skip
        pieces.append({"name": wish.name, "count": wish.count, "cut": cut, "shape": wish.shape,
                       "piece_g": round(mass * 1000.0, 1), "freeze": wish.freeze_raw})  # fmt: skip
    sheets_out, mm, inch = [], [], []
    for p in geometry.patons:
        found = cuts.marks(p.layout)
        mm.append([{"strip": m.strip, "edge": m.edge, "at": [round(x * 1000, 1) for x in m.at_m]} for m in found])
        inch.append([{"strip": m.strip, "edge": m.edge, "at_16": [sixteenths(x) for x in m.at_m]} for m in found])
        sheets_out.append({
            "paton": p.number, "length_m": p.final[0], "width_m": p.final[1], "thickness_m": p.final[2],
            "edge_m": p.edge_m, "layout": p.layout,
        })  # fmt: skip
    return {
        "pieces": pieces,
        "offcut_percent": (1.0 - used / rolled) * 100.0,
        "trim_percent": spec.trim_percent,
        "marks_mm": mm,
        "marks_inch": inch,
        "sheets": sheets_out,
        "sheet_length_m": geometry.patons[0].final[0],
        "sheet_width_m": geometry.patons[0].final[1],
        "layout": geometry.patons[0].layout,
    }


def _index_in(paton, index: int) -> int:
    """Index of a wish among the shapes of one pâton's layout (wishes it gives none of are left out there)."""
    if not paton.counts[index]:
        return -1
    return sum(1 for count in paton.counts[:index] if count)
