"""Learned values in the logbook: written with the batches they rest on, taken back without being deleted."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass, replace

from tourier.logbook import LogbookError
from tourier.logbook.record.decode import clean
from tourier.logbook.record.store import Logbook, now_s

# Quantities in the cook's words; their names stay as they are, since `learn --forget` and files use them.
WORDS = {
    "butter_low_c": "bends from", "butter_high_c": "bends up to", "mixing_rise_k": "mixing warms dough by",
    "proof_dose_s": "proof it likes", "film_fridge": "fridge takes heat away at",
    "film_freezer": "freezer takes heat away at", "fridge_c": "air of the fridge", "freezer_c": "air of the freezer",
    "bench_effusivity": "bench takes heat away at",
}  # fmt: skip


@dataclass(frozen=True)
class Learned:
    """One value. `error_before` and `error_after` are the forecast's error without and with it, in `error_unit`."""

    quantity: str
    subject: str  # the kitchen or the butter it is about
    value: float
    low: float  # 90 % band
    high: float
    unit: str
    method: str
    batches: tuple[int, ...]
    error_before: float | None = None
    error_after: float | None = None
    error_unit: str = ""
    learned_at_s: int = 0
    id: int = 0


@dataclass(frozen=True)
class Refusal:
    """One quantity the logs cannot tell, and why."""

    quantity: str
    subject: str
    sentence: str


def words(quantity: str) -> str:
    """Return a quantity in the cook's words; its own name when it has none."""
    return WORDS.get(quantity, quantity)


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


def _in_force(book: Logbook, at_s: int | None) -> list[Learned]:
    rows = book._db.execute(
        "SELECT id, quantity, subject, value, low, high, unit, method, error_before, error_after, error_unit, "
        "learned_at_s FROM learned WHERE forgotten = 0 AND learned_at_s <= ? ORDER BY id",
        (2**62 if at_s is None else at_s,),
    ).fetchall()
    newest = {(row[1], row[2]): row for row in rows}
    out = []
    for row in newest.values():
        rested_on = book._db.execute("SELECT batch_id FROM learned_from WHERE learned_id = ? ORDER BY 1", (row[0],))
        batches = tuple(b for (b,) in rested_on)
        known = dict(zip(("quantity", "subject", "value", "low", "high", "unit", "method"), row[1:8], strict=True))
        known |= dict(zip(("error_before", "error_after", "error_unit", "learned_at_s"), row[8:12], strict=True))
        out.append(Learned(**known, batches=batches, id=row[0]))
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
                db.execute("UPDATE learned SET forgotten = 1 WHERE quantity = ? AND subject = ?",
                           (value.quantity, value.subject))  # fmt: skip
            else:
                db.execute("UPDATE learned SET forgotten = 1 WHERE id = ?", (value.id,))
    return found


def for_plan(book: Logbook, kitchen: str, butter: str) -> dict[str, float]:
    """Return {quantity: value} for the next plan in this kitchen with this butter."""
    return {v.quantity: v.value for v in in_force(book) if v.subject in (kitchen, butter)}


def for_workup(book: Logbook, kitchen: str, butter: str) -> dict:
    """Return the learned figures as `batch.workup.work_up(spec, learned)` takes them; {} when nothing is learned.

    Beside them stand `fridge_c` and `freezer_c`, which belong into the kitchen of the batch; see `in_kitchen`.
    """
    values = for_plan(book, kitchen, butter)
    out: dict = {k: values[k] for k in ("mixing_rise_k", "proof_dose_s", "fridge_c", "freezer_c") if k in values}
    films = {place: values[f"film_{place}"] for place in ("fridge", "freezer") if f"film_{place}" in values}
    if films:
        out["films"] = films
        out["doubt"] = 0.5  # the film is known now; contact, thickness and room are as uncertain as ever
    if "butter_low_c" in values and "butter_high_c" in values:
        out["butter_window_c"] = (values["butter_low_c"], values["butter_high_c"])
    return out


def in_kitchen(spec, learned: dict):
    """Return the batch with the learned air of fridge and freezer in its kitchen (a dataclass `replace`)."""
    changed = {k: learned[k] for k in ("fridge_c", "freezer_c") if k in learned}
    return replace(spec, kitchen=replace(spec.kitchen, **changed)) if changed else spec


def device_fields(device: dict[str, int], learned: dict[str, float]) -> dict[str, int]:
    """Return the plan's integer fields with learned figures put in; fields without one stay."""
    out = dict(device)
    for quantity, name, scale in (
        ("film_fridge", "film_fridge_mw", 1000), ("film_freezer", "film_freezer_mw", 1000),
        ("fridge_c", "fridge_cdeg", 100), ("freezer_c", "freezer_cdeg", 100),
        ("bench_effusivity", "bench_effusivity", 1), ("butter_low_c", "butter_low_cdeg", 100),
        ("butter_high_c", "butter_high_cdeg", 100),
    ):  # fmt: skip
        if quantity in learned:
            out[name] = round(learned[quantity] * scale)
    return out
