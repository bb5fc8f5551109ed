"""Film coefficients: how readily a surface gives heat to the air around it, W/(m2 K), radiation included.

Free convection over horizontal sheets: McAdams' correlations, as in Incropera (worked out in
tests/support/film_theory.py). Forced: laminar flat plate, 0.664 Re^1/2 Pr^1/3. Real fridges scatter by half around any
of this, hence :data:`USUAL` carries a band, and the logbook learns the kitchen's own.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Film:
    """A usual value with its band, W/(m2 K), and the share of it that acts below a tray or board."""

    usual: float
    low: float
    high: float
    below: float
    source: str


#: Radiation included; a still-air value from the correlations, the bands usual practice (no single source).
USUAL: dict[str, Film] = {
    "room": Film(7.7, 6.5, 9.0, 0.75, "McAdams + radiation: dough 5, air 22 C; ISO 6946 0.10-0.17 m2 K/W"),
    "fridge": Film(8.0, 6.0, 10.0, 0.75, "McAdams + radiation: 10.0 down to 8.1 as it cools; usual 6-10"),
    "fan fridge": Film(14.0, 10.0, 20.0, 0.75, "flat plate at 1-2 m/s + radiation 4.7; usual 10-20"),
    "freezer": Film(9.0, 7.0, 11.0, 0.75, "McAdams + radiation: 10.9 at 18 against -18 C; usual 7-11"),
    "proof": Film(8.0, 6.5, 9.5, 0.85, "McAdams + radiation: 22 in 27 C still air"),
    "under bench": Film(6.0, 4.0, 8.0, 1.0, "ISO 6946, heat flow downward, 0.17 m2 K/W"),
}

COVERED_SHARE = 0.65  # wrapped, boxed or under film: 30-50 % less, common practice, no source
#: Where dough and pieces lie wrapped, since cold air dries them; on the bench, in the room and the proof they lie bare.
WRAPPED_IN = ("fridge", "freezer")


def usual(where: str, covered: bool = False) -> Film:
    """The usual film of a place, less when the dough is wrapped or boxed."""
    try:
        f = USUAL[where]
    except KeyError:
        raise KeyError(f"no film for {where!r}; known: {', '.join(USUAL)}") from None
    if not covered:
        return f
    return Film(f.usual * COVERED_SHARE, f.low * 0.5, f.high * 0.7, f.below, f.source + "; covered: 30-50 % less")
