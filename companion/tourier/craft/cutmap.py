"""The cut map drawn: as SVG for paper, as terminal cells for the screen. Text goes out escaped."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from xml.sax.saxutils import escape

from tourier.craft.cuts import EPS, Layout, Marks, Piece, marks, pieces

#: Fills that differ in grey too, so that a black-and-white print keeps them apart.
_FILLS = ("#f2d9a6", "#c9dcec", "#e7c3b8", "#d3e3c1", "#dccfe8", "#efe6c8", "#bcd6d2", "#e4d0dc")
_LETTERS = "ABCDEFGHIJ"


def _mm_text(metres: float) -> str:
    """Centimetres to the millimetre, halves up, as everywhere a mark is printed."""
    return f"{math.floor(metres * 1000 + 0.5 + 1e-6) / 10:.1f}"


def sheets_svg(
    sheets: Sequence[tuple[str, Layout, float]],
    label: Callable[[float], str] = _mm_text,
    unit: str = "cm",
    title: str = "",
) -> str:
    """The maps of several sheets, (heading, layout, trim at every edge in m), one below the other, each as in `svg`."""
    body: list[str] = []
    width = top = 0.0
    told = []
    for heading, layout, edge_m in sheets:
        head = 14.0 if heading else 0.0
        lines, wide, high, names = _sheet(layout, edge_m, label, unit)
        if heading:
            body.append(f'<text x="42.00" y="{top + 11:.2f}" font-size="9" font-weight="bold">{escape(heading)}</text>')
        body += [f'<g transform="translate(0 {top + head:.2f})">', *lines, "</g>"] if top + head else lines
        told.append(f"{heading}: {names}" if heading else names)
        width, top = max(width, wide), top + head + high
    return "\n".join([
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.1f}mm" height="{top:.1f}mm" '
        f'viewBox="0 0 {width:.1f} {top:.1f}" font-family="sans-serif">',
        f"<title>{escape(title or 'Cut map')}</title>", f"<desc>{escape('. '.join(told))}</desc>", *body, "</svg>",
    ]) + "\n"  # fmt: skip


def _sheet(layout: Layout, edge_m: float, label, unit: str) -> tuple[list[str], float, float, str]:
    """One sheet's drawing, its width and height in mm, and what is on it."""
    pad, edge = 12.0, edge_m * 1000
    long, wide = layout.length_m * 1000, layout.width_m * 1000
    width, height = long + 2 * (edge + pad) + 30, wide + 2 * (edge + pad) + 20
    left, bottom = pad + edge + 30, pad + edge + wide
    names = ", ".join(f"{_LETTERS[i]} = {n} x {s.name}" for i, (s, n) in enumerate(_kinds(layout)))
    way = "across the bench" if layout.across_bench else "along the bench"
    told = f"{names}; strips run {way}; marks in {unit}"
    out = [
        f'<rect x="{left - edge:.2f}" y="{pad:.2f}" width="{long + 2 * edge:.2f}" height="{wide + 2 * edge:.2f}" '
        'fill="none" stroke="#888" stroke-width="0.4" stroke-dasharray="3 2"/>',
        f'<rect x="{left:.2f}" y="{pad + edge:.2f}" width="{long:.2f}" height="{wide:.2f}" fill="#fff" '
        'stroke="#222" stroke-width="0.6"/>',
    ]
    for piece in pieces(layout):
        points = " ".join(f"{left + x * 1000:.2f},{bottom - y * 1000:.2f}" for x, y in piece.corners)
        x, y = _middle(piece)
        out.append(f'<polygon points="{points}" fill="{_FILLS[piece.index % len(_FILLS)]}" stroke="#222" '
                   'stroke-width="0.3"/>')  # fmt: skip
        out.append(f'<text x="{left + x * 1000:.2f}" y="{bottom - y * 1000 + 2:.2f}" font-size="6" '
                   f'text-anchor="middle">{_LETTERS[piece.index % 10]}</text>')  # fmt: skip
    for mark in marks(layout):
        out.extend(_mark_lines(layout, mark, left, bottom, label))
    out.append(f'<text x="{left:.2f}" y="{height - 4:.2f}" font-size="6">{escape(told)}</text>')
    return out, width, height, told


