"""How sure the butter's pliable window is after bend tests: the posterior of both edges, on a fine grid of floats.

The same statement as the timer's integer rule (`shared_schedule.window.shift_window`), worked out another way: both
edges share a shift (normal, 2 °C) and have a part of their own (normal, 0.75 °C); butter cracks below the low edge and
is greasy above the high one along logistic curves of scale 0.5 °C; one verdict in fifty is a slip. The figures are
common practice, no source. A test holds the two together.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np
from scipy.special import expit

from shared_schedule.units import NO_CDEG
from shared_schedule.window import CRACKED, GREASY

SHIFT_C, OWN_C, SCALE_C, SLIP = 2.0, 0.75, 0.5, 0.02
_REACH_C, _STEP_C = 8.0, 0.05


class Edge(NamedTuple):
    """Mean and 90 % band of one edge, °C."""

    mean_c: float
    low_c: float
    high_c: float


def edges(low_c: float, high_c: float, readings: list[tuple[int, int]]) -> tuple[Edge, Edge]:
    """Return both edges after bend tests given as (0.01 °C, verdict) of a butter whose plan says low_c..high_c."""
    off, prior = _prior()
    good = [(cdeg / 100, verdict) for cdeg, verdict in readings if cdeg != NO_CDEG and CRACKED <= verdict <= GREASY]
    at_low, at_high = np.zeros_like(off), np.zeros_like(off)
    for c, verdict in good:
        cracks = np.clip(expit((low_c + off - c) / SCALE_C), SLIP, 1 - SLIP)
        greasy = np.clip(expit((c - high_c - off) / SCALE_C), SLIP, 1 - SLIP)
        at_low += np.log(cracks if verdict == CRACKED else 1 - cracks)
        at_high += np.log(greasy if verdict == GREASY else 1 - greasy)
    joint = prior * np.exp(at_low - at_low.max())[:, None] * np.exp(at_high - at_high.max())[None, :]
    return _edge(low_c + off, joint.sum(axis=1)), _edge(high_c + off, joint.sum(axis=0))


@cache
def _prior() -> tuple[np.ndarray, np.ndarray]:
    """Return the grid (°C away from the plan's edge) and the prior of both edges on it: Gaussian, greatest 1."""
    off = np.arange(-_REACH_C, _REACH_C + _STEP_C / 2, _STEP_C)
    cov = SHIFT_C**2 + OWN_C**2 * np.eye(2)
    edges = np.stack(np.meshgrid(off, off, indexing="ij"), -1)
    return off, np.exp(-0.5 * np.einsum("...i,ij,...j", edges, np.linalg.inv(cov), edges))


def _edge(at_c: np.ndarray, weight: np.ndarray) -> Edge:
    share = np.cumsum(weight) / weight.sum()
    low, high = np.interp([0.05, 0.95], share, at_c)
    return Edge(float((at_c * weight).sum() / weight.sum()), float(low), float(high))
