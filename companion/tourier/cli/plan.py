"""`tourier plan`: a batch file worked out and counted back from its hour."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING

from tourier.cli.common import batch_text, design_file, lessons
from tourier.cli.output import Output
from tourier.cli.run import UserError
from tourier.files import save, told_apart
from tourier.plantext import cut_lines, formula_lines, rise_lines, sheet_lines, timetable_lines
from tourier.voice import span

if TYPE_CHECKING:
    from tourier.batch.model import Warned, Workup
    from tourier.dayplan.model import DayPlan
    from tourier.design import Design


def run(args: argparse.Namespace, out: Output) -> int:
    """Plan, print, and write what the options name."""
    if len(args.batch) > 1:
        return run_shared(args, out)
    if wrong := told_apart(args.batch, [args.ics, args.card, args.cut_map, args.write]):
        raise UserError(wrong)
    made = design_file(args.batch[0], datetime.now(UTC), out, args.logbook)
    day = made.day
    written = write_files(args, made)
    from tourier.dayplan.jsonable import plan_json

    out.result(plan_json(day))
    show_plan(out, day, args.table)
    if made.known.values:
        from tourier import known

        out.heading("What your batches taught this plan")
        out.lines(known.lines(made.known.values, day.spec.voice))
    if args.checks:
        show_reasons(out, day.workup)
    for file in written:
        out.line(f"Written: {file}")
    return 0


def run_shared(args: argparse.Namespace, out: Output) -> int:
    """Plan several batch files as one day of one cook, print, and write the calendar when asked."""
    from tourier.dayplan.jsonable import plan_json
    from tourier.design import shared_day

    for option, file in (("--card", args.card), ("--cut-map", args.cut_map), ("--write", args.write)):
        if file:
            raise UserError(f"{option} takes one batch at a time; for a day of several batches there is --ics.")
    if wrong := told_apart(args.batch, [args.ics]):
        raise UserError(wrong)
    made = shared_day([batch_text(name) for name in args.batch], datetime.now(UTC), lessons(args.logbook), out.progress)
    day = made.day
    if args.ics:
        from tourier.dayplan.ical import calendar

        save(args.ics, calendar(day))
    out.result(plan_json(day))
    for number, draft in enumerate(made.drafts, 1):
        _show_batch(out, draft.workup, f"{number}. ")
        out.line(f"Asked for {day.wished[number - 1]:%A %d %B, %H:%M}. Kitchen: {draft.spec.kitchen.name}.")
        _show_work(out, draft.workup)
    _show_clock(out, day.numbered, args.table)
    _show_warnings(out, [w for d in made.drafts for w in d.workup.warnings], day)
    for number, draft in enumerate(made.drafts, 1):
        if draft.known.values:
            from tourier import known

            out.heading(f"What your batches taught this plan: {number}. {draft.spec.name}")
            out.lines(known.lines(draft.known.values, draft.spec.voice))
        if args.checks:
            out.heading(f"{number}. {draft.spec.name}")
            show_reasons(out, draft.workup)
    if args.ics:
        out.line(f"Written: {args.ics}")
    return 0


def write_files(args: argparse.Namespace, made: Design) -> list[Path]:
    """Write calendar, bench card, cut map and plan bytes as asked; return the files."""
    written = []
    if args.ics:
        from tourier.dayplan.ical import calendar

        written.append(save(args.ics, calendar(made.day)))
    if args.card:
        from tourier.dayplan.card import card_html

        written.append(save(args.card, card_html(made.day)))
    if args.cut_map:
        from tourier.plantext import cut_map_svg

        written.append(save(args.cut_map, cut_map_svg(made.workup)))
    if args.write:
        written.append(save(args.write, made.data))
    return written


def show_plan(out: Output, day: DayPlan, table: bool = True) -> None:
    """Print a plan the way a cook reads it: what, masses, sheets, cuts, timetable, warnings."""
    work, spec = day.workup, day.spec
    _show_batch(out, work)
    from tourier.dayplan.words import asked_words

    out.line(f"Ready {day.planned_at:%A %d %B, %H:%M}{asked_words(day)}.")
    out.line(f"{work.patons} pâton{'s' if work.patons > 1 else ''}. Kitchen: {spec.kitchen.name}.")
    _show_work(out, work)
    _show_clock(out, day, table)
    _show_warnings(out, work.warnings, day)


def _show_batch(out: Output, work: Workup, number: str = "") -> None:
    pieces = ", ".join(f"{piece.count} x {piece.name}" for piece in work.spec.pieces)
    out.heading(f"{number}{work.spec.name}: {pieces}")


def _show_work(out: Output, work: Workup) -> None:
    out.heading("Formula")
    out.lines(formula_lines(work))
    out.heading("Sheets")
    out.lines(sheet_lines(work))
    out.heading("Cuts")
    out.lines(cut_lines(work))


def _show_clock(out: Output, day: DayPlan, table: bool) -> None:
    out.heading("Timetable")
    from tourier.dayplan.draw import timeline

    out.lines(timeline(day, min(out.width, 120)))
    out.line()
    if table:
        out.lines(timetable_lines(day))
    else:
        out.line("End, time to spare and place of every step: --table")
    if day.chance is not None:
        out.line()
        out.line(f"Chance to be ready {_by_asked(day)}: {round(day.chance.ready_by * 100)} % (from simulated days).")
    if lines := rise_lines(day):
        out.heading("Rise")
        out.lines(lines)


def _show_warnings(out: Output, warnings: Sequence[Warned], day: DayPlan) -> None:
    if warnings or day.warnings:
        out.heading("Warnings")
        notes = dict.fromkeys([*(f"{warning.text} ({warning.why})" for warning in warnings), *day.warnings])
        for note in notes:
            out.lines(wrap(note, max(40, min(out.width, 120) - 1), initial_indent="- ", subsequent_indent="  "))


def _by_asked(day: DayPlan) -> str:
    return f"by {day.wished[0]:%H:%M}, the hour you asked for" if len(day.wished) == 1 else "by the hours asked for"


def show_reasons(out: Output, work: Workup) -> None:
    """Print how every step's limits were found."""
    out.heading("How the limits were found")
    for process in work.process:
        out.line(
            f"{process.name}: {span(process.min_s)} to {span(process.max_s)}, best {span(process.ideal_s)}. "
            f"{process.why}"
        )
