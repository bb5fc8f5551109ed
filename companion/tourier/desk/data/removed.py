"""Batches taken out of the logbook: each is written whole to a file first, so that it can be put back."""

from __future__ import annotations

from pathlib import Path

from tourier import files

_KEPT = 20  # files; the oldest go


def take_out(logbook: Path, batch_id: int, folder: Path) -> Path:
    """Take a batch out; return the open log it was written to. Raises LogbookError, OSError, and then it stays."""
    from tourier.logbook.record import openlog
    from tourier.logbook.record.store import Logbook

    with Logbook(logbook) as book:
        batch = book.load(batch_id)
        file = folder / f"{batch.plan.ready_at_s}-{batch.key}.jsonl"
        files.keep(file, "".join(openlog.write(batch)))
        book.remove(batch_id)
    for old in sorted(folder.glob("*.jsonl"), key=lambda one: one.stat().st_mtime)[:-_KEPT]:
        old.unlink(missing_ok=True)
    return file


def put_back(logbook: Path, file: Path) -> None:
    """Take a batch from its file into the logbook again. Raises LogbookError."""
    from tourier.logbook.record.store import Logbook

    with Logbook(logbook) as book:
        book.import_from(file)
    file.unlink(missing_ok=True)
