"""How large a card's type can be: its rows and foot as data, and how high they stand at a size.

Reckoned from the widths of the letters, so that the card needs no browser to be fitted; `tests/dayplan` prints it with
one and measures.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from tourier.dayplan.typewidth import MM_PER_PT, lines_of, text_em, text_lines

PAGE_MM = 258.0  # Letter leaves 261 mm between its margins; the rest is for text wider than reckoned
WIDTH_MM = 189.0  # A4 and Letter leave 190 mm
LARGEST_PT, SMALLEST_PT = 12.5, 5.0
FOOT = 0.85  # of the table's type
HEAD_PT, WINDOW_PT, WINDOW_BIG_PT = 19.0, 12.5, 17.0
LINE = 1.2
GAP_EM = 0.5  # at the right of each column
BOX_EM = 1.45  # a box to tick and the space after it
FOOT_GAP_MM = 6.0


@dataclass(frozen=True)
class Row:
    """One line of the timetable. `kind` is "day", "hands", "rest" or "over" (what stands on the next page)."""

    kind: str
    start: str = ""
    paton: int = 0
    name: str = ""
    ticks: tuple[str, ...] = ()
    lasts: str = ""
    size: str = ""

    @property
    def bold(self) -> bool:
        return self.kind != "rest"


@dataclass(frozen=True)
class Part:
    """A heading and its lines in the foot of a card. A line is made of (style, text): "" plain, "b" bold, "box" a box
    to tick and its words, kept together."""

    title: str
    lines: tuple[tuple[tuple[str, str], ...], ...]


@dataclass(frozen=True)
class Page:
    """What one side of the sheet holds; `head` = title and the two lines at the right of it, `facts` below."""

    head: tuple[str, str, str]
    facts: tuple[tuple[str, str, str], ...]  # name, figure, note
    rows: tuple[Row, ...]
    foot: tuple[Part, ...]


def size_pt(page: Page) -> float:
    """Return the largest type size, in steps of a quarter point, at which all stands on one Letter or A4 page."""
    size = LARGEST_PT
    while size > SMALLEST_PT and height_mm(page, size) > PAGE_MM:
        size -= 0.25
    return size


def height_mm(page: Page, size: float) -> float:
    """Return how high a page stands at a type size, mm; inf when its columns are wider than the paper."""
    em = size * MM_PER_PT
    name, beside = columns_em(page.rows, size)
    if name < _widest_em(row.name for row in page.rows if row.start):
        return float("inf")
    height = _top_mm(page) + 5.0  # below: the caution
    if any(row.paton for row in page.rows):
        height += 0.8 * 1.5 * em
    for row in page.rows:
        if not row.start:
            lines, pad = text_lines(row.name, WIDTH_MM / em, True), 0.58
        else:
            ticks = [min(beside, 0.7 + BOX_EM + text_em(tick)) for tick in row.ticks]
            lines = max(text_lines(row.name, name, row.bold), lines_of([text_em(row.lasts), *ticks], beside))
            pad = 0.36
        height += (pad + LINE * lines) * em + 0.35
    return height + _foot_mm(page.foot, em * FOOT)


def widths_em(rows: tuple[Row, ...]) -> dict[str, float]:
    """Return the widths of the columns that are never broken, em: box and hour, pâton (0 with one), how long, sheet."""
    full = [row for row in rows if row.start]
    return {
        "start": BOX_EM + text_em("00:00", True) + GAP_EM,
        "paton": text_em("pâton") * 0.8 + GAP_EM if any(row.paton for row in full) else 0.0,
        "lasts": max([6.0, *(text_em(row.lasts) for row in full if not row.ticks)]) + GAP_EM,
        "size": max([6.0, *(text_em(row.size) for row in full)]),
    }


def columns_em(rows: tuple[Row, ...], size: float) -> tuple[float, float]:
    """Return the width left for the names of the steps, em, and that of all at their right."""
    wide = widths_em(rows)
    beside = wide["lasts"] + wide["size"]
    return WIDTH_MM / (size * MM_PER_PT) - wide["start"] - wide["paton"] - beside - GAP_EM, beside


def _widest_em(names: Iterable[str]) -> float:
    """Return the widest word of the names, em, or a column to look at; one endless word is broken by the browser."""
    return max(9.0, min(20.0, max((text_em(word, True) for name in names for word in name.split()), default=0.0)))


def _top_mm(page: Page) -> float:
    """Header and window line."""
    title, ready, asked = page.head
    right = max(text_em(ready, True) * HEAD_PT, text_em(asked) * 10.0) * MM_PER_PT + 5.0
    left = text_lines(title, max(40.0, WIDTH_MM - right) / (HEAD_PT * MM_PER_PT), True) * HEAD_PT * LINE
    beside = HEAD_PT * LINE + (10.0 if asked else 0.0)
    big, facts = WINDOW_BIG_PT / WINDOW_PT, []
    for name, figure, note in page.facts:
        facts.append(text_em(f"{name} ") + text_em(figure, True) * big + (text_em(f" {note}") if note else 0.0))
    numbered = text_em("page 1 of 2")
    room = WIDTH_MM / (WINDOW_PT * MM_PER_PT)
    window = lines_of([*facts, numbered], room, 4.0 / (WINDOW_PT * MM_PER_PT)) * WINDOW_BIG_PT * LINE
    return (max(left, beside) + window) * MM_PER_PT + 6.0


def _foot_mm(foot: tuple[Part, ...], em: float) -> float:
    """The foot's sections side by side; a section alone is set in three columns."""
    if not foot:
        return 0.0
    columns = 3 if len(foot) == 1 else len(foot)
    room_em = (WIDTH_MM - FOOT_GAP_MM * (columns - 1)) / columns / em
    highest = 0.0
    for part in foot:
        high = sum(lines_of(_line_em(line), room_em) * LINE * em + 1.1 for line in part.lines)
        if len(foot) == 1:
            high = high / columns + 2 * LINE * em
        highest = max(highest, high + text_lines(part.title, room_em / 1.1, True) * 1.1 * LINE * em + 1.2)
    return highest + 2.0


def _line_em(line: tuple[tuple[str, str], ...]) -> list[float]:
    """Widths of what a line of the foot is broken into, em."""
    found = []
    for style, text in line:
        if style == "box":
            found.append(BOX_EM + text_em(text))
        else:
            found += [text_em(word, style == "b") for word in text.split(" ")]
    return found
