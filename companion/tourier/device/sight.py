"""What the bench timer shows, as one frozen record for whoever watches: names from the plan, numbers from telemetry."""

from __future__ import annotations

import struct
from dataclasses import dataclass

from shared_schedule import day, messages, words
from shared_schedule import plan as wire
from shared_schedule.units import NO_CDEG
from tourier.voice import Voice, span, step_name


@dataclass(frozen=True)
class Sight:
    """One look at the timer. Temperatures in 0.01 °C or None; spans in s or None; texts are fit for a terminal."""

    at_s: int
    word: str
    step: str
    fold: str
    probe_cdeg: int | None
    bench_cdeg: int | None
    low_cdeg: int | None
    high_cdeg: int | None
    left_s: int | None
    slack_s: int
    alarm: str
    fault: int
    offset_min: int
    step_id: int = 0
    left_of: str = ""
    channels: tuple[tuple[int, int | None], ...] = ()  # (number, 0.01 °C) of every sensor
    units: int = 0  # of the plan: 0 metric, 1 °F and inches

    @property
    def voice(self) -> Voice:
        """How this plan's measures are said."""
        return Voice(bool(self.units))

    @property
    def left_words(self) -> str:
        """What `left_s` counts down to, in words: "{} left in the window", "begins in {}" ... with {} for the span."""
        return _LEFT_WORDS.get(self.left_of, "")

    @property
    def spare_words(self) -> str:
        """How the hour stands: "48 min to spare" or "10 min late"."""
        return f"{span(self.slack_s)} to spare" if self.slack_s >= 0 else f"{span(-self.slack_s)} late"

    @property
    def judgement(self) -> str:
        """The probe against the window, in words."""
        if self.probe_cdeg is None:
            return "no reading"
        if self.low_cdeg is not None and self.probe_cdeg < self.low_cdeg:
            return "too cold"
        if self.high_cdeg is not None and self.probe_cdeg > self.high_cdeg:
            return "too warm"
        return "in the window" if self.low_cdeg is not None or self.high_cdeg is not None else ""


# `left_of` and what is said of it. The timer sends one number; which one follows from its word and the step.
_LEFT_WORDS = {
    "start": "begins in {}", "window": "{} left in the window", "ready": "ready in {}", "step": "{} left for this step",
}  # fmt: skip


def _left_of(telemetry: dict, step: wire.Step | None) -> str:
    if telemetry["left_s"] < 0:
        return ""
    if telemetry["word"] == words.NEXT:
        return "start"
    if step is not None and day.runs_itself(step):
        return "ready"
    return "window" if _known(telemetry["low_cdeg"]) is not None else "step"


def _channels(telemetry: dict) -> tuple[tuple[int, int | None], ...]:
    """Bench and probe, and what further sensors there are; a record cut short is left out."""
    more = telemetry.get("more", b"")
    whole = more[: len(more) // messages.CHANNEL_OCTETS * messages.CHANNEL_OCTETS]
    rows = [(0, telemetry["bench_cdeg"]), (1, telemetry["probe_cdeg"])]
    rows += struct.iter_unpack(messages.CHANNEL_RECORD, whole)
    return tuple((number, _known(cdeg)) for number, cdeg in rows)


def _known(cdeg: int) -> int | None:
    return None if cdeg == NO_CDEG else cdeg


def sight_of(telemetry: dict, plan: wire.Plan | None) -> Sight:
    """Return the record for one telemetry message; `plan` None when the timer holds none."""
    index = plan.index_of(telemetry["step_id"]) if plan is not None else -1
    step = plan.steps[index] if plan is not None and index >= 0 else None
    fold = ""
    if telemetry["fold_of"]:
        kind = f" ({step.fold}-fold)" if step is not None and step.fold else ""
        fold = f"fold {telemetry['fold_n']} of {telemetry['fold_of']}{kind}"
    return Sight(
        at_s=telemetry["at_s"],
        word=words.word(telemetry["word"]),
        step=step_name(step) if step is not None else "",
        fold=fold,
        probe_cdeg=_known(telemetry["probe_cdeg"]),
        bench_cdeg=_known(telemetry["bench_cdeg"]),
        low_cdeg=_known(telemetry["low_cdeg"]),
        high_cdeg=_known(telemetry["high_cdeg"]),
        left_s=None if telemetry["left_s"] < 0 else telemetry["left_s"],
        slack_s=telemetry["slack_s"],
        alarm=words.alarm_word(telemetry["alarm"]),
        fault=telemetry["fault"],
        offset_min=wire.offset_min_at(plan, telemetry["at_s"]) if plan is not None else 0,
        step_id=telemetry["step_id"],
        left_of=_left_of(telemetry, step),
        units=plan.units if plan is not None else 0,
        channels=_channels(telemetry),
    )
