"""Many samples in few columns without losing a spike: minimum and maximum of every column.

One pass of numpy over the visible samples; a million samples take a few milliseconds, so nothing is cached.
"""

from __future__ import annotations

import numpy as np


def columns(
    at_s: np.ndarray, values: np.ndarray, from_s: float, to_s: float, count: int
) -> tuple[np.ndarray, np.ndarray]:
    """Return (low, high), each `count` long: the extremes of `values` in equal columns of [from_s, to_s).

    `at_s` ascends; `values` may hold NaN for gaps. A column without a finite value is NaN in both. Every finite value
    in the view lies within the extremes of its own column. Raises ValueError for a count below 1 or an empty view.
    """
    if count < 1 or not to_s > from_s:
        raise ValueError("a view needs at least one column and a positive span")
    low = np.full(count, np.nan)
    high = np.full(count, np.nan)
    first, last = np.searchsorted(at_s, [from_s, to_s], side="left")
    if first == last:
        return low, high
    edges = from_s + (to_s - from_s) * np.arange(count + 1) / count
    starts = np.searchsorted(at_s, edges[:-1], side="left").clip(first, last)
    stops = np.append(starts[1:], last)
    filled = np.flatnonzero(stops > starts)
    seen = values[first:last]
    # reduceat runs from each start to the next one, which is right once the empty columns are left out.
    low[filled] = np.fmin.reduceat(seen, starts[filled] - first)
    high[filled] = np.fmax.reduceat(seen, starts[filled] - first)
    return low, high


def bridged(
    low: np.ndarray, high: np.ndarray, at_s: np.ndarray, values: np.ndarray, from_s: float, to_s: float, bridge_s: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return (low, high) with empty columns filled along the straight line between the samples before and after.

    `low`, `high` are what `columns` gave for the same view. A gap longer than `bridge_s`, or one beside a missing
    reading (NaN), stays a gap: a line there would show what nobody measured.
    """
    count = low.size
    edges = from_s + (to_s - from_s) * np.arange(count + 1) / count
    following = np.searchsorted(at_s, edges, side="left")
    empty = np.flatnonzero((following[1:] == following[:-1]) & (following[:-1] > 0) & (following[:-1] < at_s.size))
    after = following[empty]
    before = after - 1
    close = (at_s[after] - at_s[before] <= bridge_s) & np.isfinite(values[after]) & np.isfinite(values[before])
    empty, after, before = empty[close], after[close], before[close]
    share = ((edges[empty] + edges[empty + 1]) / 2 - at_s[before]) / (at_s[after] - at_s[before])
    line = values[before] + np.clip(share, 0.0, 1.0) * (values[after] - values[before])
    low, high = low.copy(), high.copy()
    low[empty] = high[empty] = line
    return low, high


def extent(values: np.ndarray) -> tuple[float, float] | None:
    """Return (lowest, highest) finite value, None when there is none."""
    finite = values[np.isfinite(values)]
    if finite.size == 0:
        return None
    return float(finite.min()), float(finite.max())
