"""What every evidence function answers with, and the small tools they share.

Each evidence function returns a Reading: how strong the mark is, at which step, in a sentence with the measured figure
and the limit. "unknown" means that the log cannot tell; "none" that it was looked for, with data, and not there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from shared_schedule.units import NO_CDEG
from tourier.logbook.account.steps import StepAccount

LEVELS = ("none", "weak", "moderate", "strong")
UNKNOWN = "unknown"


@dataclass(frozen=True)
class Reading:
    """What one evidence function found."""

    level: str
    sentence: str
    step: StepAccount | None = None

    @property
    def rank(self) -> int:
        """0 none or unknown, 1 weak, 2 moderate, 3 strong."""
        return LEVELS.index(self.level) if self.level in LEVELS else 0


def unknown(sentence: str) -> Reading:
    return Reading(UNKNOWN, sentence)


def grade(value: float, steps: list[float]) -> int:
    """Return 0..3 by thresholds that rise (more is worse) or fall (less is worse)."""
    rising = steps[-1] >= steps[0]
    return sum(1 for s in steps if (value >= s if rising else value <= s))


def best(found: list[tuple[int, float, StepAccount, str]], nothing: str) -> Reading:
    """Return the strongest of (rank, size, step, sentence), or "none"."""
    if not found:
        return Reading("none", nothing)
    rank, _size, step, sentence = max(found, key=lambda item: (item[0], item[1]))
    return Reading(LEVELS[rank], sentence, step)


def degrees(cdeg: int) -> float:
    """Return °C of 0.01 °C, NaN for no reading."""
    return math.nan if cdeg == NO_CDEG else cdeg / 100.0
