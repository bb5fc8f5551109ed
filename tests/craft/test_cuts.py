"""Cuts: capacity, smallest sheet against exhaustive search, marks, and that promised pieces are placed pieces."""

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from most_pieces import most_pieces
from tourier.craft import cuts
from tourier.craft.cuts import CutError, Shape

IN = 0.0254


def triangle(base, height):
    return Shape("t", "triangle", base, height)


def rectangle(base, height):
    return Shape("r", "rectangle", base, height)


def test_triangles_in_a_row_as_a_public_recipe_has_them():
    # published: a 23 in sheet cut at 3.5 in gives 12 (foodandwine.com classic croissants); floor(2 L / b) - 1.
    assert cuts.strip_capacity(triangle(3.5 * IN, 11 * IN), False, 23 * IN, 0.0) == 12


def test_sheet_turned_gives_more():
    # independent: 60 x 40 cm with 10 x 25 cm triangles gives one row of 11, or 14 when turned (practice notes).
    assert cuts.strip_capacity(triangle(0.10, 0.25), False, 0.60, 0.0) == 11
    layout = most_pieces(triangle(0.10, 0.25), 0.60, 0.40, 0.0)
    assert sum(layout.counts) == 14
    assert layout.across_bench


def test_square_up_edge_of_a_public_recipe():
    # published: 24 x 12 in squared up to 23 x 11 in is a half-inch edge all round (foodandwine.com).
    fraction = 1 - 23 * 11 / (24 * 12)
    assert cuts.edge_m(23 * IN, 11 * IN, fraction) == pytest.approx(0.5 * IN, rel=1e-9)
    assert fraction == pytest.approx(0.12, abs=0.002)


# --- the smallest sheet against exhaustive search -----------------------------------------------------------------


def _strip_length(shape, turned, n, blade):
    """Written again from the geometry, not taken from the module."""
    if shape.kind == "triangle":
        slope = math.atan2(shape.base_m / 2, shape.height_m)
        return shape.base_m + (n - 1) * (shape.base_m / 2 + blade / math.cos(slope))
    side = shape.height_m if turned else shape.base_m
    return n * side + (n - 1) * blade


def _partitions(n, most=None):
    most = most or n
    if n == 0:
        yield ()
        return
    for first in range(min(n, most), 0, -1):
        for rest in _partitions(n - first, first):
            yield (first, *rest)


def _all_strips(shape, count):
    """Every way to put `count` pieces into strips, each strip either way round."""
    ways = (False,) if shape.kind == "triangle" else (False, True)
    for parts in _partitions(count):
        for turns in itertools.product(ways, repeat=len(parts)):
            yield tuple(zip(parts, turns, strict=True))


def brute_force(wants, max_length, max_width, blade):
    best = math.inf
    for combination in itertools.product(*(_all_strips(shape, count) for shape, count in wants)):
        length, width = 0.0, -blade
        for (shape, _), strips in zip(wants, combination, strict=True):
            for n, turned in strips:
                length = max(length, _strip_length(shape, turned, n, blade))
                width += (shape.base_m if turned else shape.height_m) + blade
        for a, b in ((max_length, max_width), (max_width, max_length)):
            if length <= a + 1e-9 and width <= b + 1e-9:
                best = min(best, length * width)
    return best


SIZES = st.integers(2, 9).map(lambda n: n / 100)


@settings(max_examples=120, deadline=None)
@given(
    st.lists(st.tuples(st.sampled_from(["triangle", "rectangle"]), SIZES, SIZES, st.integers(1, 5)), min_size=1,
             max_size=2),
    st.integers(8, 40).map(lambda n: n / 100),
    st.integers(8, 40).map(lambda n: n / 100),
    st.sampled_from([0.0, 0.001, 0.003]),
)  # fmt: skip
def test_smallest_sheet_is_as_small_as_any(rows, length, width, blade):
    wants = [(Shape(f"s{i}", kind, *sorted((a, b))), n) for i, (kind, a, b, n) in enumerate(rows)]
    expected = brute_force(wants, length, width, blade)
    if math.isinf(expected):
        with pytest.raises(CutError):
            cuts.smallest_sheet(wants, length, width, blade)
    else:
        assert cuts.smallest_sheet(wants, length, width, blade).area_m2 == pytest.approx(expected, rel=1e-6)


