"""Records of the logbook: a collected batch as other parts read it.

Times are seconds since 2020-01-01Z (`_at_s`), temperatures float °C (`_c`); NaN is "no reading", and a gap
stays a gap.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shared_schedule import journal as J
from shared_schedule import plan as plans
from shared_schedule.channels import OTHER, USUAL, Channel
from shared_schedule.units import EPOCH_UNIX_S
from tourier.voice import Voice, clock, step_name, voice_of_plan

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Record:
    """One journal record; `body` as the codec gives it, `at_s` after correction of an untrusted clock."""

    type: int
    seq: int
    at_s: int
    body: tuple[Any, ...]


@dataclass(frozen=True)
class Samples:
    """Temperature history: equal-length columns, time ascending, NaN where nothing was read.

    `columns` holds °C by the number of the channel; bench (0) and probe (1) are always among them.
    """

    at_s: NDArray[np.int64]
    columns: dict[int, Floats]

    @property
    def bench_c(self) -> Floats:
        """The plate under the bench."""
        return self.columns[0]

    @property
    def probe_c(self) -> Floats:
        """The probe in the dough."""
        return self.columns[1]

    def __len__(self) -> int:
        return len(self.at_s)

    @staticmethod
    def empty() -> Samples:
        """Return a history of nothing."""
        return Samples(np.zeros(0, np.int64), {channel.number: np.zeros(0) for channel in USUAL})

    def between(self, from_s: float, to_s: float) -> Samples:
        """Return the part with from_s <= at_s <= to_s (views)."""
        low, high = np.searchsorted(self.at_s, [from_s, to_s + 1])
        return Samples(self.at_s[low:high], {number: column[low:high] for number, column in self.columns.items()})


@dataclass(frozen=True)
class Outcome:
    """What the cook saw. `symptoms` are keys of the knowledge table; rating 1 (bad) to 5, or None."""

    symptoms: tuple[str, ...] = ()
    rating: int | None = None
    photo: str = ""
    note: str = ""


@dataclass(frozen=True)
class Batch:
    """One collected batch. `journal_unread` counts journal bytes past the first damaged record."""

    id: int
    key: str
    board_id: str
    plan: plans.Plan
    plan_bytes: bytes
    records: tuple[Record, ...]
    samples: Samples
    batch_text: str = ""
    outcome: Outcome | None = None
    journal_unread: int = 0
    samples_unread: int = 0
    clock_corrections: int = 0
    journal: bytes = field(default=b"", repr=False)

    @property
    def name(self) -> str:
        """Name of the batch as planned."""
        return self.plan.name

    @property
    def voice(self) -> Voice:
        """How this batch's measures are said."""
        return voice_of_plan(self.plan)

    @cached_property
    def channels(self) -> tuple[Channel, ...]:
        """The sensors that this batch has temperatures of, as its journal describes them; bench and probe first."""
        told = {c.number: c for c in USUAL}
        told.update((r.body[0], Channel(*r.body)) for r in self.records if r.type == J.CHANNEL)
        return tuple(
            told.get(number, Channel(number, OTHER, 0, 0, 0, "")) for number in sorted(self.samples.columns)
        )

    @cached_property
    def begun_at_s(self) -> int:
        """Instant of the plan record, or of the plan when the journal holds none."""
        for record in self.records:
            if record.type == J.PLAN:
                return record.at_s
        return self.plan.made_at_s

    @cached_property
    def last_at_s(self) -> int:
        """Instant of the last thing logged."""
        last = max((r.at_s for r in self.records), default=self.plan.made_at_s)
        return max(last, int(self.samples.at_s[-1])) if len(self.samples) else last


@dataclass(frozen=True)
class Listed:
    """One line of the list of batches, read without unpacking anything."""

    id: int
    name: str
    begun_at_s: int
    ready_at_s: int
    offset_min: int
    finished: bool
    rating: int | None
    symptoms: tuple[str, ...]
    board_id: str
    bytes_held: int


def channel_title(channel: Channel) -> str:
    """Return a sensor's name, fit for a heading: its own, or its number."""
    return channel.name or f"channel {channel.number}"


def clock_text(plan: plans.Plan, at_s: float, with_day: bool = True) -> str:
    """Return 'Sat 07:30' in the plan's local time at that instant."""
    return clock(at_s, plans.offset_min_at(plan, int(at_s)), with_day)


def local(plan: plans.Plan, at_s: float) -> datetime:
    """Return the aware local time of an instant, with the offset the plan carries."""
    offset = timezone(timedelta(minutes=plans.offset_min_at(plan, int(at_s))))
    return datetime.fromtimestamp(EPOCH_UNIX_S + float(at_s), UTC).astimezone(offset)


def step_title(step: plans.Step) -> str:
    """Return a step's name as prose has it, the pâton in words; a fold always with its number and kind.

    'fold 2 (3-fold), pâton 1' and 'Rest after fold 2, pâton 1' of several pâtons, 'fold 2 (3-fold)' of one alone.
    """
    name = step_name(step)
    if step.kind != plans.FOLD:
        return name
    text = f"fold {step.fold_n} ({step.fold}-fold)"
    return f"{text}, pâton {step.paton}" if step.paton > 1 or name != step.name else text