def _kinds(layout: Layout):
    return list(zip(layout.shapes, layout.counts, strict=True))


def _middle(piece: Piece) -> tuple[float, float]:
    n = len(piece.corners)
    return sum(x for x, _ in piece.corners) / n, sum(y for _, y in piece.corners) / n


def _mark_lines(layout: Layout, mark: Marks, left: float, bottom: float, label) -> list[str]:
    out = []
    if mark.edge == "slit":
        for y in mark.at_m:
            at = bottom - y * 1000
            out.append(f'<text x="{left - 3:.2f}" y="{at + 2:.2f}" font-size="5" text-anchor="end">{label(y)}</text>')
            if y < layout.width_m - EPS:
                out.append(f'<line x1="{left - 2:.2f}" x2="{left + layout.length_m * 1000:.2f}" y1="{at:.2f}" '
                           f'y2="{at:.2f}" stroke="#b00" stroke-width="0.3"/>')  # fmt: skip
        return out
    strip = layout.strips[mark.strip - 1]
    level = strip.offset_m if mark.edge == "near" else strip.offset_m + strip.width_m
    at = bottom - level * 1000
    # On the sheet's own edges the figures stand outside, over the trim; between two strips inside, on a white ground.
    near = mark.edge == "near"
    outside = level < EPS or level > layout.width_m - EPS
    tick = 3.0 if near == outside else -3.0
    text = at + (tick + 5.0 if tick > 0 else tick - 1.0)
    for x in mark.at_m:
        where = left + x * 1000
        out.append(f'<line x1="{where:.2f}" x2="{where:.2f}" y1="{at:.2f}" y2="{at + tick:.2f}" stroke="#b00" '
                   'stroke-width="0.5"/>')  # fmt: skip
        out.append(f'<text x="{where:.2f}" y="{text:.2f}" font-size="5.5" text-anchor="middle" fill="#b00" '
                   f'stroke="#fff" stroke-width="1.6" paint-order="stroke">{label(x)}</text>')  # fmt: skip
    return out


def cells(layout: Layout, columns: int = 64) -> list[str]:
    """The map as lines of text: a letter for each kind of piece, in upper and lower case by turns; "." = offcut.

    A terminal cell is about twice as high as wide; `columns` (16..200) sets the size; a sheet wider than long is
    drawn smaller, no higher than a square one, or it would fill more than a screen. The near edge is at the bottom.
    """
    columns = max(16, min(200, columns))
    columns = max(16, min(columns, round(columns * layout.length_m / layout.width_m)))
    step = layout.length_m / columns
    rows = max(3, round(layout.width_m / (2 * step)))
    placed = pieces(layout)
    by_strip: dict[int, list[tuple[int, Piece]]] = {}
    for number, piece in enumerate(placed):
        by_strip.setdefault(piece.strip, []).append((number, piece))
    # Case by turns within each strip, so that neighbours differ.
    case = {number: k % 2 for group in by_strip.values() for k, (number, _) in enumerate(group)}
    lines = []
    for row in range(rows - 1, -1, -1):
        y = (row + 0.5) * layout.width_m / rows
        line = []
        for column in range(columns):
            x = (column + 0.5) * step
            hit = next((n for n, piece in enumerate(placed) if inside(piece.corners, x, y)), None)
            if hit is None:
                line.append(".")
            else:
                letter = _LETTERS[placed[hit].index % 10]
                line.append(letter.lower() if case[hit] else letter)
        lines.append("".join(line))
    return lines


def legend(layout: Layout) -> list[str]:
    """What each letter of the map stands for."""
    return [f"{_LETTERS[i % 10]}  {count} x {shape.name}" for i, (shape, count) in enumerate(_kinds(layout))]


def inside(corners: tuple[tuple[float, float], ...], x: float, y: float) -> bool:
    """Whether a point lies in a convex polygon, its edge included."""
    signs = set()
    for (ax, ay), (bx, by) in zip(corners, corners[1:] + corners[:1], strict=True):
        cross = (bx - ax) * (y - ay) - (by - ay) * (x - ax)
        if abs(cross) > EPS * EPS:
            signs.add(cross > 0)
    return len(signs) <= 1