@settings(max_examples=60, deadline=None)
@given(SIZES, SIZES, st.integers(5, 30), st.integers(5, 30), st.sampled_from(["triangle", "rectangle"]))
def test_most_pieces_against_exhaustive_search(a, b, long, wide, kind):
    shape = Shape("s", kind, *sorted((a, b)))
    best = 0
    for run, side in ((long / 100, wide / 100), (wide / 100, long / 100)):
        ways = [(shape.height_m, False)] + ([] if kind == "triangle" else [(shape.base_m, True)])
        rows = [range(int(side / w + 1e-9) + 1) for w, _ in ways]
        for numbers in itertools.product(*rows):
            if sum(n * w for n, (w, _) in zip(numbers, ways, strict=True)) > side + 1e-9:
                continue
            per = []
            for _, turned in ways:
                n = 0
                while _strip_length(shape, turned, n + 1, 0.0) <= run + 1e-9:
                    n += 1
                per.append(n)
            best = max(best, sum(n * p for n, p in zip(numbers, per, strict=True)))
    if best == 0:
        with pytest.raises(CutError):
            most_pieces(shape, long / 100, wide / 100, 0.0)
    else:
        assert sum(most_pieces(shape, long / 100, wide / 100, 0.0).counts) == best


# --- what is placed ----------------------------------------------------------------------------------------------


def _overlap(a, b):
    """Whether two convex polygons overlap by more than a hair (separating axes)."""
    for one, two in ((a, b), (b, a)):
        for (ax, ay), (bx, by) in zip(one, one[1:] + one[:1], strict=True):
            nx, ny = by - ay, ax - bx
            size = math.hypot(nx, ny)
            left = [(x * nx + y * ny) / size for x, y in one]
            right = [(x * nx + y * ny) / size for x, y in two]
            if max(left) <= min(right) + 1e-9 or max(right) <= min(left) + 1e-9:
                return False
    return True


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.sampled_from(["triangle", "rectangle"]), SIZES, SIZES, st.integers(1, 9)), min_size=1,
             max_size=3),
    st.sampled_from([0.0, 0.001, 0.002]),
)  # fmt: skip
def test_pieces_are_all_there_inside_the_sheet_and_apart(rows, blade):
    wants = [(Shape(f"s{i}", kind, *sorted((a, b))), n) for i, (kind, a, b, n) in enumerate(rows)]
    layout = cuts.smallest_sheet(wants, 2.0, 1.0, blade, 0.12)
    placed = cuts.pieces(layout)
    for index, (_, count) in enumerate(wants):
        assert sum(p.index == index for p in placed) == count
    for piece in placed:
        for x, y in piece.corners:
            assert -1e-9 <= x <= layout.length_m + 1e-9
            assert -1e-9 <= y <= layout.width_m + 1e-9
    for a, b in itertools.combinations(placed, 2):
        assert not _overlap(a.corners, b.corners)
    edge = cuts.edge_m(layout.length_m, layout.width_m, 0.12)
    rolled = (layout.length_m + 2 * edge) * (layout.width_m + 2 * edge)
    assert 1 - layout.area_m2 / rolled == pytest.approx(0.12, abs=1e-9)


def test_marks_in_walking_order_for_six_triangles():
    # independent, by hand: base 10 cm, no blade: near edge at 10, 20, 30 and the end of the far triangle's point 35.
    layout = cuts.smallest_sheet([(triangle(0.10, 0.20), 6)], 0.40, 0.25, 0.0)
    slit, near, far = cuts.marks(layout)
    assert slit.at_m == pytest.approx((0.20,))
    assert near.at_m == pytest.approx((0.10, 0.20, 0.30))
    assert far.at_m == pytest.approx((0.05, 0.15, 0.25, 0.35))
    assert all(a < b for a, b in itertools.pairwise(near.at_m))


def test_marks_never_drift_by_more_than_half_a_sixteenth():
    layout = cuts.smallest_sheet([(triangle(3.5 * IN, 11 * IN), 12)], 24 * IN, 12 * IN, 0.001)
    from tourier.voice import sixteenths

    for mark in cuts.marks(layout):
        for at in mark.at_m:
            assert abs(sixteenths(at) * IN / 16 - at) <= IN / 32 + 1e-9


def test_refusals_name_the_limit():
    with pytest.raises(CutError, match="does not fit") as caught:
        cuts.smallest_sheet([(triangle(0.09, 0.7), 2)], 0.5, 0.4)
    assert caught.value.quantity == "bench"
    with pytest.raises(CutError, match="fits in one sheet"):
        cuts.smallest_sheet([(triangle(0.09, 0.25), 200)], 0.6, 0.4)
    with pytest.raises(CutError, match="no pieces"):
        cuts.smallest_sheet([(triangle(0.09, 0.25), 0)], 0.6, 0.4)
