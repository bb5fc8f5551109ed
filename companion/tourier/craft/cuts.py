"""Pieces on a sheet: how many fit, the smallest sheet for a wish, and where the ruler puts its marks.

Layouts are *guillotine strip layouts*, the way a sheet is cut by hand: straight slits from edge to edge make parallel
strips, and each strip is cut across into pieces of one shape. Triangles alternate, point up and point down. Within
that class the sheet found is the smallest there is (tests/craft/test_cuts.py compares with exhaustive search).

Lengths in metres. A blade allowance is lost between neighbouring strips and between neighbouring pieces.
Check by hand (from memory of a public recipe): 23 in of sheet and 3.5 in of base give floor(2*23/3.5) - 1 = 12.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tourier.craft.misfit import Misfit

EPS = 1e-9


class CutError(Misfit):
    """Pieces that do not fit; `quantity` names what limits, str() is one sentence."""


@dataclass(frozen=True)
class Shape:
    """One kind of piece: an isosceles triangle (base, height) or a rectangle (base = short side, height = long)."""

    name: str
    kind: str  # "triangle" or "rectangle"
    base_m: float
    height_m: float

    @property
    def area_m2(self) -> float:
        """Area of one piece."""
        return self.base_m * self.height_m * (0.5 if self.kind == "triangle" else 1.0)


@dataclass(frozen=True)
class Strip:
    """One strip: `count` pieces of wish `index`, in a strip `width_m` wide that starts `offset_m` from the near edge.

    `turned` = a rectangle lying with its long side along the strip.
    """

    index: int
    turned: bool
    count: int
    offset_m: float
    width_m: float


@dataclass(frozen=True)
class Layout:
    """A trimmed sheet and its strips. The strips run along `length_m`; `width_m` is measured across them.

    `across_bench` = the strips run across the bench, so that `length_m` lies along the bench's width.
    """

    shapes: tuple[Shape, ...]
    counts: tuple[int, ...]
    length_m: float
    width_m: float
    strips: tuple[Strip, ...]
    blade_m: float
    across_bench: bool = False

    @property
    def area_m2(self) -> float:
        """Area of the trimmed sheet."""
        return self.length_m * self.width_m

    @property
    def pieces_area_m2(self) -> float:
        """Area of all pieces."""
        return sum(s.area_m2 * n for s, n in zip(self.shapes, self.counts, strict=True))


@dataclass(frozen=True)
class Piece:
    """One placed piece: its corners (x along the strips, y from the near edge), metres."""

    index: int
    strip: int
    corners: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Marks:
    """Marks on one edge of one strip, in the order a cook walks the ruler: left to right, metres from the left end."""

    strip: int
    edge: str  # "near" or "far" edge of the strip; "slit" = across the strips, from the near edge
    at_m: tuple[float, ...]


# --- one strip --------------------------------------------------------------------------------------------------


def strip_width(shape: Shape, turned: bool) -> float:
    """Width of the strip a shape needs."""
    return shape.base_m if turned else shape.height_m


def pitch(shape: Shape, turned: bool, blade_m: float) -> tuple[float, float]:
    """(length of the first piece, length each further one adds) along the strip.

    Triangles: each further one adds half a base, and the slanted cut takes the blade's width times the secant of
    its slope.
    """
    if shape.kind == "triangle":
        half = shape.base_m / 2.0
        return shape.base_m, half + blade_m * math.hypot(shape.height_m, half) / shape.height_m
    step = shape.height_m if turned else shape.base_m
    return step, step + blade_m


def strip_length(shape: Shape, turned: bool, count: int, blade_m: float) -> float:
    """Length of strip that `count` pieces take."""
    first, more = pitch(shape, turned, blade_m)
    return first + (count - 1) * more


def strip_capacity(shape: Shape, turned: bool, length_m: float, blade_m: float) -> int:
    """How many pieces a strip of a length holds; 0 when not even one fits."""
    first, more = pitch(shape, turned, blade_m)
    if length_m + EPS < first:
        return 0
    return 1 + int((length_m - first + EPS) / more)


def _ways(shape: Shape) -> tuple[bool, ...]:
    # A triangle's strip has one way round (the other is the same layout with the sheet's sides exchanged);
    # a square gains nothing by turning.
    if shape.kind == "triangle" or abs(shape.base_m - shape.height_m) < EPS:
        return (False,)
    return (False, True)


# --- whole sheet ------------------------------------------------------------------------------------------------


def _cover(shape: Shape, count: int, length_m: float, blade_m: float) -> tuple[float, tuple[int, int]] | None:
    """Least total width (blade included per strip) of strips of this length holding `count`; None if none fits."""
    ways = _ways(shape)
    caps = [strip_capacity(shape, turned, length_m, blade_m) for turned in ways]
    widths = [strip_width(shape, turned) + blade_m for turned in ways]
    if len(ways) == 1:
        if caps[0] == 0:
            return None
        strips = -(-count // caps[0])
        return strips * widths[0], (strips, 0)
    best = None
    most = -(-count // caps[0]) if caps[0] else 0
    for upright in range(most + 1):
        left = max(0, count - upright * caps[0])
        if left and not caps[1]:
            continue
        lying = -(-left // caps[1]) if left else 0
        width = upright * widths[0] + lying * widths[1]
        if best is None or width < best[0] - EPS:
            best = (width, (upright, lying))
    return best


def edge_m(length_m: float, width_m: float, trim_fraction: float) -> float:
    """Width of the edge cut off all round so that it is `trim_fraction` of the rolled sheet (0 <= fraction < 1).

    Solves (L + 2e)(W + 2e)(1 - f) = L W. A 24 x 12 in sheet squared to 23 x 11 in loses 12.2 % by a half-inch edge.
    """
    if not 0.0 <= trim_fraction < 1.0:
        raise ValueError("trim must be at least 0 and below 1")
    half_sum = (length_m + width_m) / 2.0
    extra = length_m * width_m * trim_fraction / (1.0 - trim_fraction)
    return (-half_sum + math.sqrt(half_sum * half_sum + extra)) / 2.0


def smallest_sheet(
    wants: Sequence[tuple[Shape, int]],
    max_length_m: float,
    max_width_m: float,
    blade_m: float = 0.001,
    trim_fraction: float = 0.0,
) -> Layout:
    """The guillotine strip layout of least area that holds exactly the pieces wanted and fits, edge trim included.

    Strips are tried along and across the bench. Among equal areas the sheet nearest to square is taken.
    Raises CutError naming the limit when nothing fits.
    """
    wants = tuple((shape, count) for shape, count in wants if count > 0)
    if not wants:
        raise CutError("no pieces are wanted, so there is no sheet to roll", "pieces")
    for shape, _ in wants:
        if min(shape.base_m, shape.height_m) <= 0:
            raise CutError(f"{shape.name} has no size", "pieces")
    best: tuple[float, float] | None = None
    found = None
    for across in (False, True):
        top, side = (max_width_m, max_length_m) if across else (max_length_m, max_width_m)
        for length in _lengths(wants, top, blade_m):
            width = -blade_m
            strips: list[tuple[int, int]] = []
            for shape, count in wants:
                cover = _cover(shape, count, length, blade_m)
                if cover is None:
                    break
                width += cover[0]
                strips.append(cover[1])
            else:
                edge = edge_m(length, width, trim_fraction)
                if length + 2 * edge > top + EPS or width + 2 * edge > side + EPS:
                    continue
                rank = (round(length * width, 9), abs(math.log(length / width)))
                if best is None or rank < best:
                    best, found = rank, (length, width, tuple(strips), across)
    if found is None:
        raise _no_fit(wants, max_length_m, max_width_m, trim_fraction)
    length, width, numbers, across = found
    return _place(wants, length, width, numbers, blade_m, across)


def _no_fit(wants, max_length_m: float, max_width_m: float, trim_fraction: float) -> CutError:
    sides = sorted((max_length_m, max_width_m))
    bench = {"long": ("length", max_length_m), "wide": ("length", max_width_m)}
    for shape, _ in wants:
        small, large = sorted((shape.base_m, shape.height_m))
        if small > sides[0] + EPS or large > sides[1] + EPS:
            return CutError(
                "one {name} is {base} x {height} and does not fit on {long} x {wide} of bench",
                "bench",
                name=shape.name, base=("length", shape.base_m), height=("length", shape.height_m), **bench,
            )
    area = sum(s.area_m2 * n for s, n in wants) / (1.0 - trim_fraction)
    return CutError(
        "no layout of strips with these pieces fits in one sheet on {long} x {wide} of bench; pieces and trim alone "
        "take {area}",
        "bench",
        area=("area", area), **bench,
    )


def _lengths(wants, top: float, blade_m: float) -> list[float]:
    """Every strip length at which the number of pieces in some strip changes: the least area is at one of them."""
    found = set()
    for shape, count in wants:
        for turned in _ways(shape):
            most = min(count, strip_capacity(shape, turned, top, blade_m))
            for n in range(1, most + 1):
                found.add(round(strip_length(shape, turned, n, blade_m), 12))
    return sorted(found)


def _place(wants, length, width, strips, blade_m, across) -> Layout:
    placed: list[Strip] = []
    offset = 0.0
    for index, ((shape, count), numbers) in enumerate(zip(wants, strips, strict=True)):
        left = count
        for turned, number in zip((False, True), numbers, strict=True):
            capacity = strip_capacity(shape, turned, length, blade_m)
            for _ in range(number):
                here = min(left, capacity)
                left -= here
                wide = strip_width(shape, turned)
                placed.append(Strip(index, turned, here, offset, wide))
                offset += wide + blade_m
    shapes = tuple(shape for shape, _ in wants)
    return Layout(shapes, tuple(n for _, n in wants), length, width, tuple(placed), blade_m, across)


# --- what the cook draws ----------------------------------------------------------------------------------------


def pieces(layout: Layout) -> list[Piece]:
    """Every piece with its corners."""
    out = []
    for number, strip in enumerate(layout.strips, start=1):
        shape = layout.shapes[strip.index]
        first, more = pitch(shape, strip.turned, layout.blade_m)
        low, high = strip.offset_m, strip.offset_m + strip.width_m
        for n in range(strip.count):
            if shape.kind == "triangle":
                left = n * more
                right, middle = left + shape.base_m, left + shape.base_m / 2
                corners = ((left, low), (right, low), (middle, high)) if n % 2 == 0 else (
                    (left, high), (right, high), (middle, low))  # fmt: skip
            else:
                left = n * more
                corners = ((left, low), (left + first, low), (left + first, high), (left, high))
            out.append(Piece(strip.index, number, corners))
    return out


def marks(layout: Layout) -> list[Marks]:
    """Ruler marks: first the slits across the sheet, then each strip's near edge and far edge, left to right.

    A mark stands where the middle of the blade goes, or where the last piece ends. On a triangle's strip the near
    edge carries the corners of the pieces pointing away, and the far edge those of the pieces pointing near.
    """
    ends = []
    for strip, after in zip(layout.strips, (*layout.strips[1:], None), strict=True):
        end = strip.offset_m + strip.width_m
        ends.append(end if after is None else (end + after.offset_m) / 2)
    out = [Marks(0, "slit", tuple(ends))]
    placed = pieces(layout)
    for number, strip in enumerate(layout.strips, start=1):
        for edge, level in (("near", strip.offset_m), ("far", strip.offset_m + strip.width_m)):
            here = (piece.corners for piece in placed if piece.strip == number)
            at = sorted({x for corners in here for x, y in corners if abs(y - level) < EPS})
            out.append(Marks(number, edge, _merged(at, layout.blade_m)))
    return out


def _merged(at: list[float], blade_m: float) -> tuple[float, ...]:
    """Corners on both sides of one cut made into one mark; the start of the sheet needs none."""
    groups: list[list[float]] = []
    for x in at:
        # The slanted cuts of triangles are a little wider along the edge than the blade itself.
        if groups and x - groups[-1][-1] <= 1.5 * blade_m + EPS:
            groups[-1].append(x)
        else:
            groups.append([x])
    return tuple((group[0] + group[-1]) / 2 for group in groups if group[-1] > EPS)
