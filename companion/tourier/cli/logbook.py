"""`tourier logbook`: check, back up, restore and import."""

from __future__ import annotations

import argparse
from pathlib import Path

from tourier.cli.output import Output
from tourier.cli.review import open_book
from tourier.cli.run import UserError
from tourier.files import unlike_a_file


def run(args: argparse.Namespace, out: Output) -> int:
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
