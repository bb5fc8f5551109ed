"""`tourier plan`: a batch file worked out and counted back from its hour."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from tourier.cli.common import plan_file
from tourier.cli.output import Output, table

if TYPE_CHECKING:
    from tourier.batch.model import Workup
    from tourier.dayplan.model import DayPlan


def run(args: argparse.Namespace, out: Output) -> int:
    """Plan, print, and write what the options name."""
    planned = plan_file(args.batch, datetime.now(UTC), out, args.logbook)
    day = planned.day
    written = write_files(args, day)
    from tourier.dayplan.jsonable import plan_json

    out.result(plan_json(day))
    show_plan(out, day)
    if planned.taught:
        from tourier.planning import taught_lines

        out.heading("What your batches taught this plan")
        out.lines(taught_lines(planned.taught))
    if args.checks:
        show_reasons(out, day.workup)
    for file in written:
        out.line(f"Written: {file}")
    return 0


def write_files(args: argparse.Namespace, day: DayPlan) -> list[Path]:
    """Write calendar, bench card, cut map and plan bytes as asked; return the files."""
    written = []
    if args.ics:
        from tourier.dayplan.ical import calendar

        Path(args.ics).write_bytes(calendar(day))
        written.append(Path(args.ics))
    if args.card:
        from tourier.dayplan.card import card_html

        Path(args.card).write_text(card_html(day), encoding="utf-8")
        written.append(Path(args.card))
    if args.cut_map:
        from tourier.craft import cutmap

        Path(args.cut_map).write_text(cutmap.svg(day.workup.cuts["layout"]), encoding="utf-8")
        written.append(Path(args.cut_map))
    if args.write:
        from shared_schedule import plan as wire
        from tourier.dayplan.device import to_device

        Path(args.write).write_bytes(wire.encode(to_device(day)))
        written.append(Path(args.write))
    return written


def show_plan(out: Output, day: DayPlan) -> None:
    """Print a plan the way a cook reads it: what, masses, sheets, cuts, timetable, warnings."""
    work, spec = day.workup, day.spec
    inch = spec.units == "inch"
    pieces = ", ".join(f"{piece.count} {piece.name}" for piece in spec.pieces)
    out.heading(f"{spec.name}: {pieces}")
    out.line(f"Ready {day.ready_at.strftime('%A %d %B, %H:%M')}, {work.patons} pâton(s), {spec.kitchen.name}")
    out.heading("Formula")
    out.lines(formula_lines(work, inch))
    out.heading("Sheets")
    out.lines(sheet_lines(work, inch))
    out.heading("Cuts")
    out.lines(cut_lines(work))
    out.heading("Timetable")
    from tourier.dayplan.draw import timeline

    out.lines(timeline(day, min(out.width, 120)))
    out.line()
    out.lines(timetable_lines(day))
    if day.chance is not None:
        out.line()
        out.line(f"Chance to be ready by the hour: {round(day.chance.ready_by * 100)} % (from simulated days).")
    if work.warnings or day.warnings:
        out.heading("Mind")
        out.lines(f"- {warning.text} ({warning.why})" for warning in work.warnings)
        out.lines(f"- {text}" for text in day.warnings)


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


def show_reasons(out: Output, work: Workup) -> None:
    """Print how every step's limits were found."""
    out.heading("How the limits were found")
    for process in work.process:
        out.line(
            f"{process.name}: {process.min_s // 60} to {process.max_s // 60} min, best {process.ideal_s // 60} min. "
            f"{process.why}"
        )
