"""Learned values in the logbook: written with the batches they rest on, taken back without being deleted."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from typing import Any

from tourier.craft.butter import OLD_NAMES, now_called
from tourier.known import Learned
from tourier.logbook import LogbookError
from tourier.logbook.record.decode import clean
from tourier.logbook.record.store import Logbook, now_s


@dataclass(frozen=True)
class Refusal:
    """One quantity the logs cannot tell, and why."""

    quantity: str
    subject: str
    sentence: str


def write(book: Logbook, values: list[Learned], at_s: int | None = None) -> None:
    """Write values down, all or none; each becomes the one in force for its quantity and subject."""
    at_s = now_s() if at_s is None else at_s
    with book._change() as db:
        for v in values:
            new = db.execute(
                "INSERT INTO learned(quantity, subject, value, low, high, unit, method, error_before, error_after, "
                "error_unit, learned_at_s) VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (v.quantity, clean(v.subject, 60), v.value, v.low, v.high, v.unit, v.method, v.error_before,
                 v.error_after, v.error_unit, at_s),
            ).lastrowid  # fmt: skip
            db.executemany("INSERT INTO learned_from VALUES(?, ?)", [(new, batch) for batch in v.batches])


def in_force(book: Logbook, at_s: int | None = None) -> list[Learned]:
    """Return the newest value of each quantity and subject that was not taken back (and was learned by at_s).

    Raises LogbookError where the file is damaged.
    """
    try:
        return _in_force(book, at_s)
    except sqlite3.DatabaseError as error:
        raise LogbookError(f"{book.path} is damaged ({clean(str(error))[:80]}); restore a backup.") from error


_COLUMNS = (
    "id", "quantity", "subject", "value", "low", "high", "unit", "method", "error_before", "error_after", "error_unit",
    "learned_at_s",
)  # fmt: skip


def _in_force(book: Logbook, at_s: int | None) -> list[Learned]:
    rows = book._db.execute(
        f"SELECT {', '.join(_COLUMNS)} FROM learned WHERE forgotten = 0 AND learned_at_s <= ? ORDER BY id",
        (2**62 if at_s is None else at_s,),
    ).fetchall()
    newest: dict[tuple[str, str], dict[str, Any]] = {}
    for row in rows:
        known: dict[str, Any] = dict(zip(_COLUMNS, row, strict=True))
        known["subject"] = now_called(known["subject"])
        newest[known["quantity"], known["subject"]] = known
    out = []
    for known in newest.values():
        which = (known["id"],)
        rested_on = book._db.execute("SELECT batch_id FROM learned_from WHERE learned_id = ? ORDER BY 1", which)
        out.append(Learned(**known, batches=tuple(b for (b,) in rested_on)))
    return sorted(out, key=lambda v: (v.subject, v.quantity))


def forget(book: Logbook, what: str) -> list[Learned]:
    """Take back the value in force for a quantity, or 'quantity@subject', or 'all'; the one before it holds again.

    Returns what was taken back. Raises LogbookError when nothing of that name is in force.
    """
    quantity, _, subject = what.partition("@")
    found = [v for v in in_force(book) if (quantity == "all" or v.quantity == quantity) and subject in ("", v.subject)]
    if not found:
        names = ", ".join(sorted({v.quantity for v in in_force(book)})) or "nothing"
        raise LogbookError(f"No learned value is called {clean(what, 60)!r}; in force: {names}.")
    with book._change() as db:
        for value in found:
            if quantity == "all":
                names = [value.subject, *(old for old, new in OLD_NAMES.items() if new == value.subject)]
                db.executemany("UPDATE learned SET forgotten = 1 WHERE quantity = ? AND subject = ?",
                               [(value.quantity, name) for name in names])  # fmt: skip
            else:
                db.execute("UPDATE learned SET forgotten = 1 WHERE id = ?", (value.id,))
    return found
