"""`tourier outcome`: write down how a batch came out."""

from __future__ import annotations

import argparse
from pathlib import Path

from tourier.cli.output import Output
from tourier.cli.review import batch_number, open_book
from tourier.cli.run import UserError


def run(args: argparse.Namespace, out: Output) -> int:
    """Keep symptoms, rating, note and photo path with the batch; what is left out stays as it was."""
    from tourier.logbook.findings import knowledge
    from tourier.logbook.record.model import Outcome

    unknown = [key for key in args.saw if key not in knowledge.SYMPTOMS]
    if unknown:
        raise UserError(f"{unknown[0]} is no symptom of the table; tourier review --symptoms lists them.")
    if args.rating is not None and not 1 <= args.rating <= 5:
        raise UserError(f"A rating is 1 (bad) to 5 (good), not {args.rating}.")
    photo = ""
    if args.photo:
        if not Path(args.photo).is_file():
            raise UserError(f"There is no photo {args.photo}; check the name.")
        photo = str(Path(args.photo).resolve())
    number = batch_number(args.batch)
    with open_book(args) as book:
        before = book.load(number).outcome or Outcome()
        kept = Outcome(
            symptoms=tuple(args.saw) or before.symptoms,
            rating=args.rating if args.rating is not None else before.rating,
            photo=photo or before.photo,
            note=args.note if args.note is not None else before.note,
        )
        book.set_outcome(number, kept)
    out.result({"schema": "tourier/outcome/1", "batch": number, "symptoms": list(kept.symptoms),
                "rating": kept.rating, "photo": kept.photo, "note": kept.note})  # fmt: skip
    out.line(f"Kept with batch {number}. Next: tourier review {number}")
    return 0
