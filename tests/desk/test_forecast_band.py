"""The band of the bench room's picture holds what dough does next: Newton's law of cooling (any textbook of heat).

Golden rows: *independent* (the exact exponential, with noise of a thermistor's size).
"""

import numpy as np
import pytest
from tourier.desk.data.forecast import band

_BEGUN_C = 8.0


def _looks(rng, every_s: int, seen_s: int, tau_s: float, room_c: float, noise_c: float):
    at_s = np.arange(0, seen_s + 1, every_s, dtype=float)
    return np.column_stack([at_s, _dough(at_s, tau_s, room_c) + rng.normal(0, noise_c, at_s.size)])


def _dough(at_s, tau_s: float, room_c: float):
    return room_c + (_BEGUN_C - room_c) * np.exp(-at_s / tau_s)


@pytest.mark.parametrize("tau_min", [20, 40, 80])
def test_the_band_holds_the_dough_and_stays_narrow(tau_min):
    rng = np.random.default_rng(20261129)
    held, widths = [], []
    for room_c in (16, 22, 28):
        for every_s in (1, 5, 30):
            for seen_s in (60, 120, 300, 900, 2400):
                for noise_c in (0.02, 0.1):
                    looks = _looks(rng, every_s, seen_s, tau_min * 60, room_c, noise_c)
                    found = band(looks, None, 10.0, 16.0)
                    if found is None:
                        continue
                    at_s, low_c, high_c = found
                    truth = _dough(at_s, tau_min * 60, room_c)
                    held.append(np.mean((truth >= low_c) & (truth <= high_c)))
                    widths.append(float(high_c[-1] - low_c[-1]))
    assert len(held) > 70
    assert np.mean(held) >= 0.95
    assert np.median(widths) < 3.0 and max(widths) < 6.5


def test_no_band_from_too_little():
    assert band(np.empty((0, 2)), None, 10.0, 16.0) is None
    short = np.column_stack([np.arange(0, 50, 5.0), np.full(10, 9.0)])
    assert band(short, None, 10.0, 16.0) is None
    lost = np.column_stack([np.arange(0, 200, 5.0), np.full(40, 9.0)])
    lost[-1, 1] = np.nan
    assert band(lost, None, 10.0, 16.0) is None


def test_with_the_timers_own_forecast_the_band_ends_at_the_edge():
    at_s = np.arange(0, 301, 5.0)
    looks = np.column_stack([at_s, 12.0 + at_s / 600])
    ends, low_c, high_c = band(looks, 1200, 10.0, 16.0)
    assert ends[-1] == pytest.approx(300 + 1200)
    assert low_c[-1] < 16.0 < high_c[-1]
    assert high_c[-1] - low_c[-1] < 2.5  # 3.5 °C to go, a quarter of it to either side, and the noise
    assert (low_c[-1] + high_c[-1]) / 2 == pytest.approx(16.0)
