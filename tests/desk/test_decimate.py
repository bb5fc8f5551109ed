"""No spike may disappear: columns hold every extreme of the samples. Checked against plain loops (*independent*)."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tourier.picture.decimate import bridged, columns, extent
from tourier.picture.raster import Band, Series, draw, scale

_VALUES = st.lists(
    st.one_of(st.floats(-50, 300, width=32), st.just(float("nan"))), min_size=1, max_size=200
)  # the range a probe can show, and gaps


@given(
    values=_VALUES,
    gaps=st.lists(st.integers(1, 40), min_size=200, max_size=200),
    count=st.integers(1, 50),
    view=st.tuples(st.integers(-10, 3000), st.integers(1, 3000)),
)
def test_columns_hold_every_extreme(values, gaps, count, view):
    at_s = np.cumsum(gaps[: len(values)]).astype(float)
    value = np.array(values)
    from_s, to_s = view[0], view[0] + view[1]
    low, high = columns(at_s, value, from_s, to_s, count)
    edges = from_s + (to_s - from_s) * np.arange(count + 1) / count
    for column in range(count):
        inside = [
            v
            for t, v in zip(at_s, value, strict=True)
            if edges[column] <= t and (t < edges[column + 1] if column + 1 < count else t < to_s) and np.isfinite(v)
        ]
        if inside:
            assert low[column] == min(inside)
            assert high[column] == max(inside)
        else:
            assert np.isnan(low[column]) and np.isnan(high[column])


def test_empty_view_is_refused():
    with pytest.raises(ValueError, match="positive span"):
        columns(np.array([1.0]), np.array([1.0]), 5, 5, 10)


def test_extent_of_gaps_only():
    assert extent(np.array([np.nan])) is None
    assert extent(np.array([3.0, np.nan, -2.0])) == (-2.0, 3.0)


def test_a_lone_spike_reaches_its_row():
    at_s = np.arange(100_000.0)
    value = np.full(100_000, 10.0)
    value[54_321] = 19.9
    picture = draw([Series("probe", at_s, value)], [], 0, 100_000, 0, 20, 80, 10)
    top = picture.chars[0]
    column = int(54_321 / 100_000 * 80)
    assert top[column] != " "
    assert all(char == " " for index, char in enumerate(top) if index != column)


def test_band_is_drawn_with_rules_not_only_colour():
    picture = draw([], [Band(0, 50, 10, 15)], 0, 100, 0, 20, 40, 20)
    assert "▔" in picture.chars[5] and "▁" in picture.chars[10]
    assert "▔" not in picture.chars[5][30:]


def test_scale_labels_the_right_rows():
    labels = scale(0, 20, 20)
    assert labels[0] == "20°" and labels[-1] == "0°"


def test_neighbouring_samples_are_joined_and_a_silence_is_not():
    """Straight line between samples (*independent*: numpy.interp); nothing beside a missing reading or a long gap."""
    at_s = np.array([0.0, 60.0, 120.0, 900.0, 960.0, 1020.0])
    value = np.array([10.0, 16.0, 4.0, 20.0, np.nan, 12.0])
    low, high = columns(at_s, value, 0, 1080, 108)
    low, high = bridged(low, high, at_s, value, 0, 1080, 180)
    middles = np.arange(108) * 10.0 + 5
    joined = middles < 120
    expected = np.interp(middles, at_s, value)
    expected[[0, 6]] = value[[0, 1]]  # columns that hold a sample keep it
    assert np.allclose(low[joined], expected[joined]) and np.allclose(high[joined], expected[joined])
    known = np.isfinite(low) & ~joined
    assert np.flatnonzero(known).tolist() == [12, 90, 102]


@given(
    values=_VALUES,
    gaps=st.lists(st.integers(1, 400), min_size=200, max_size=200),
    count=st.integers(1, 50),
    bridge_s=st.integers(0, 500),
)
def test_joining_never_changes_a_column_that_holds_samples(values, gaps, count, bridge_s):
    at_s, value = np.cumsum(gaps[: len(values)]).astype(float), np.array(values)
    bare = columns(at_s, value, 0.0, float(at_s[-1]) + 1, count)
    joined = bridged(*bare, at_s, value, 0.0, float(at_s[-1]) + 1, bridge_s)
    for one, other in zip(bare, joined, strict=True):
        held = np.isfinite(one)
        assert np.array_equal(one[held], other[held])
        assert np.nanmax(other, initial=-99) <= np.nanmax(value, initial=-99)


def test_a_view_between_two_samples_shows_the_line_through_it():
    at_s, value = np.array([0.0, 60.0]), np.array([0.0, 20.0])
    picture = draw([Series("probe", at_s, value)], [], 20, 40, 0, 20, 40, 10)
    assert all(any(row[column] != " " for row in picture.chars) for column in range(40))
