"""What a run of the heat model leaves behind, and how to read it: times, temperatures, slopes, crossings."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

#: The one free number of ROS2 (see :mod:`tourier.craft.heat`); it also says how far the first stage runs ahead.
GAMMA = 1.0 - np.sqrt(0.5)

Number = float | np.ndarray


@dataclass
class History:
    """What a run leaves. ``t_s`` (steps,), ``t_c`` (steps, scenarios, cells)."""

    t_s: np.ndarray
    t_c: np.ndarray
    heat_in_j_m2: np.ndarray  # (scenarios,) through both faces since the start
    stored_j_m2: np.ndarray  # (scenarios,) gained by the cells, from their temperatures at start and end
    x_m: np.ndarray = field(repr=False)  # cell centres (scenarios, cells)
    _stages: tuple[list, list] = field(repr=False)
    kinked: bool = False  # ice came or went: temperatures are no smooth curves between the steps

    @cached_property
    def rate(self) -> np.ndarray:
        """dT/dt at every step, as ``t_c``, without the noise of stiff parts: first stage less what it runs ahead."""
        rate = np.empty_like(self.t_c)
        spans = np.diff(self.t_s)[:, None, None]
        rate[:-1] = np.array(self._stages[0]) - (GAMMA / (1.0 - 2.0 * GAMMA)) * spans * np.array(self._stages[1])
        rate[-1] = 2.0 * (self.t_c[-1] - self.t_c[-2]) / spans[-1] - rate[-2]
        return _monotone(rate, np.diff(self.t_c, axis=0) / spans) if self.kinked else rate

    def at(self, seconds: float) -> np.ndarray:
        """Temperatures (scenarios, cells) at a time within the run, cubic between steps."""
        i = int(np.clip(np.searchsorted(self.t_s, seconds) - 1, 0, len(self.t_s) - 2))
        return _hermite(self.t_s, self.t_c, self.rate, i, seconds)

    def trace(self, weights: np.ndarray) -> np.ndarray:
        """A weighted mean of the cells over time, (steps, scenarios); weights (cells,) or (scenarios, cells)."""
        return np.einsum("nsc,sc->ns", self.t_c, np.broadcast_to(weights, self.t_c.shape[1:]))

    def crossing_s(self, weights: np.ndarray, level: Number) -> np.ndarray:
        """First time (scenarios,) at which a weighted mean passes ``level``, from either side; nan when it does not."""
        y = self.trace(weights)
        dy = np.einsum("nsc,sc->ns", self.rate, np.broadcast_to(weights, self.t_c.shape[1:]))
        level = np.broadcast_to(level, y.shape[1:])
        out = np.full(y.shape[1], np.nan)
        for s in range(y.shape[1]):
            over = y[:, s] - level[s]
            hits = np.nonzero(np.sign(over[1:]) != np.sign(over[0]))[0]
            if over[0] == 0.0:
                out[s] = self.t_s[0]
            elif len(hits):
                i = hits[0]
                low, high = self.t_s[i], self.t_s[i + 1]
                for _ in range(40):
                    mid = 0.5 * (low + high)
                    v = _hermite(self.t_s, y[:, s], dy[:, s], i, mid) - level[s]
                    if np.sign(v) == np.sign(over[0]):
                        low = mid
                    else:
                        high = mid
                out[s] = 0.5 * (low + high)
        return out


def _monotone(rate, secant):
    """Slopes with which a cubic between the steps stays between its ends (Fritsch and Carlson 1980, from memory)."""
    before, after = np.concatenate([secant[:1], secant]), np.concatenate([secant, secant[-1:]])
    most = np.where(before * after > 0.0, 3.0 * np.minimum(np.abs(before), np.abs(after)), 0.0)
    return np.clip(rate, np.where(after > 0.0, 0.0, -most), np.where(after > 0.0, most, 0.0))


def _hermite(t, y, dy, i, at):
    h = t[i + 1] - t[i]
    u = (at - t[i]) / h
    return (
        (1 + 2 * u) * (1 - u) ** 2 * y[i]
        + u * (1 - u) ** 2 * h * dy[i]
        + u * u * (3 - 2 * u) * y[i + 1]
        + u * u * (u - 1) * h * dy[i + 1]
    )
