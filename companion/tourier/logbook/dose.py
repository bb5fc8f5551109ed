"""Proof dose of a logged step: seconds at the reference temperature, by the plan's cardinal temperatures.

Rosso's cardinal model, gamma(T_opt) = 1, gamma(T_min) = gamma(T_max) = 0:
gamma = (T - Tmax)(T - Tmin)^2 / ((Topt - Tmin)((Topt - Tmin)(T - Topt) - (Topt - Tmax)(Topt + Tmin - 2T)))
Source of the form: Rosso et al. 1993/1995, as used by Salvado et al. 2011, AEM 77:2292. Vectorised here for whole
logs; the device's own step-by-step sum is `shared_schedule.ferment`, and a test holds the two together.
"""

from __future__ import annotations

import math

import numpy as np

from shared_schedule import plan as plans
from shared_schedule.units import NO_CDEG
from tourier.logbook.model import Floats


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
