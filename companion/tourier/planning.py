"""From the text of a batch file to a timetable, with what the logbook has learned of this kitchen and this butter.

The command line and the desk application both plan through here, so both use the same learned figures.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from tourier import files
from tourier.batch.model import BatchSpec, Workup

if TYPE_CHECKING:
    from tourier.dayplan.model import DayPlan
    from tourier.logbook.learning.ledger import Learned

Say = Callable[[str], None]


@dataclass(frozen=True)
class Planned:
    """A batch planned. `taught` are the learned values that went into it."""

    text: str
    spec: BatchSpec
    workup: Workup
    day: DayPlan
    taught: tuple[Learned, ...]


def learned_values(spec: BatchSpec, logbook: Path | None) -> tuple[Learned, ...]:
    """Return the values in force for this kitchen and this butter; none when there is no logbook yet."""
    if logbook is None or not logbook.exists():
        return ()
    from tourier.logbook.learning import ledger
    from tourier.logbook.record.store import Logbook

    wanted = (spec.kitchen.name, spec.butter.profile)
    with Logbook(logbook) as book:
        return tuple(value for value in ledger.in_force(book) if value.subject in wanted)


def apply(spec: BatchSpec, taught: tuple[Learned, ...]) -> tuple[BatchSpec, dict]:
    """Return the batch with its kitchen corrected, and the figures `work_up` takes."""
    known = {value.quantity: value.value for value in taught}
    kitchen = replace(
        spec.kitchen,
        fridge_c=known.get("fridge_c", spec.kitchen.fridge_c),
        freezer_c=known.get("freezer_c", spec.kitchen.freezer_c),
    )
    figures: dict = {}
    films = {place: known[f"film_{place}"] for place in ("fridge", "freezer") if f"film_{place}" in known}
    if films:
        figures["films"] = films
    if "butter_low_c" in known and "butter_high_c" in known:
        figures["butter_window_c"] = (known["butter_low_c"], known["butter_high_c"])
    figures.update({name: known[name] for name in ("mixing_rise_k", "proof_dose_s") if name in known})
    return replace(spec, kitchen=kitchen), figures


def plan_text(text: str, where: str, now: datetime, logbook: Path | None = None, say: Say = lambda _: None) -> Planned:
    """Read, work out and plan a batch file's text. Raises BatchError, Unworkable, Refused."""
    from tourier.batch.read import read_batch_text
    from tourier.batch.workup import work_up
    from tourier.dayplan.plan import plan_days
    from tourier.logbook.learning import ledger

    spec = read_batch_text(text, where, now)
    taught = learned_values(spec, logbook)
    say("Working out sheets and rests")
    spec, figures = apply(spec, taught)
    workup = work_up(spec, figures or None)
    if taught:
        workup = replace(workup, device=ledger.device_fields(workup.device, {v.quantity: v.value for v in taught}))
    say("Planning back from the hour")
    return Planned(text, spec, workup, plan_days(spec, workup, now), taught)


def taught_lines(taught: tuple[Learned, ...]) -> list[str]:
    """Return the learned values as lines: what, value with band, from which batches, error before and after."""
    from tourier.logbook.learning.ledger import words

    lines = []
    for value in taught:
        batches = ", ".join(str(number) for number in value.batches)
        line = (
            f"{value.subject}, {words(value.quantity)}: {value.value:.2f} {value.unit} "
            f"({value.low:.2f} to {value.high:.2f}), from batch {batches or '--, by hand'}"
        )
        if value.error_before is not None and value.error_after is not None:
            line += f"; forecast error {value.error_before:.2f} -> {value.error_after:.2f} {value.error_unit}"
        line += f"  [{value.quantity}]"
        lines.append(line)
    return lines


def keep_sent(folder: Path, plan_id: int, text: str) -> None:
    """Remember which batch file a plan was made from, so that the log can be collected together with it."""
    files.keep(folder / f"{plan_id:08x}.toml", text)


def sent_text(folder: Path, plan_id: int) -> str:
    """Return the batch file a plan was made from, "" when it was sent from another computer."""
    try:
        return (folder / f"{plan_id:08x}.toml").read_text(encoding="utf-8")
    except (FileNotFoundError, UnicodeDecodeError):
        return ""
