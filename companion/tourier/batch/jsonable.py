"""A worked-out batch as plain data for `tourier plan --json`: batch, formula, layers, sheets, cuts, warnings."""

from __future__ import annotations

from tourier.batch.model import Workup

SCHEMA = "tourier/plan/1"


def workup_json(workup: Workup) -> dict:
    """The keys of a plan that the batch alone decides; lengths in mm, layer thickness in µm, percent as numbers."""
    spec = workup.spec
    cut = workup.cuts
    return {
        "batch": {
            "name": spec.name,
            "kind": spec.kind,
            "ready": spec.wished_at.isoformat(),
            "zone": spec.zone,
            "units": spec.units,
            "kitchen": spec.kitchen.name,
            "butter": spec.butter.profile,
            "folds": list(spec.folds.folds),
            "patons": workup.patons,
            "lock_in": spec.butter.lock_in,
            "butter_block_mm": [_mm(workup.block[k]) for k in ("length_m", "width_m", "thickness_m")],
            "dough_sheet_mm": [_mm(workup.block[k]) for k in ("dough_length_m", "dough_width_m", "dough_thickness_m")],
        },
        "formula": {
            "lines": [
                {"name": x.name, "g": x.g, "percent_of_flour": x.percent_of_flour,
                 "rounding_g": round(x.g - x.exact_g, 2)}
                for x in workup.lines
            ],
            "patons": [dict(row) for row in workup.patons_g],
            "dough_g": workup.dough_g,
            "butter_block_g": workup.butter_block_g,
            "roll_in_percent_of_dough": round(workup.roll_in_percent_of_dough, 2),
            "roll_in_percent_of_flour": round(workup.roll_in_percent_of_flour, 2),
            "water_temp_c": None if workup.water_temp_c is None else round(workup.water_temp_c, 1),
            "water_three_factor_rule_c": None if workup.water_rule_c is None else round(workup.water_rule_c, 1),
            "ice_g": round(workup.ice_g),
            "water_name": workup.water_name,
        },
        "layers": [dict(row) for row in workup.layers],
        "sheets": [
            {
                "step": s.step,
                "paton": s.paton,
                "length_mm": _mm(s.length_m),
                "width_mm": _mm(s.width_m),
                "thickness_mm": round(s.thickness_m * 1000.0, 2),
                "fat_layer_um": round(s.fat_layer_m * 1e6, 1),
                "dough_layer_um": round(s.dough_layer_m * 1e6, 1),
                "fat_layers": s.fat_layers,
                "roll_to_mm": _mm(s.roll_to_m),
                "passes": s.passes,
            }
            for s in workup.stages
        ],
        "cuts": {
            "pieces": cut["pieces"],
            "offcut_percent": round(cut["offcut_percent"], 2),
            "trim_percent": cut["trim_percent"],
            "marks_mm": cut["marks_mm"],
            "marks_inch_16": cut["marks_inch"],
            "sheets_mm": [
                {"paton": s["paton"], "length_mm": _mm(s["length_m"]), "width_mm": _mm(s["width_m"]),
                 "trim_edge_mm": _mm(s["edge_m"]),
                 "strips": "across the bench" if s["layout"].across_bench else "along the bench"}
                for s in cut["sheets"]
            ],
        },
        "warnings": [{"code": w.code, "text": w.text, "why": w.why} for w in workup.warnings],
        "later": [
            {"key": s.key, "name": s.name, "min_s": s.min_s, "ideal_s": s.ideal_s, "max_s": s.max_s}
            for s in workup.later
        ],
    }  # fmt: skip


def _mm(metres: float) -> float:
    return round(metres * 1000.0, 1)
