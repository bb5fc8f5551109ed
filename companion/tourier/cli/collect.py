"""`tourier collect`: bring a batch's log home into the logbook, as far as it got last time and on from there."""

from __future__ import annotations

import argparse
from pathlib import Path

from tourier.cli.common import open_timer, progress_of
from tourier.cli.output import Output
from tourier.cli.run import UserError


def run(args: argparse.Namespace, out: Output) -> int:
    """Collect plan, journal and samples, and put them into the logbook; nothing is half taken in."""
    from tourier import files, places
    from tourier.device.collecting import collect_batch
    from tourier.logbook.record.store import Logbook

    book_file = Path(args.logbook) if args.logbook else places.logbook_file()
    with open_timer(args, out) as timer:
        info = timer.info
        assert info is not None
        if not info.plan_id:
            raise UserError("The timer holds no plan and no log: there is nothing to collect.")
        log = collect_batch(timer, places.partial_logs_folder(), progress=progress_of(out, "Collecting the log"))
        text = files.sent_text(log.plan_id)
        with Logbook(book_file) as book:
            batch_id = book.collect(info.board_id, log.plan, log.journal, log.samples, text)
            name = book.load(batch_id).name
        if not args.keep_on_timer and not info.running:
            log.tell_collected(timer)
        log.forget_partial()
    out.result({
        "schema": "tourier/collect/1", "batch": batch_id, "name": name, "logbook": str(book_file),
        "journal_bytes": len(log.journal), "sample_bytes": len(log.samples), "running": info.running,
        "crash_log": log.crash.decode("utf-8", "replace"),
    })  # fmt: skip
    out.line(f"Batch {batch_id} ({name}) is in the logbook {book_file}.")
    out.line(f"{len(log.journal)} bytes of journal, {len(log.samples)} bytes of temperatures.")
    if log.crash:
        out.line("The timer kept a crash log as well; it is with the batch in --json.")
    if info.running:
        out.line("The day is still running: collect again when it is over, nothing is kept twice.")
    out.line(f"Next: tourier review {batch_id}")
    return 0
