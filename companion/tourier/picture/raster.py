"""Temperature curves as terminal cells: braille dots, window band, axis labels. Pure functions, no widget.

Status is never by colour alone: the probe is a solid line, the bench a dotted one, the window band is bounded by
drawn rules, and what lies outside the window is marked in a row of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from tourier.picture.decimate import columns

# Braille dot bits by (row, column) in a 4 x 2 cell (Unicode, block "Braille Patterns").
_DOTS = np.array([[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]], dtype=np.uint8)


@dataclass(frozen=True)
class Series:
    """One curve: ascending seconds, °C with NaN for gaps, a style name, and whether it is drawn dotted."""

    name: str
    at_s: np.ndarray
    value_c: np.ndarray
    dotted: bool = False


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
    owner = np.full((height, width), "", dtype=object)
    for one in series:
        low, high = columns(one.at_s, one.value_c, from_s, to_s, width * 2)
        top = _dot_rows(high, low_c, high_c, height * 4)
        bottom = _dot_rows(low, low_c, high_c, height * 4)
        previous: tuple[int, int] | None = None
        for column in range(width * 2):
            if not np.isfinite(top[column]):
                previous = None
                continue
            first, last = int(top[column]), int(bottom[column])
            drawn_first, drawn_last = first, last
            if previous is not None:  # join with the column before, so that a steep curve stays one line
                if previous[1] < first:
                    drawn_first = previous[1] + 1
                elif previous[0] > last:
                    drawn_last = previous[0] - 1
            previous = (first, last)
            if one.dotted and column % 3:
                continue
            for row in range(drawn_first, drawn_last + 1):
                masks[row // 4, column // 2] |= _DOTS[row % 4, column % 2]
                owner[row // 4, column // 2] = one.name
    inside = _band_cells(bands, from_s, to_s, low_c, high_c, width, height)
    for row in range(height):
        chars, styles = [], []
        for column in range(width):
            edge = inside[row][column]
            if masks[row, column]:
                chars.append(chr(0x2800 + int(masks[row, column])))
                styles.append(str(owner[row, column]) + ("+band" if edge else ""))
            else:
                chars.append({"": " ", "in": " ", "top": "▔", "bottom": "▁"}[edge])
                styles.append("band" if edge else "")
        picture.chars.append(chars)
        picture.styles.append(styles)
    return picture


def _band_cells(
    bands: list[Band], from_s: float, to_s: float, low_c: float, high_c: float, width: int, height: int
) -> list[list[str]]:
    cells = [["" for _ in range(width)] for _ in range(height)]
    for band in bands:
        first = int((band.from_s - from_s) / (to_s - from_s) * width)
        last = int((band.to_s - from_s) / (to_s - from_s) * width)
        if last < 0 or first >= width or band.high_c < low_c or band.low_c > high_c:
            continue
        top = int(_dot_rows(np.array(band.high_c), low_c, high_c, height * 4)) // 4
        bottom = int(_dot_rows(np.array(band.low_c), low_c, high_c, height * 4)) // 4
        for column in range(max(0, first), min(width, last + 1)):
            for row in range(top, bottom + 1):
                cells[row][column] = "top" if row == top else "bottom" if row == bottom else "in"
    return cells


def scale(low_c: float, high_c: float, height: int) -> list[str]:
    """Return a label for every row ("" for most): whole degrees at about every third row."""
    labels = [""] * height
    if height < 2:
        return labels
    step = next((s for s in (1, 2, 5, 10, 20, 50, 100) if (high_c - low_c) / s <= max(1, height / 3)), 200)
    degree = int(np.ceil(low_c / step) * step)
    while degree <= high_c:
        row = int(_dot_rows(np.array(float(degree)), low_c, high_c, height * 4)) // 4
        labels[row] = f"{degree}°"
        degree += step
    return labels
