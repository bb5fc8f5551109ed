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


def extent(values: np.ndarray) -> tuple[float, float] | None:
    """Return (lowest, highest) finite value, None when there is none."""
    finite = values[np.isfinite(values)]
    if finite.size == 0:
        return None
    return float(finite.min()), float(finite.max())
