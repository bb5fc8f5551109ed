"""The commands that read and keep the logbook: batches, compare, learn, outcome, logbook."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from tourier.cli.output import Output, table
from tourier.cli.run import UserError
from tourier.files import unlike_a_file
from tourier.voice import METRIC, clock

if TYPE_CHECKING:
    from tourier.logbook.record.store import Logbook

_FEW = 8  # rows that are seen at a glance


def open_book(args: argparse.Namespace, must_exist: bool = True) -> Logbook:
    """Open the logbook that --logbook names, or the usual one."""
    from tourier.logbook.record.store import Logbook

    file = book_file(args)
    if must_exist and not file.exists():
        raise UserError(f"There is no logbook at {file} yet: collect a batch first (tourier collect).")
    return Logbook(file)


def book_file(args: argparse.Namespace) -> Path:
    """Return the file that --logbook names, or the usual one."""
    from tourier import places

    return Path(args.logbook) if args.logbook else places.logbook_file()


def batch_number(text: str) -> int:
    """Return a batch number a person typed."""
    if not text.isdecimal() or not 0 < int(text) < 2**31:
        raise UserError(f"{text} is no batch number; tourier batches lists them.")
    return int(text)


def batches(args: argparse.Namespace, out: Output) -> int:
    """List the batches, newest first."""
    from datetime import UTC, datetime, timedelta, timezone

    from shared_schedule.units import EPOCH_UNIX_S

    with open_book(args) as book:
        listed = book.batches()

    def day(one) -> datetime:
        zone = timezone(timedelta(minutes=one.offset_min))
        return datetime.fromtimestamp(EPOCH_UNIX_S + one.begun_at_s, UTC).astimezone(zone)

    out.result({
        "schema": "tourier/batches/1",
        "batches": [
            {"batch": one.id, "name": one.name, "begun": day(one).isoformat(), "finished": one.finished,
             "rating": one.rating, "symptoms": list(one.symptoms), "board": one.board_id, "bytes": one.bytes_held}
            for one in listed
        ],
    })  # fmt: skip
    rows = [["batch", "begun", "ready", "name", "came out", "you saw"]]
    for one in listed:
        rating = f"{one.rating} of 5" if one.rating else ("finished" if one.finished else "not finished")
        rows.append([
            str(one.id), day(one).strftime("%Y-%m-%d %H:%M"), clock(one.ready_at_s, one.offset_min), one.name, rating,
            ", ".join(one.symptoms),
        ])  # fmt: skip
    out.lines(table(rows, frozenset({0})) if listed else ["The logbook is empty."])
    return 0


def compare(args: argparse.Namespace, out: Output) -> int:
    """Compare the batches named, or the newest with the last good one before it."""
    from tourier.logbook.findings import compare as comparing

    with open_book(args) as book:
        if not args.batches:
            newest = book.newest()
            good = comparing.last_good(book, newest)
            if good is None:
                raise UserError(
                    f"No good batch (rated 4 or 5, nothing wrong seen) stands before batch {newest}: name two batches."
                )
            numbers = [good, newest]
        else:
            numbers = [batch_number(text) for text in args.batches]
        compared = comparing.compare([book.load(number) for number in numbers])
    out.result({
        "schema": "tourier/compare/1", "batches": numbers, "source": compared.source,
        "inputs": [{"what": change.what, "values": list(change.values)} for change in compared.inputs],
        "behaviour": [{"what": change.what, "values": list(change.values)} for change in compared.behaviour],
    })  # fmt: skip
    head = [f"batch {number}" for number in numbers]
    out.heading(f"Changed inputs (from the {compared.source})")
    _show(out, ["input", *head], compared.inputs, compared.voice)
    if len(compared.behaviour) > _FEW:
        out.heading("Stands out most")
        _show(out, ["what", *head], comparing.standing_out(compared.behaviour), compared.voice)
    out.heading("Went differently, from first step to last")
    _show(out, ["what", *head], compared.behaviour, compared.voice)
    return 0


def _show(out: Output, head: list[str], changes, voice) -> None:
    if not changes:
        out.line("nothing")
        return
    out.lines(table([head, *(list(change.row(voice)) for change in changes)]))


def learn(args: argparse.Namespace, out: Output) -> int:
    """Fit anew and put in force, or take one value back."""
    from tourier import known
    from tourier.logbook.learning import learn as learning
    from tourier.logbook.learning import ledger

    with open_book(args) as book:
        if args.forget:
            gone = ledger.forget(book, args.forget)
            out.result({"schema": "tourier/learn/1", "taken_back": [asdict(value) for value in gone]})
            out.line("Taken back; the next plan does without (or with the value before it):")
            out.lines(known.lines(gone, _voice(book)))
            return 0
        out.progress("Reading the logs")
        found, said = learning.learn(book), _voice(book)
        out.result({
            "schema": "tourier/learn/1", "learned": [asdict(value) for value in found.proposals],
            "refused": [asdict(refusal) for refusal in found.refusals],
        })  # fmt: skip
    out.heading("Learned, and used by the next plan")
    out.lines(known.lines(found.proposals, said) or ["nothing yet"])
    out.heading("What the logs cannot tell")
    out.lines([f"{r.subject}, {known.words(r.quantity)}: {r.sentence}" for r in found.refusals] or ["nothing"])
    out.line()
    out.line("Take one back: tourier learn --forget NAME, the name that stands in [ ] after it")
    return 0


def outcome(args: argparse.Namespace, out: Output) -> int:
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


def logbook(args: argparse.Namespace, out: Output) -> int:
    """Do one thing with the logbook file."""
    if args.what != "check" and not args.file:
        raise UserError(f"logbook {args.what} needs a FILE.")
    if args.what == "check" and args.file:
        raise UserError(f"logbook check takes no file; to check {args.file}, say --logbook {args.file}.")
    file = Path(args.file) if args.file else None
    if args.what in ("restore", "import") and file is not None and (wrong := unlike_a_file(file)):
        raise UserError(wrong)
    if args.what == "backup" and file is not None and file.is_dir():
        raise UserError(f"{file} is a folder; name the file to back up to.")
    if args.what == "backup" and file is not None and not file.absolute().parent.is_dir():
        # Not made: it may be where a stick would be, were it plugged in.
        raise UserError(f"There is no folder {file.parent} for {file.name}; make it first, or name another.")
    with open_book(args, must_exist=args.what in ("check", "backup")) as book:
        if args.what == "check":
            wrong = book.check()
            out.result({"schema": "tourier/logbook/1", "sound": not wrong, "wrong": wrong})
            out.lines(wrong or [f"{book.path} is sound."])
            return 2 if wrong else 0
        assert file is not None  # asked for above
        if args.what == "backup":
            book.backup(file)
            words, counts = f"Backed up to {file}.", {}
        elif args.what == "restore":
            book.restore(file)
            words, counts = f"Restored from {file}; what stood there before is kept beside it (.before-restore).", {}
        else:
            counts = book.import_from(file, lambda done, total: out.progress("Importing", done / max(1, total)))
            words = "Imported: " + ", ".join(f"{value} {key}" for key, value in counts.items()) + "."
        out.result({"schema": "tourier/logbook/1", "done": args.what, "file": str(file), **counts})
        out.line(words)
    return 0


def _voice(book):
    """How the newest batch is said: a cook's kitchen seldom changes its units."""
    batches = book.batches()
    return book.load(batches[0].id).voice if batches else METRIC
