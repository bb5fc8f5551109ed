"""A collected batch as the look-back room draws it. Read in a thread; no widget here."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np

from shared_schedule import journal as J
from shared_schedule import words
from shared_schedule.units import EPOCH_UNIX_S
from shared_schedule.window import VERDICT_WORDS
from tourier import files
from tourier.logbook.account.steps import Account, StepAccount
from tourier.logbook.record.model import (
    Batch,
    Listed,
    clock_text,
    local,
)
from tourier.picture.raster import Band, Series
from tourier.voice import METRIC, Voice, span

# The day's own rhythm, not a warning: a small mark, so that what matters stands out.
_RHYTHM = (J.STEP_DUE, J.REST_DONE)
_SHORTEST_OUTSIDE_S = 30
_ONE_STRETCH_S = 120.0  # two stretches outside the window closer than that are one
_TAKEN_OUT_KEPT = 20  # files of batches taken out of the logbook; the oldest go
_HELD_S = 15.0  # a reading stands for so long at most when none follows


@dataclass(frozen=True)
class Excursion:
    """A stretch outside the window: from the first reading beyond it to the last."""

    from_s: int
    to_s: int
    title: str
    word: str
    seconds: float
    worst_c: float
    degmin: float
    said: Voice = METRIC

    @property
    def text(self) -> str:
        """How far and how long, in words."""
        return f"{self.word} for {span(self.seconds)}, to {self.said.tenths(self.worst_c)}"

    @property
    def cells(self) -> tuple[str, ...]:
        """The same for a table: which side, how long, to which degree, degrees times minutes beyond the edge."""
        return self.word, span(self.seconds), self.said.degrees(self.worst_c), self.said.rate(self.degmin)


@dataclass(frozen=True)
class Pictured:
    """Everything the room shows of one batch."""

    batch: Batch
    account: Account
    review: Any
    series: list[Series]
    bands: list[Band]
    marks: list[tuple[float, str]]
    strip: list[tuple[int, int, str]]
    excursions: list[Excursion]
    events: list[tuple[int, str]] = field(default_factory=list)

    def local(self, at_s: float) -> datetime:
        """Return the local time of an instant."""
        return local(self.batch.plan, at_s)

    def clock(self, at_s: float) -> str:
        """Return the local time of an instant in words, with seconds."""
        return self.local(at_s).strftime("%a %H:%M:%S")

    @property
    def begun_s(self) -> float:
        """When the first step began; the first sample where none did."""
        if self.strip:
            return float(self.strip[0][0])
        return float(self.series[0].at_s[0]) if self.series[0].at_s.size else float(self.batch.plan.steps[0].start_at_s)


def picture(batch: Batch, account: Account, review: Any) -> Pictured:
    """Return what the look-back room draws of a batch, its account and its review."""
    samples = batch.samples
    at_s = samples.at_s.astype(float)
    styles = {0: "bench", 1: "probe"}  # further channels are drawn as what is only indicated
    series = [
        Series(styles.get(number, "ahead"), at_s, column, dotted=number != 1)
        for number, column in sorted(samples.columns.items(), key=lambda one: one[0] == 1)  # the probe over the others
    ]
    strip = sorted(
        (step.from_s, step.to_s if step.to_s is not None else batch.last_at_s, step.title)
        for step in account.steps
        if step.from_s is not None
    )
    bands = [band for step in account.steps for band in _bands(account, step)]
    marks, events = _marks(account)
    return Pictured(batch, account, review, series, bands, marks, strip, excursions(account), events)


def _bands(account: Account, step: StepAccount) -> Iterable[Band]:
    """Return the window of a step where the needle was in its dough: two pâtons share one probe."""
    if step.from_s is None or math.isnan(step.low_c) or math.isnan(step.high_c):
        return
    at_s, _c = account.readings(step)
    for from_s, to_s in _stretches(at_s, np.ones(len(at_s), dtype=bool)):
        yield Band(from_s, to_s, step.low_c, step.high_c)


def _marks(account: Account) -> tuple[list[tuple[float, str]], list[tuple[int, str]]]:
    """Return marks under the picture, the weighty last, and the events in words by time."""
    rhythm: list[tuple[float, str]] = []
    weighty: list[tuple[float, str]] = []
    events: list[tuple[int, str]] = []
    for alarm in account.alarms:
        word = words.alarm_word(alarm.kind)
        step = account.step(alarm.step_id)
        where = f" ({step.title})" if step is not None else ""
        if alarm.kind in _RHYTHM:
            rhythm.append((alarm.at_s, "·"))
            events.append((alarm.at_s, f"· {word}{where}, {alarm.answer}"))
        else:
            weighty.append((alarm.at_s, "!"))
            events.append((alarm.at_s, f"! {word}{where}, {alarm.answer}"))
    for at, cdeg, verdict in account.bends:
        weighty.append((at, "b"))
        seen = VERDICT_WORDS.get(verdict, "?")
        events.append((at, f"b bend test at {account.deg(cdeg / 100)}: {seen}"))
    for at, text in account.notes:
        weighty.append((at, "n"))
        events.append((at, f"n {text}"))
    return [*rhythm, *weighty], sorted(events)


def _stretches(at_s: np.ndarray, where: np.ndarray) -> list[tuple[float, float]]:
    """Return (from, to) of the runs of readings picked by `where`, close ones joined."""
    picked = at_s[where]
    if not picked.size:
        return []
    cuts = np.flatnonzero(np.diff(picked) > _ONE_STRETCH_S)
    firsts = np.concatenate(([0], cuts + 1))
    lasts = np.concatenate((cuts, [picked.size - 1]))
    return [(float(picked[a]), float(picked[b])) for a, b in zip(firsts, lasts, strict=True)]


def excursions(account: Account) -> list[Excursion]:
    """Return the stretches outside the window by time: how far, for how long, °C·min beyond the edge."""
    found = []
    for step in account.steps:
        if step.from_s is None or not step.probe.known:
            continue
        at_s, c = account.readings(step)
        for word, beyond, worst in (("too warm", c - step.high_c, np.max), ("too cold", step.low_c - c, np.min)):
            outside = np.nan_to_num(beyond, nan=-1.0) > 0
            for from_s, to_s in _stretches(at_s, outside):
                here = outside & (at_s >= from_s) & (at_s <= to_s)
                # Each reading stands until the next; a gap stands for nothing.
                held_s = np.minimum(np.diff(at_s, append=at_s[-1] + _HELD_S), _HELD_S)[here]
                seconds = float(np.sum(held_s))
                if seconds < _SHORTEST_OUTSIDE_S:
                    continue
                degmin = float(np.sum(beyond[here] * held_s)) / 60
                found.append(
                    Excursion(int(from_s), int(to_s), step.title, word, seconds, float(worst(c[here])), degmin,
                              account.said)  # fmt: skip
                )
    return sorted(found, key=lambda one: one.from_s)


def step_row(account: Account, step: StepAccount) -> tuple[str, ...]:
    """Return the cells of a step: name, began, minutes late, lasted, planned for, °C at start and end, most, rest."""
    plan = account.batch.plan

    def degrees(value: float) -> str:
        return "--" if math.isnan(value) else account.said.degrees(value)

    began = "--" if step.from_s is None else clock_text(plan, step.from_s)
    late = "" if math.isnan(step.late_s) else f"{round(step.late_s / 60):+d}".replace("+0", "0").replace("-", "−")
    lasted = "--" if math.isnan(step.lasted_s) else span(step.lasted_s)
    rest = "" if step.rest_word == "as planned" else step.rest_word
    return (
        step.title, began, late, lasted, span(step.step.planned_for_s),
        degrees(step.probe.start_c), degrees(step.probe.end_c), degrees(step.probe.max_c), rest,
    )  # fmt: skip


def when_text(one: Listed) -> str:
    """Return the day a batch of the list began, by its own clock."""
    zone = timezone(timedelta(minutes=one.offset_min))
    return datetime.fromtimestamp(EPOCH_UNIX_S + one.begun_at_s, UTC).astimezone(zone).strftime("%d %b %y")


def load(logbook: Path, batch_id: int) -> Pictured:
    """Read one batch, its account and its review. Raises the logbook's own errors."""
    from tourier.logbook.account.steps import account as account_of
    from tourier.logbook.findings.review import review as review_of
    from tourier.logbook.record.store import Logbook

    with Logbook(logbook) as book:
        batch = book.load(batch_id)
    return picture(batch, account_of(batch), review_of(batch))


