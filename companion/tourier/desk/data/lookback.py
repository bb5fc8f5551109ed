"""A collected batch as the look-back room draws it. Read in a thread; no widget here."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tourier.logbook.account import Account, StepAccount
from tourier.logbook.model import ALARM_WORDS, VERDICTS, Batch, clock_text, minutes_text
from tourier.picture.raster import Band, Series


@dataclass(frozen=True)
class Excursion:
    """A stretch of a step outside the window."""

    from_s: int
    to_s: int
    title: str
    text: str


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

    def clock(self, at_s: float) -> str:
        """Return the local time of an instant, with seconds."""
        from tourier.logbook.model import local

        return local(self.batch.plan, at_s).strftime("%a %H:%M:%S")


def picture(batch: Batch, account: Account, review: Any) -> Pictured:
    """Return what the look-back room draws of a batch, its account and its review."""
    samples = batch.samples
    at_s = samples.at_s.astype(float)
    series = [Series("bench", at_s, samples.bench_c, dotted=True), Series("probe", at_s, samples.probe_c)]
    bands, strip = [], []
    for step in account.steps:
        if step.from_s is None:
            continue
        until = step.to_s if step.to_s is not None else batch.last_at_s
        strip.append((step.from_s, until, step.title))
        if not math.isnan(step.low_c) and not math.isnan(step.high_c):
            bands.append(Band(step.from_s, until, step.low_c, step.high_c))
    marks: list[tuple[float, str]] = []
    events: list[tuple[int, str]] = []
    for alarm in account.alarms:
        word = ALARM_WORDS[alarm.kind] if alarm.kind < len(ALARM_WORDS) else "alarm"
        answered = (
            "not answered"
            if alarm.acked_at_s is None
            else f"answered after {minutes_text(alarm.acked_at_s - alarm.at_s)}"
        )
        marks.append((alarm.at_s, "!"))
        events.append((alarm.at_s, f"! alarm: {word}, {answered}"))
    for at, cdeg, verdict in account.bends:
        marks.append((at, "b"))
        events.append(
            (at, f"b bend test at {cdeg / 100:.1f} °C: {VERDICTS[verdict] if verdict < len(VERDICTS) else '?'}")
        )
    for at, text in account.notes:
        marks.append((at, "n"))
        events.append((at, f"n note: {text}"))
    events.sort()
    return Pictured(batch, account, review, series, bands, marks, strip, excursions(account), events)


def excursions(account: Account) -> list[Excursion]:
    """Return the steps that left their window, with how far and how long."""
    found = []
    for step in account.steps:
        if step.from_s is None or not step.probe.known:
            continue
        until = step.to_s if step.to_s is not None else account.batch.last_at_s
        for seconds, degmin, word, extreme in (
            (step.probe.warm_s, step.probe.warm_degmin, "too warm", step.probe.max_c),
            (step.probe.cold_s, step.probe.cold_degmin, "too cold", step.probe.min_c),
        ):
            if seconds >= 30:
                text = f"{word} for {minutes_text(seconds)}, to {extreme:.1f} °C ({degmin:.1f} °C·min)"
                found.append(Excursion(step.from_s, until, step.title, text))
    return found


def step_rows(account: Account) -> list[tuple[str, ...]]:
    """Return the rows of the step table: title, planned, real, late, start, end, least and most °C."""
    return [_step_row(account, step) for step in account.steps]


def _step_row(account: Account, step: StepAccount) -> tuple[str, ...]:
    plan = account.batch.plan

    def degrees(value: float) -> str:
        return "--" if math.isnan(value) else f"{value:.1f}"

    real = "--" if step.from_s is None else clock_text(plan, step.from_s)
    lasted = "--" if math.isnan(step.lasted_s) else minutes_text(step.lasted_s)
    return (
        step.title, clock_text(plan, step.planned_from_s), real, lasted, minutes_text(step.step.planned_for_s),
        step.rest_word, degrees(step.probe.start_c), degrees(step.probe.end_c), degrees(step.probe.max_c),
    )  # fmt: skip


def load(logbook: Path, batch_id: int) -> Pictured:
    """Read one batch, its account and its review. Raises the logbook's own errors."""
    from tourier.logbook.account import account as account_of
    from tourier.logbook.findings import review as review_of
    from tourier.logbook.store import Logbook

    with Logbook(logbook) as book:
        batch = book.load(batch_id)
    return picture(batch, account_of(batch), review_of(batch))
