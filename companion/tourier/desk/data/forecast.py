"""The next minutes of the dough as a band: the timer's own forecast, as wide as the last minutes were uneven.

Middle: a straight line from the present reading to the edge of the window that the timer says will be reached in
`left_s`; without such a forecast, the present rate goes on. The band opens with time by the scatter of the one-minute
rates of the last five minutes (two standard deviations, about 95 % if they are normal; judgement, no source), and by
the sensor's own noise at the start.
"""

from __future__ import annotations

import numpy as np

_LOOK_BACK_S = 300
_NOISE_C = 0.1
_LONGEST_S = 1800


def band(
    looks: np.ndarray, left_s: int | None, low_c: float | None, high_c: float | None
) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """Return (at_s, lowest °C, highest °C) of the next minutes, None when there is too little to go by.

    `looks`: rows of (at_s, probe °C), newest last, NaN for no reading.
    """
    if len(looks) < 2:
        return None
    recent = looks[(looks[:, 0] >= looks[-1, 0] - _LOOK_BACK_S) & np.isfinite(looks[:, 1])]
    if len(recent) < 8 or not np.isfinite(looks[-1, 1]) or recent[-1, 0] - recent[0, 0] < 30:
        return None
    rates = _rates(recent)
    rate = float(np.median(rates))
    now_s, now_c = float(recent[-1, 0]), float(np.median(recent[-3:, 1]))
    span_s = _LONGEST_S / 2
    if left_s is not None and left_s > 0 and low_c is not None and high_c is not None:
        edge = high_c if rate >= 0 else low_c
        span_s = min(float(left_s), _LONGEST_S)
        rate = (edge - now_c) / left_s
    ahead = np.linspace(0.0, span_s, 40)
    spread = _NOISE_C + 2.0 * float(np.std(rates)) * ahead / np.sqrt(max(1.0, len(rates) / 2))
    middle = now_c + rate * ahead
    return now_s + ahead, middle - spread, middle + spread


def _rates(recent: np.ndarray) -> np.ndarray:
    """Return slopes (°C/s) of up to five equal parts of the readings."""
    parts = np.array_split(recent, min(5, len(recent) // 4))
    slopes = []
    for part in parts:
        t = part[:, 0] - part[0, 0]
        if t[-1] > 0:
            slopes.append(np.polyfit(t, part[:, 1], 1)[0])
    return np.array(slopes or [0.0])