def compared(first: Batch, second: Batch) -> list[tuple[str, str, str]]:
    """Return rows of what, in the first, in the second: changed inputs, then what behaved otherwise."""
    from tourier.logbook.findings.compare import compare

    found = compare([first, second])
    nothing = [("  nothing", "", "")]
    return [
        ("Changed beforehand", "", ""), *([_row(one, found.voice) for one in found.inputs] or nothing),
        ("Went differently", "", ""), *([_row(one, found.voice) for one in found.behaviour] or nothing),
    ]  # fmt: skip


def _row(change: Any, voice: Voice) -> tuple[str, str, str]:
    name, first, second = change.row(voice)
    return "  " + name, first, second


class TakenOut:
    """Batches taken out of a logbook: each is written whole to a file in `folder` first, so that it can be put back."""

    def __init__(self, logbook: Path, folder: Path) -> None:
        self._logbook, self._folder = logbook, folder

    def take(self, batch_id: int) -> None:
        """Take a batch out. Raises LogbookError and OSError; then it stays."""
        from tourier.logbook.record import openlog
        from tourier.logbook.record.store import Logbook

        with Logbook(self._logbook) as book:
            batch = book.load(batch_id)
            files.keep(self._folder / f"{batch.plan.ready_at_s}-{batch.key}.jsonl", "".join(openlog.write(batch)))
            book.remove(batch_id)
        for old in self._files()[:-_TAKEN_OUT_KEPT]:
            old.unlink(missing_ok=True)

    def put_back(self) -> bool:
        """Take the batch that is out since last into the logbook again; False when none is. Raises LogbookError."""
        from tourier.logbook.record.store import Logbook

        kept = self._files()
        if not kept:
            return False
        with Logbook(self._logbook) as book:
            book.import_from(kept[-1])
        kept[-1].unlink(missing_ok=True)
        return True

    def _files(self) -> list[Path]:
        """What is out, the newest last."""
        return sorted(self._folder.glob("*.jsonl"), key=lambda one: one.stat().st_mtime)
