"""`tourier review`: what happened in a batch, which fold went wrong, and the one thing to change."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from tourier.cli.logbook import batch_number, book_file, open_book
from tourier.cli.output import Output
from tourier.cli.run import UserError
from tourier.files import save, told_apart

if TYPE_CHECKING:
    from tourier.logbook.record.model import Batch


def run(args: argparse.Namespace, out: Output) -> int:
    """Review one batch and write what was asked for."""
    from tourier.logbook.findings import knowledge

    if args.symptoms:
        out.result(dict(knowledge.SYMPTOMS))
        out.lines(f"{key:18} {text}" for key, text in knowledge.SYMPTOMS.items())
        return 0
    if wrong := told_apart([book_file(args)], [args.html, args.csv, args.log]):
        raise UserError(wrong)
    with open_book(args) as book:
        batch = book.load(batch_number(args.batch) if args.batch else book.newest())
    from tourier.logbook.findings.review import review
    from tourier.logbook.record.model import Outcome
    from tourier.logbook.reports.json import review_dict

    outcome = Outcome(symptoms=tuple(args.saw)) if args.saw else None
    found = review(batch, outcome)
    out.result(review_dict(found))
    show_review(out, batch, found)
    for file in write_reports(args, batch, found):
        out.line(f"Written: {file}")
    return 0


def show_review(out: Output, batch: Batch, found) -> None:
    """Print a review: curve, findings, what happened, warnings, caution."""
    from tourier.logbook.reports import prose

    out.heading(f"Batch {batch.id}: {batch.name}")
    out.lines(curve_lines(batch, min(out.width, 120)))
    out.heading("Findings")
    out.lines(prose.finding_lines(found))
    out.heading("What happened")
    out.lines(prose.happened_lines(found.account))
    out.heading("Warnings of the timer")
    out.lines(prose.alarm_lines(found.account) or ["none"])
    out.line()
    out.line(prose.CAUTION)


def curve_lines(batch: Batch, width: int, height: int = 12) -> list[str]:
    """Return dough and bench temperature over the whole batch as terminal lines, without colour."""
    import numpy as np

    from tourier.logbook.record.model import channel_title, clock_text
    from tourier.picture.decimate import extent
    from tourier.picture.raster import Band, Series, draw, scale

    samples = batch.samples
    if len(samples) < 2:
        return ["No temperatures were logged."]
    at_s = samples.at_s.astype(float)
    seen = extent(np.concatenate(list(samples.columns.values())))
    if seen is None:
        return ["No temperatures were logged."]
    low_c, high_c = seen[0] - 1, min(seen[1], 45.0) + 1
    columns = width - 5
    plan = batch.plan
    band = [Band(at_s[0], at_s[-1], plan.butter_low_cdeg / 100, plan.butter_high_cdeg / 100)]
    series = [
        Series(channel_title(one), at_s, samples.columns[one.number], dotted=one.number != 1) for one in batch.channels
    ]
    drawn = draw(series, band, at_s[0], at_s[-1] + 1, low_c, high_c, columns, height)
    labels = scale(batch.voice.shown(low_c), batch.voice.shown(high_c), height)
    lines = [label.rjust(4) + "│" + "".join(row) for label, row in zip(labels, drawn.chars, strict=True)]
    axis = [" "] * columns
    for column in range(0, columns - 9, 16):
        text = clock_text(plan, at_s[0] + column / columns * (at_s[-1] - at_s[0]))
        axis[column : column + len(text)] = text
    lines.append("     " + "".join(axis))
    lines.append("     dough: solid   bench: dotted   butter's window: between the rules")
    return lines


def write_reports(args: argparse.Namespace, batch: Batch, found) -> list[Path]:
    """Write the files the options name; return them."""
    written = []
    if args.html:
        from tourier.logbook.reports.html import report_html

        written.append(save(args.html, report_html(found)))
    if args.csv:
        from tourier.logbook.reports.csv import samples_csv, steps_csv

        file = Path(args.csv)
        steps = file.with_name(f"{file.stem}-steps{file.suffix}")
        written += [save(file, samples_csv(found.account)), save(steps, steps_csv(found.account))]
    if args.log:
        from tourier.logbook.record import openlog

        written.append(save(args.log, "".join(openlog.write(batch))))
    return written
