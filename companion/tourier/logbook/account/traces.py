"""One channel over one step: least, greatest, slope, degree-minutes outside a window, gaps, dose of proof.

Dose is in seconds at the reference temperature, by the plan's cardinal temperatures (Rosso's model,
gamma(T_opt) = 1, gamma(T_min) = gamma(T_max) = 0):
gamma = (T - Tmax)(T - Tmin)^2 / ((Topt - Tmin)((Topt - Tmin)(T - Topt) - (Topt - Tmax)(Topt + Tmin - 2T)))
Source of the form: Rosso et al. 1993/1995, as used by Salvado et al. 2011, AEM 77:2292. Vectorised here for whole
logs; the device's own step-by-step sum is `shared_schedule.ferment`, and a test holds the two together.

Temperatures °C, times s.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared_schedule import plan as plans
from shared_schedule.units import NO_CDEG
from tourier.logbook.record.model import Floats

_NEAR_S = 150.0  # butter and dough move by a few tenths of a degree in that time
_GAP_FACTOR = 3.0  # this many sampling intervals without a reading are a gap


@dataclass(frozen=True)
class Trace:
    """One channel over one step. Degree-minutes are outside the window; `rate_c_min` is a robust slope."""

    start_c: float = math.nan
    end_c: float = math.nan
    min_c: float = math.nan
    max_c: float = math.nan
    mean_c: float = math.nan
    rate_c_min: float = math.nan
    cold_degmin: float = 0.0
    warm_degmin: float = 0.0
    cold_s: float = 0.0
    warm_s: float = 0.0
    read_fraction: float = 0.0
    gaps: tuple[tuple[int, int], ...] = ()
    from_end_s: float = math.inf  # how long before the step's end the last reading was taken
    from_start_s: float = math.inf  # and how long after its beginning the first that counts

    @property
    def at_start_c(self) -> float:
        """What was read at the step's beginning; NaN when the needle came later."""
        return self.start_c if self.from_start_s <= _NEAR_S else math.nan

    @property
    def at_end_c(self) -> float:
        """What was read at the step's end; NaN when the needle was elsewhere by then."""
        return self.end_c if self.from_end_s <= _NEAR_S else math.nan

    @property
    def known(self) -> bool:
        """Whether at least half of the step was read."""
        return self.read_fraction >= 0.5


def trace(at_s: Floats, c: Floats, low_c: float, high_c: float, from_s: float, to_s: float, skip_s: float) -> Trace:
    """Return the account of one channel from its samples (NaN = no reading) in a step of from_s..to_s.

    The first skip_s count for nothing (the needle still settles). Degree-minutes are integrated by the trapezoid over
    neighbouring readings; a gap adds nothing, and samples left out of at_s (the needle was elsewhere) are no gap.
    """
    known = ~np.isnan(c)
    settled = known & (at_s >= from_s + skip_s)
    if not settled.any():
        settled = known  # a step shorter than the settling time: better its readings than none
    gaps = _gaps(at_s, known)
    if not known.any():
        return Trace(gaps=gaps)
    t, c = at_s[settled], c[settled]
    interval = float(np.median(np.diff(at_s))) if len(at_s) > 1 else 5.0
    limit = _GAP_FACTOR * max(interval, 1.0)
    # Each reading holds until the next, the last until the step's end; a gap is bridged by nothing.
    dt = np.diff(t, append=min(max(to_s, t[-1]), t[-1] + limit))
    dt = np.where(dt > limit, 0.0, dt)
    cold = np.maximum(0.0, low_c - c) if not math.isnan(low_c) else np.zeros_like(c)
    warm = np.maximum(0.0, c - high_c) if not math.isnan(high_c) else np.zeros_like(c)

    def integral(values: Floats) -> float:
        after = np.append(values[1:], values[-1])
        return float(np.sum(0.5 * (values + after) * dt))

    few = max(1, min(3, len(c)))
    return Trace(
        start_c=float(np.median(c[:few])), end_c=float(np.median(c[-few:])), min_c=float(c.min()),
        max_c=float(c.max()), mean_c=float(c.mean()), rate_c_min=slope_c_min(t, c),
        cold_degmin=integral(cold) / 60.0, warm_degmin=integral(warm) / 60.0,
        cold_s=integral((cold > 0).astype(float)), warm_s=integral((warm > 0).astype(float)),
        read_fraction=min(1.0, float(known.sum()) * interval / max(1.0, to_s - from_s)), gaps=gaps,
        from_end_s=float(to_s - t[-1]), from_start_s=float(t[0] - from_s),
    )  # fmt: skip


def _gaps(at_s: Floats, known: NDArray[np.bool_]) -> tuple[tuple[int, int], ...]:
    """Return the runs without a reading as (first, last) instants, 15 s and more."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], (~known).astype(np.int8), [0]))))
    out = []
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        from_s, to_s = int(at_s[start]), int(at_s[min(stop, len(at_s) - 1)])
        if to_s - from_s >= 15:
            out.append((from_s, to_s))
    return tuple(out)


def slope_c_min(t_s: Floats, c: Floats) -> float:
    """Return the median of pairwise slopes (Theil-Sen) in °C per minute; NaN below 30 s of readings."""
    if len(t_s) < 4 or t_s[-1] - t_s[0] < 30.0:
        return math.nan
    pick = np.unique(np.linspace(0, len(t_s) - 1, min(len(t_s), 60)).astype(int))
    t, y = t_s[pick], c[pick]
    i, j = np.triu_indices(len(t), 1)
    far = (t[j] - t[i]) >= 15.0
    if not far.any():
        return math.nan
    return float(np.median((y[j] - y[i])[far] / (t[j] - t[i])[far]) * 60.0)


def cardinal(t_c: Floats, min_c: float, opt_c: float, max_c: float) -> Floats:
    """Return gamma, 0..1, elementwise; NaN stays NaN."""
    t = np.asarray(t_c, float)
    span = opt_c - min_c
    with np.errstate(invalid="ignore", divide="ignore"):
        below = span * (span * (t - opt_c) - (opt_c - max_c) * (opt_c + min_c - 2 * t))
        gamma = (t - max_c) * (t - min_c) ** 2 / below
    return np.where(np.isnan(t), np.nan, np.where((t <= min_c) | (t >= max_c), 0.0, gamma))


def gathered_s(plan: plans.Plan, at_s: Floats, probe_c: Floats) -> float:
    """Return the dose of a stretch of readings in seconds at the plan's reference temperature.

    NaN when the probe was read in less than half of it. Short gaps are bridged in a straight line.
    """
    settings = (plan.yeast_min_cdeg, plan.yeast_opt_cdeg, plan.yeast_max_cdeg, plan.yeast_ref_cdeg)
    known = ~np.isnan(probe_c)
    if NO_CDEG in settings or known.sum() < 2 or known.mean() < 0.5:
        return math.nan
    low, opt, high, ref = (s / 100.0 for s in settings)
    gamma = cardinal(np.interp(at_s, at_s[known], probe_c[known]), low, opt, high)
    at_ref = float(cardinal(np.array([ref]), low, opt, high)[0])
    if at_ref <= 0:
        return math.nan
    return float(np.sum(0.5 * (gamma[1:] + gamma[:-1]) * np.diff(at_s)) / at_ref)
