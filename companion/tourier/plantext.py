"""A plan in lines of plain text: formula, sheets, cuts, timetable. Command line and desk application share them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tourier.columns import table

if TYPE_CHECKING:
    from tourier.batch.model import Workup
    from tourier.dayplan.model import DayPlan


def _length(metres: float, inch: bool) -> str:
    from tourier.quantities import length_text

    return length_text(metres, "in" if inch else "cm")


def _mass(gram: float, inch: bool) -> str:
    text = f"{gram:.1f} g" if gram < 100 and gram % 1 else f"{gram:.0f} g"
    return f"{text} ({gram / 28.349523125:.2f} oz)" if inch else text


def formula_lines(work: Workup, inch: bool) -> list[str]:
    """Return the scaled formula, the block and the water."""
    rows = [["ingredient", "mass", "% of flour"]]
    rows += [[line.name, _mass(line.g, inch), f"{line.percent_of_flour:.1f}"] for line in work.lines]
    rows.append(["détrempe", _mass(work.dough_g, inch), ""])
    rows.append(["butter for the block", _mass(work.butter_block_g, inch), f"{work.roll_in_percent_of_flour:.1f}"])
    lines = table(rows, frozenset({1, 2}))
    lines.append(
        f"Roll-in: {work.roll_in_percent_of_dough:.1f} % of dough, {work.roll_in_percent_of_flour:.1f} % of flour."
    )
    if work.water_temp_c is not None:
        ice = f" with {work.ice_g:.0f} g of it as ice" if work.ice_g >= 1 else ""
        rule = f" (three-factor rule: {work.water_rule_c:.0f} °C)" if work.water_rule_c is not None else ""
        lines.append(f"Water at {work.water_temp_c:.0f} °C{ice} for dough at {work.spec.dough_temp_c:.0f} °C{rule}.")
    return lines


def sheet_lines(work: Workup, inch: bool) -> list[str]:
    """Return sizes and layers stage by stage, for the first pâton (the others are alike)."""
    rows = [["stage", "length", "width", "thick", "fat layers", "one fat layer"]]
    for stage in work.stages:
        if stage.paton != 1:
            continue
        fat = f"{stage.fat_layer_m * 1e6:.0f} µm" if stage.fat_layer_m else ""
        rows.append([
            stage.step, _length(stage.length_m, inch), _length(stage.width_m, inch),
            f"{stage.thickness_m * 1000:.1f} mm", str(stage.fat_layers or ""), fat,
        ])  # fmt: skip
    return table(rows, frozenset({1, 2, 3, 4, 5}))


def cut_lines(work: Workup) -> list[str]:
    """Return the cut map of the first pâton and its ruler marks."""
    from tourier.craft import cutmap

    layout = work.cuts["layout"]
    if layout is None:
        return ["Nothing is cut."]
    return [
        *cutmap.cells(layout), *cutmap.legend(layout),
        f"Offcut {work.cuts['offcut_percent']:.1f} % of the rolled sheet, trimmed edges included.",
    ]  # fmt: skip


def timetable_lines(day: DayPlan) -> list[str]:
    """Return the steps by the clock: start, end, hands-on, slack, place."""
    from shared_schedule import plan as wire

    rows = [["start", "end", "hands on", "slack", "step", "where"]]
    many = day.workup.patons > 1
    for step in day.steps:
        process = step.process
        paton = f", pâton {process.paton}" if many and process.paton else ""
        hands = f"{process.attended_s // 60} min" if process.attended_s else ""
        rows.append([
            step.start.strftime("%a %H:%M"), step.end.strftime("%a %H:%M"), hands, f"{step.slack_s // 60} min",
            process.name + paton, wire.PLACE_WORDS[process.place],
        ])  # fmt: skip
    return table(rows, frozenset({2, 3}))
