"""A step's least, ideal and greatest time, in whole minutes and in order, with its reason."""

from __future__ import annotations

import math
from dataclasses import dataclass

MIN = 60
HOUR = 3600
#: Rest the gluten needs between folds whatever the temperature: 20 to 30 min, common practice, no source.
GLUTEN_S = 20 * MIN


@dataclass(frozen=True)
class Limits:
    """A span in seconds with its reason."""

    min_s: int
    ideal_s: int
    max_s: int
    why: str

    def __post_init__(self) -> None:
        if not 0 <= self.min_s <= self.ideal_s <= self.max_s:
            raise ValueError(f"limits out of order: {self}")


def up(seconds: float, to: int = MIN) -> int:
    """Seconds rounded up to a whole minute (or another step)."""
    return int(math.ceil(seconds / to - 1e-9)) * to


def span(low: float, ideal: float, high: float, why: str) -> Limits:
    """Limits in whole minutes, put in order: the ideal is not below the minimum nor above the maximum."""
    low_s = up(low)
    ideal_s = max(low_s, up(ideal))
    return Limits(low_s, ideal_s, max(ideal_s, up(high)), why)
