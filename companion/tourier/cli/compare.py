"""`tourier compare`: what changed between batches, and what behaved otherwise."""

from __future__ import annotations

import argparse

from tourier.cli.output import Output, table
from tourier.cli.review import batch_number, open_book
from tourier.cli.run import UserError

FEW = 8  # rows that are seen at a glance


def run(args: argparse.Namespace, out: Output) -> int:
    """Compare the batches named, or the newest with the last good one before it."""
    from tourier.logbook.findings.compare import compare, last_good, standing_out

    with open_book(args) as book:
        if not args.batches:
            newest = book.newest()
            good = last_good(book, newest)
            if good is None:
                raise UserError(
                    f"No good batch (rated 4 or 5, nothing wrong seen) stands before batch {newest}: name two batches."
                )
            numbers = [good, newest]
        else:
            numbers = [batch_number(text) for text in args.batches]
        compared = compare([book.load(number) for number in numbers])
    out.result({
        "schema": "tourier/compare/1", "batches": numbers, "source": compared.source,
        "inputs": [{"what": change.what, "values": list(change.values)} for change in compared.inputs],
        "behaviour": [{"what": change.what, "values": list(change.values)} for change in compared.behaviour],
    })  # fmt: skip
    head = [f"batch {number}" for number in numbers]
    out.heading(f"Changed inputs (from the {compared.source})")
    _show(out, ["input", *head], compared.inputs)
    if len(compared.behaviour) > FEW:
        out.heading("Stands out most")
        _show(out, ["what", *head], standing_out(compared.behaviour))
    out.heading("Behaved otherwise, in the order of the day")
    _show(out, ["what", *head], compared.behaviour)
    return 0


def _show(out: Output, head: list[str], changes) -> None:
    if not changes:
        out.line("nothing")
        return
    out.lines(table([head, *([change.name, *change.said()] for change in changes)]))
