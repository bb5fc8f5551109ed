"""`tourier learn`: what the batches teach about fridge, freezer, bench, mixer, proof and butter."""

from __future__ import annotations

import argparse
from dataclasses import asdict

from tourier.cli.output import Output
from tourier.cli.review import open_book


def run(args: argparse.Namespace, out: Output) -> int:
    """Fit anew and put in force, or take one value back."""
    from tourier import known
    from tourier.logbook.learning import ledger
    from tourier.logbook.learning.learn import learn

    with open_book(args) as book:
        if args.forget:
            gone = ledger.forget(book, args.forget)
            out.result({"schema": "tourier/learn/1", "taken_back": [asdict(value) for value in gone]})
            out.line("Taken back; the next plan does without (or with the value before it):")
            out.lines(known.lines(gone))
            return 0
        out.progress("Reading the logs")
        found = learn(book)
        out.result({
            "schema": "tourier/learn/1", "learned": [asdict(value) for value in found.proposals],
            "refused": [asdict(refusal) for refusal in found.refusals],
        })  # fmt: skip
    out.heading("Learned, and used by the next plan")
    out.lines(known.lines(found.proposals) or ["nothing yet"])
    out.heading("What the logs cannot tell")
    out.lines([f"{r.subject}, {known.words(r.quantity)}: {r.sentence}" for r in found.refusals] or ["nothing"])
    out.line()
    out.line("Take one back: tourier learn --forget NAME, the name that stands in [ ] after it")
    return 0
