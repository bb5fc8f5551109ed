"""How long each step takes at least, ideally and at most, in this kitchen; every answer says why.

Chills and warm-ups come from the heat of the piece and the air around it, doses from the yeast; hands-on times and
the gluten's own rest are common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tourier.craft import films

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


def slab_time_s(thickness_m: float, from_c: float, to_c: float, air_c: float, place: str, rc: float = 2.9e6) -> float:
    """Seconds until a slab's core goes from one temperature to another in air of `place`; inf when it never does.

    Both faces by film (usual value above, its share below), the slab's own resistance added as thickness / (8 k):
    a lumped estimate good to about a fifth. `rc` = apparent heat capacity, J/(m3 K), butter's melting in it.
    """
    if (from_c - to_c) * (to_c - air_c) < 0 or to_c == air_c:
        return math.inf
    if from_c == to_c:
        return 0.0
    film = films.usual(place, covered=True)
    both = film.usual * (1.0 + film.below)
    each = 1.0 / (1.0 / both + thickness_m / (8.0 * 0.32))
    return rc * thickness_m / each * math.log((from_c - air_c) / (to_c - air_c))
