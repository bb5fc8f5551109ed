"""Temperature curves as terminal cells: braille dots, window band, axis labels. Pure functions, no widget.

Status is never by colour alone: the probe is a solid line, the bench a dotted one, the window band is bounded by
drawn rules, and what lies outside the window is marked in a row of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from tourier.picture.decimate import bridged, columns

# Braille dot bits by (row, column) in a 4 x 2 cell (Unicode, block "Braille Patterns").
_DOTS = np.array([[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]], dtype=np.uint8)

_EDGES = (" ", " ", "▔", "▁")
_INSIDE, _TOP, _BOTTOM = 1, 2, 3


@dataclass(frozen=True)
class Series:
    """One curve: ascending seconds, °C with NaN for gaps, a style name, whether it is drawn dotted.

    Samples no further apart than `bridge_s` are joined by a straight line; a longer silence is a gap in the curve.
    """

    name: str
    at_s: np.ndarray
    value_c: np.ndarray
    dotted: bool = False
    bridge_s: float = 180.0


@dataclass(frozen=True)
class Band:
    """The window that held from `from_s` to `to_s`, in °C."""

    from_s: float
    to_s: float
    low_c: float
    high_c: float


@dataclass
class Raster:
    """A drawn picture: one character and one style name a cell, row by row from the top."""

    width: int
    height: int
    chars: list[list[str]] = field(default_factory=list)
    styles: list[list[str]] = field(default_factory=list)


def _dot_rows(value: np.ndarray, low_c: float, high_c: float, dots: int) -> np.ndarray:
    """Return the dot row (0 = top) of temperatures, clipped into the picture."""
    scaled = (high_c - value) / (high_c - low_c) * (dots - 1)
    return np.clip(np.rint(scaled), 0, dots - 1)


def draw(
    series: list[Series],
    bands: list[Band],
    from_s: float,
    to_s: float,
    low_c: float,
    high_c: float,
    width: int,
    height: int,
) -> Raster:
    """Return the picture of all series and bands in a view; later series are drawn over earlier ones."""
    picture = Raster(width, height)
    masks = np.zeros((height, width), dtype=np.uint8)
    owner = np.zeros((height, width), dtype=np.int16)  # number of the series that drew last, 0 = none
    for number, one in enumerate(series, start=1):
        dots = _dots_of(one, from_s, to_s, low_c, high_c, width, height)
        cells = dots.reshape(height, 4, width, 2)
        mask = np.einsum("hiwj,ij->hw", cells.astype(np.uint16), _DOTS.astype(np.uint16)).astype(np.uint8)
        masks |= mask
        owner[mask > 0] = number
    inside = _band_cells(bands, from_s, to_s, low_c, high_c, width, height)
    names = ["", *(one.name for one in series)]
    for row in range(height):
        chars, styles = [], []
        for mask, number, edge in zip(masks[row].tolist(), owner[row].tolist(), inside[row].tolist(), strict=True):
            if mask:
                chars.append(chr(0x2800 + mask))
                styles.append(names[number] + "+band" if edge else names[number])
            else:
                chars.append(_EDGES[edge])
                styles.append("band" if edge else "")
        picture.chars.append(chars)
        picture.styles.append(styles)
    return picture


def _dots_of(
    one: Series, from_s: float, to_s: float, low_c: float, high_c: float, width: int, height: int
) -> np.ndarray:
    """Return which dots (4 a row, 2 a column of cells) a curve fills."""
    low, high = columns(one.at_s, one.value_c, from_s, to_s, width * 2)
    low, high = bridged(low, high, one.at_s, one.value_c, from_s, to_s, one.bridge_s)
    known = np.isfinite(high) & np.isfinite(low)
    top = _dot_rows(np.where(known, high, low_c), low_c, high_c, height * 4).astype(int)
    bottom = _dot_rows(np.where(known, low, low_c), low_c, high_c, height * 4).astype(int)
    # Join with the column before, so that a steep curve stays one line.
    first, last = top.copy(), bottom.copy()
    joined = known[1:] & known[:-1]
    below = joined & (bottom[:-1] < top[1:])
    above = joined & (top[:-1] > bottom[1:])
    first[1:][below] = bottom[:-1][below] + 1
    last[1:][above] = top[:-1][above] - 1
    if one.dotted:
        known = known & (np.arange(width * 2) % 3 == 0)
    rows = np.arange(height * 4)[:, None]
    return (rows >= first) & (rows <= last) & known


def _band_cells(
    bands: list[Band], from_s: float, to_s: float, low_c: float, high_c: float, width: int, height: int
) -> np.ndarray:
    """Return for each cell which part of a band it is: an index into _EDGES."""
    cells = np.zeros((height, width), dtype=np.int8)
    for band in bands:
        first = int((band.from_s - from_s) / (to_s - from_s) * width)
        last = int((band.to_s - from_s) / (to_s - from_s) * width)
        if last < 0 or first >= width or band.high_c < low_c or band.low_c > high_c:
            continue
        top = int(_dot_rows(np.array(band.high_c), low_c, high_c, height * 4)) // 4
        bottom = int(_dot_rows(np.array(band.low_c), low_c, high_c, height * 4)) // 4
        across = slice(max(0, first), min(width, last + 1))
        cells[top : bottom + 1, across] = _INSIDE
        cells[bottom, across] = _BOTTOM
        cells[top, across] = _TOP
    return cells


def scale(low_c: float, high_c: float, height: int) -> list[str]:
    """Return a label for every row ("" for most): whole degrees, at least two, no closer than every other row."""
    labels = [""] * height
    if height < 2:
        return labels
    step = next((s for s in (1, 2, 5, 10, 20, 50, 100) if (high_c - low_c) / s <= max(1, height / 2)), 200)
    degree = int(np.ceil(low_c / step) * step)
    while degree <= high_c:
        row = int(_dot_rows(np.array(float(degree)), low_c, high_c, height * 4)) // 4
        labels[row] = f"{degree}°"
        degree += step
    if sum(1 for label in labels if label) < 2:  # a low picture: its upper and lower edge, as well as whole degrees can
        labels = [""] * height
        labels[0], labels[-1] = f"{high_c:.0f}°", f"{low_c:.0f}°"
    return labels
