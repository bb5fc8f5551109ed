"""The next minutes of the dough as a band: the timer's own forecast, as wide as the readings so far allow.

Middle: a straight line from the present reading to the edge of the window that the timer says will be reached in
`left_s`; without such a forecast, the rate of the last five minutes goes on.

Half width: a quarter of the change foreseen, because dough warms along a bent curve, not a line (exponential approach
with a time constant of 20 min and more bends away from its tangent by less than that in the time shown; judgement, no
source); and twice the sensor's own noise. Where the rate had to be read off the curve, twice the standard error of a
straight line's prediction instead (ordinary least squares, any textbook of regression:
s * sqrt(1 + 1/n + (t - mean t)^2 / Sxx)), s never below that noise.
"""

from __future__ import annotations

import numpy as np

_LOOK_BACK_S = 300
_LEAST_BACK_S = 60  # of less than a minute a rate cannot be told from noise
_LEAST_LOOKS = 6
_AHEAD_PER_BACK = 2.0  # how far a bare rate is drawn on, of the time it was seen
_NOISE_C = 0.1
_BENT = 0.25
_LONGEST_S = 1800
_POINTS = 40
_NOW_S = 5.0  # a moment's readings stand for now


def band(
    looks: np.ndarray, left_s: int | None, low_c: float | None, high_c: float | None
) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """Return (at_s, lowest °C, highest °C) of the next minutes, None when there is too little to go by.

    `looks`: rows of (at_s, probe °C), newest last, NaN for no reading. With `left_s` (> 0) the band ends at the edge
    of the window, half an hour ahead at most; without, it goes twice as far ahead as it could look back.
    """
    if len(looks) < 2:
        return None
    recent = looks[(looks[:, 0] >= looks[-1, 0] - _LOOK_BACK_S) & np.isfinite(looks[:, 1])]
    if len(recent) < _LEAST_LOOKS or not np.isfinite(looks[-1, 1]):
        return None
    now_s = float(recent[-1, 0])
    back_s = now_s - float(recent[0, 0])
    if back_s < _LEAST_BACK_S:
        return None
    t_s, c = recent[:, 0] - now_s, recent[:, 1]
    rate, line_c, scatter_c, mean_s, sxx = _line(t_s, c)
    if left_s is not None and left_s > 0 and low_c is not None and high_c is not None:
        now_c = float(np.median(c[t_s >= -_NOW_S]))
        ahead_s = np.linspace(0.0, min(float(left_s), _LONGEST_S), _POINTS)
        change_c = ((high_c if rate >= 0 else low_c) - now_c) / left_s * ahead_s
        error_c = np.full(_POINTS, _NOISE_C)
    else:
        now_c = line_c
        ahead_s = np.linspace(0.0, min(back_s * _AHEAD_PER_BACK, _LONGEST_S), _POINTS)
        change_c = rate * ahead_s
        error_c = scatter_c * np.sqrt(1.0 + 1.0 / len(recent) + (ahead_s - mean_s) ** 2 / sxx)
    half_c = 2.0 * error_c + _BENT * np.abs(change_c)
    return now_s + ahead_s, now_c + change_c - half_c, now_c + change_c + half_c


def _line(t_s: np.ndarray, c: np.ndarray) -> tuple[float, float, float, float, float]:
    """Return (rate °C/s, °C at t = 0, scatter °C, mean of t, Sxx) of the best straight line."""
    mean_s = float(t_s.mean())
    sxx = float(np.sum((t_s - mean_s) ** 2))
    rate = float(np.sum((t_s - mean_s) * c) / sxx)
    now_c = float(c.mean() - rate * mean_s)
    left = c - (now_c + rate * t_s)
    scatter_c = float(np.sqrt(np.sum(left**2) / max(1, len(c) - 2)))
    return rate, now_c, max(scatter_c, _NOISE_C), mean_s, sxx
