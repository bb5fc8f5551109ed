"""`tourier plan`: a batch file worked out and counted back from its hour."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from tourier.cli.common import plan_file
from tourier.cli.output import Output
from tourier.plantext import cut_lines, formula_lines, sheet_lines, timetable_lines

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
        from tourier.plantext import cut_map_svg

        Path(args.cut_map).write_text(cut_map_svg(day.workup), encoding="utf-8")
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
    pieces = ", ".join(f"{piece.count} x {piece.name}" for piece in spec.pieces)
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


def show_reasons(out: Output, work: Workup) -> None:
    """Print how every step's limits were found."""
    out.heading("How the limits were found")
    for process in work.process:
        out.line(
            f"{process.name}: {process.min_s // 60} to {process.max_s // 60} min, best {process.ideal_s // 60} min. "
            f"{process.why}"
        )
