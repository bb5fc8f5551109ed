"""One-dimensional transient conduction through a stack of layers, many scenarios at once.

    rho dh/dt = d/dx (k dT/dx),  h(T) with melting butter and ice in it,  a film, a fixed temperature or nothing at each
    face

Finite volumes, cell centres, half-cell resistances at faces and contacts: second order in space. In time the two-stage
Rosenbrock method ROS2 with gamma = 1 - 1/sqrt 2 (Verwer et al. 1999, SIAM J. Sci. Comput. 20:1456, from memory):
implicit, second order, L-stable, so any step is stable and a sudden contact leaves no ringing; one factorisation and
two solves a step, no iteration. The enthalpy of each cell is the quantity stepped, by what flows through its faces, so
the balance closes to rounding whatever the step; the temperature follows from the enthalpy.
The step follows the method's own error estimate unless a fixed one is asked for.

All scenarios of a run share one time step and are laid end to end as one tridiagonal system with broken links, which
LAPACK's positive definite solver (dpttrf, dpttrs) does in one call: cost is linear in cells x steps x scenarios.

Units: m, s, degrees C, W, J; fluxes into the stack are positive.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg.blas import idamax  # pyright: ignore[reportAttributeAccessIssue]
from scipy.linalg.lapack import dpttrf, dpttrs  # pyright: ignore[reportAttributeAccessIssue]

from tourier.craft.butter import melting_heat_j_kg
from tourier.craft.history import GAMMA, History, Number
from tourier.craft.properties import Material

# Third-derivative error per step (1/6 - 3 gamma^2 + 2 gamma^3), over the factor that `bend` carries.
_ERROR = abs(1.0 / 6.0 - 3.0 * GAMMA**2 + 2.0 * GAMMA**3) / (1.0 - 2.0 * GAMMA)

# Fine enough that a heat capacity read off a step of the table does not spoil the order in time.
_TABLE_LOW_C, _TABLE_HIGH_C, _TABLE_PER_K = -21.0, 41.0, 200
_ICE_TABLE_LOW_C = -45.0
# A step that takes a cell across its freezing point guesses the cell's temperature badly; it is made again, shorter,
# when the guess is out by more than so many times the tolerance, but not shorter than this.
_ICE_OFF, _ICE_STEP_S = 10.0, 0.5
_COLDEST_C, _HOTTEST_C = -200.0, 1000.0  # what air that is a function of time may come to

Drive = float | np.ndarray | Callable[[float], "float | np.ndarray"]


@dataclass(frozen=True)
class Layer:
    """One layer, bottom to top in a :class:`Stack`.

    ``thickness_m``, ``t0_c`` and the three scales may be a number or one value per scenario; ``t0_c`` may also be a
    whole profile, (cells,) or (scenarios, cells), bottom first. ``contact`` is the conductance W/(m2 K) of the joint
    with the layer above (flour, paper, trapped air); infinite = perfect.
    """

    material: Material
    thickness_m: Number
    cells: int
    t0_c: Number
    contact: Number = np.inf
    k_scale: Number = 1.0
    rc_scale: Number = 1.0
    melt_scale: Number = 1.0


@dataclass(frozen=True)
class Face:
    """What an outer face sees: a film ``h`` W/(m2 K) to ``air_c``; h = 0 insulates, h = inf fixes its temperature.

    ``air_c`` is a number, one value per scenario, or a function of time in s.
    """

    h: Number = 0.0
    air_c: Drive = 0.0


def _per_cell(value, scenarios: int, cells: int) -> np.ndarray:
    """A number, one per scenario, one per cell or a full field as (scenarios, cells)."""
    a = np.asarray(value, dtype=float)
    if a.ndim == 1 and a.shape[0] == scenarios and scenarios > 1:
        a = a[:, None]
    return np.broadcast_to(a, (scenarios, cells))


class Stack:
    """Layers from bottom to top between two faces, for one or many scenarios; then :meth:`run`.

    ``ValueError`` names what cannot be: no layers, a thickness or conductivity of zero or less, too few cells.
    """

    def __init__(self, layers: Sequence[Layer], bottom: Face, top: Face, scenarios: int = 1) -> None:
        if not layers:
            raise ValueError("a stack needs at least one layer")
        self.scenarios = scenarios
        self.layers = tuple(layers)
        self.bottom, self.top = bottom, top
        self.cells = n = sum(layer.cells for layer in layers)
        shape = (scenarios, n)
        self._dz, k = np.empty(shape), np.empty(shape)
        self._cap, self._melt = np.empty(shape), np.zeros(shape)
        self._t0 = np.empty(shape)
        joint = np.zeros(shape)  # resistance of the joint above a cell
        self.slices: list[slice] = []
        melting: list[tuple[slice, Material]] = []
        start = 0
        t0s = [np.asarray(layer.t0_c, dtype=float) for layer in layers]
        seen = [_seen(bottom.air_c), _seen(top.air_c), *((float(t.min()), float(t.max())) for t in t0s)]
        self._coldest, self._hottest = min(low for low, _ in seen), max(high for _, high in seen)
        self._icy = False
        for layer in layers:
            if layer.cells < 1 or np.any(np.asarray(layer.thickness_m) <= 0.0) or layer.material.k <= 0.0:
                raise ValueError(f"layer {layer.material.name!r} needs a thickness, a conductivity and a cell")
            here = slice(start, start + layer.cells)
            self.slices.append(here)
            start += layer.cells
            m = layer.material
            self._dz[:, here] = _per_cell(layer.thickness_m, scenarios, layer.cells) / layer.cells
            k[:, here] = m.k * _per_cell(layer.k_scale, scenarios, layer.cells)
            self._cap[:, here] = m.rho * m.c * _per_cell(layer.rc_scale, scenarios, layer.cells)
            self._t0[:, here] = _per_cell(layer.t0_c, scenarios, layer.cells)
            joint[:, here.stop - 1] = 1.0 / np.broadcast_to(np.asarray(layer.contact, dtype=float), (scenarios,))
            freezes = any(ice.freezing_c > self._coldest for ice in m.ices)  # else the ice would cost time for nothing
            self._icy = self._icy or freezes
            if freezes or (m.fat is not None and m.butter_share > 0.0):
                melting.append((here, m if freezes else replace(m, ices=())))
                amount = m.rho * (1.0 if freezes else m.butter_share)
                self._melt[:, here] = amount * _per_cell(layer.melt_scale, scenarios, layer.cells)
        self._cap *= self._dz
        self._melt *= self._dz
        self._half = half = self._dz / (2.0 * k)
        # Conductances below each cell and above the last: films and half cells outside, joints between.
        self._link = np.empty((scenarios, n + 1))
        self._link[:, 1:-1] = 1.0 / (half[:, :-1] + joint[:, :-1] + half[:, 1:])
        self._link[:, 0] = _face_conductance(bottom.h, half[:, 0])
        self._link[:, -1] = _face_conductance(top.h, half[:, -1])
        self._pull = self._link[:, :-1] + self._link[:, 1:]
        broken = self._link[:, 1:].copy()
        broken[:, -1] = 0.0
        self._off = broken.ravel()[:-1]
        self._set_melting(melting)
        self.x_m = np.cumsum(self._dz, axis=1) - 0.5 * self._dz

    def _set_melting(self, melting) -> None:
        """Tables of melting heat, per kg of butter or, where ice may be, of the whole, as straight pieces A + B T."""
        self._melting = bool(melting)
        if not melting:
            return
        self._low = _ICE_TABLE_LOW_C if self._icy else _TABLE_LOW_C
        grid = np.arange(round((_TABLE_HIGH_C - self._low) * _TABLE_PER_K) + 1) / _TABLE_PER_K + self._low
        profiles = list(dict.fromkeys(_what_melts(m) for _, m in melting))
        first = min(here.start for here, _ in melting)
        self._at = slice(first, max(here.stop for here, _ in melting))
        self._offset = np.zeros(self._at.stop - first, dtype=np.intp)
        intercepts, slopes = [], []
        tabled = {_what_melts(m): m for _, m in melting}
        for profile in profiles:
            m = tabled[profile]
            heat = m.latent_j_kg(grid) if m.ices else melting_heat_j_kg(m.fat, grid)
            slope = np.diff(heat, append=heat[-1]) * _TABLE_PER_K
            intercepts.append(heat - slope * grid)
            slopes.append(slope)
        self._intercept, self._slope = np.concatenate(intercepts), np.concatenate(slopes)
        self._last = len(grid) - 1
        for here, m in melting:
            self._offset[here.start - first : here.stop - first] = profiles.index(_what_melts(m)) * len(grid)
        self._melt = np.ascontiguousarray(self._melt[:, self._at])
        self._one_profile = len(profiles) == 1
        if self._icy:
            self._amounts = self._melt.ravel()
            self._offsets = np.broadcast_to(self._offset, self._melt.shape).ravel()

    # --- physics ------------------------------------------------------------------------------------------------

    def _melt_part(self, here: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Melting heat J/m2 and its slope J/(m2 K) of the cells from the first to the last that melts."""
        x = here * _TABLE_PER_K
        x -= self._low * _TABLE_PER_K
        i = x.astype(np.intp)
        if not self._one_profile:
            np.clip(i, 0, self._last, out=i)
            i += self._offset
        slope = self._slope.take(i, mode="clip")
        heat = slope * here
        heat += self._intercept.take(i, mode="clip")
        heat *= self._melt
        slope *= self._melt
        return heat, slope

    def enthalpy(self, t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Heat content J/m2 of each cell (above 0 C, melting from -20 C) and its slope J/(m2 K), (scenarios, cells)."""
        h = self._cap * t
        if not self._melting:
            return h, self._cap
        heat, slope = self._melt_part(t[:, self._at])
        h[:, self._at] += heat
        c = self._cap.copy()
        c[:, self._at] += slope
        return h, c

    def temperature(self, h: np.ndarray, guess: np.ndarray) -> np.ndarray:
        """Temperatures whose heat content is ``h``, to rounding; Newton from ``guess``, h(T) being monotone."""
        t = guess
        for _ in range(50):
            now, c = self.enthalpy(t)
            step = (h - now) / c
            t = t + step
            if not self._melting or np.abs(step).max() < 1e-11:
                break
        return t

    def _thawed(self, h: np.ndarray, guess: np.ndarray, cap: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Temperatures of the cells that melt whose heat is ``h``, and their heat capacities: Newton kept in bounds.

        At the freezing point the heat capacity jumps tenfold, so Newton alone may swing across it for ever. Only the
        few cells that are there take more than two or three rounds, and only they take them.
        """
        shape, h, cap = h.shape, h.ravel(), cap.ravel()
        low, high = np.full(h.shape, self._coldest - 1.0), np.full(h.shape, self._hottest + 1.0)
        t = np.clip(guess.ravel(), low, high)
        slope, left = np.empty(h.shape), np.arange(h.size)
        for _ in range(60):
            here = t[left]
            heat, c = self._melt_at(left, here)
            c += cap[left]
            slope[left] = c
            short = h[left] - heat - cap[left] * here
            low[left] = np.where(short > 0.0, here, low[left])
            high[left] = np.where(short < 0.0, here, high[left])
            new = here + short / c
            new = np.where((new < low[left]) | (new > high[left]), 0.5 * (low[left] + high[left]), new)
            t[left] = new
            left = left[np.abs(new - here) > 1e-10]
            if not left.size:
                break
        return t.reshape(shape), slope.reshape(shape)

    def _melt_at(self, cells: np.ndarray, here: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """As `_melt_part`, for some of the cells, laid end to end."""
        at = ((here - self._low) * _TABLE_PER_K).astype(np.intp)
        np.clip(at, 0, self._last, out=at)
        at += self._offsets[cells]
        amount, slope = self._amounts[cells], self._slope[at]
        return (self._intercept[at] + slope * here) * amount, slope * amount

    def flow(self, t: np.ndarray, low_c, top_c) -> np.ndarray:
        """Heat flux upward-in at every joint, W/m2, (scenarios, cells + 1): what enters the cell above it."""
        full = np.empty((self.scenarios, self.cells + 2))
        full[:, 1:-1] = t
        full[:, 0] = low_c
        full[:, -1] = top_c
        return (full[:, 1:] - full[:, :-1]) * self._link

    # --- time ---------------------------------------------------------------------------------------------------

    def run(
        self,
        duration_s: float,
        tol_k: float = 0.01,
        step_s: float | None = None,
        stop: Callable[[float, np.ndarray], bool] | None = None,
    ) -> History:
        """Let ``duration_s`` pass.

        ``tol_k`` is the error aimed at in one step: with 0.01 a lock-in on stone stays within 0.01 K throughout, with
        0.03 within 0.02 K.
        ``step_s`` fixes the step instead.
        ``stop(t_s, temperatures (scenarios, cells))`` may end a run early.
        """
        if duration_s <= 0.0:
            raise ValueError("a run needs some time to pass")
        low_at, top_at = _drive(self.bottom.air_c), _drive(self.top.air_c)
        steady = not (callable(self.bottom.air_c) or callable(self.top.air_c))
        low, top = low_at(0.0), top_at(0.0)
        link, pull, off, melting, cap = self._link, self._pull, self._off, self._melting, self._cap
        link_low, link_top = link[:, 0], link[:, -1]
        shape = self._t0.shape
        t = self._t0
        h0, c = self.enthalpy(t)
        at = self._at if melting else slice(0, 0)  # the cells that melt, and their heat apart
        cap_at = np.ascontiguousarray(cap[:, at])
        h_at = h0[:, at]
        c_at = c_before = c[:, at]
        low2, top2, lift_low, lift_top = low, top, 0.0, 0.0
        # One row per scenario with the air at both ends, and views of it: a step is short, so is every name here.
        full = np.empty((self.scenarios, self.cells + 2))
        inner, upper, lower = full[:, 1:-1], full[:, 1:], full[:, :-1]
        inner[:] = t
        full[:, 0], full[:, -1] = low, top
        q = (upper - lower) * link
        gain = q[:, 1:] - q[:, :-1]
        now = 0.0
        times, states, k1s, bends, airs = [0.0], [t], [], [], [(low, top)]
        dt = step_s or self._first_step(tol_k, gain / c, duration_s)
        bend_before, dt_before = None, dt
        end_s = duration_s * (1.0 - 1e-12)
        while now < end_s:
            left = duration_s - now
            dt = left if dt >= left else min(dt, 0.5 * left) if step_s is None and dt > 0.6 * left else dt
            w = GAMMA * dt
            if melting:  # heat capacity half a step ahead, by the way it has been going
                c = cap.copy()
                ahead = c_at + min(0.5 * dt / dt_before, 0.6) * (c_at - c_before)  # > 0 for fat: c varies < 2.6 x
                c[:, at] = np.maximum(ahead, 0.5 * cap_at) if self._icy else ahead
            first = gain
            if not steady:  # the air's own rate belongs to the first stage and is taken back in the second
                low2, top2 = low_at(now + dt), top_at(now + dt)
                full[:, 0], full[:, -1] = low2, top2
                lift_low, lift_top = GAMMA * link_low * (low2 - low), GAMMA * link_top * (top2 - top)
                first = gain.copy()
                first[:, 0] += lift_low
                first[:, -1] += lift_top
            d, e, info = dpttrf((c + w * pull).ravel(), -w * off, overwrite_d=1, overwrite_e=1)
            if info:
                raise ArithmeticError("the heat model's matrix is not positive; a property must be below zero")
            k1 = dpttrs(d, e, first.ravel())[0].reshape(shape)
            np.multiply(k1, dt, out=inner)
            inner += t
            q = (upper - lower) * link
            rhs = q[:, 1:] - q[:, :-1]
            rhs -= (2.0 * c) * k1
            if not steady:
                rhs[:, 0] -= lift_low
                rhs[:, -1] -= lift_top
            k2 = dpttrs(d, e, rhs.ravel(), overwrite_b=1)[0].reshape(shape)
            k3 = k1 + k2
            bend = k3 / dt  # (1 - 2 gamma) times the second derivative, stiff parts damped
            grow = 1.0
            if step_s is None and bend_before is not None:
                worst = _ERROR * dt**3 / dt_before * _largest(bend - bend_before) / tol_k
                if worst > 1.3:
                    dt *= max(0.2, 0.9 * worst ** (-1.0 / 3.0))
                    continue
                grow = min(3.0, 0.9 * max(worst, 1e-3) ** (-1.0 / 3.0))
            new = inner + (0.5 * dt) * k3  # t + dt (1.5 k1 + 0.5 k2)
            if melting:
                # The cells that melt keep their heat; their temperature follows by one correction, and what that
                # leaves out is put right by the next.
                here = new[:, at]
                kept = h_at + c[:, at] * (here - t[:, at])
                if self._icy:
                    settled, c_new = self._thawed(kept, here, cap_at)
                    wrong = np.abs(settled - here).max()
                    if step_s is None and wrong > _ICE_OFF * tol_k and dt > _ICE_STEP_S:
                        dt *= max(0.2, 0.7 * np.sqrt(_ICE_OFF * tol_k / wrong))
                        continue
                    new[:, at], c_before, c_at = settled, c_at, c_new
                else:
                    c_before = c_at
                    heat, c_at = self._melt_part(here)
                    heat += cap_at * here
                    c_at += cap_at
                    here += (kept - heat) / c_at
                h_at = kept
            t = new
            now += dt
            if not steady:
                low, top = low2, top2
            inner[:] = t
            q = (upper - lower) * link
            gain = q[:, 1:] - q[:, :-1]
            times.append(now)
            states.append(t)
            k1s.append(k1)
            bends.append(bend)
            if not steady:
                airs.append((low, top))
            bend_before, dt_before = bend, dt
            dt *= grow
            if stop is not None and stop(now, t):
                break
        if melting and not self._icy:
            h = cap * t
            h[:, at] = h_at
            states[-1] = self.temperature(h, t)
        times, states = np.array(times), np.array(states)
        final, _ = self.enthalpy(states[-1])
        passed = self._passed(times, states, k1s, bends, None if steady else airs, low, top)
        return History(times, states, passed, (final - h0).sum(axis=1), self.x_m, (k1s, bends), self._icy)

    def _passed(self, times, states, k1, bend, airs, low, top) -> np.ndarray:
        """Heat through both faces, J/m2, counted from what the faces see and apart from the cells' own heat."""
        dt = np.diff(times)[:, None]
        total = np.zeros(self.scenarios)
        for cell, link, which in ((0, self._link[:, 0], 0), (-1, self._link[:, -1], 1)):
            if airs is None:
                first = second = (low, top)[which]
            else:
                seen = np.array([np.broadcast_to(pair[which], (self.scenarios,)) for pair in airs])
                first, second = seen[:-1], seen[1:]
            t, k = states[:-1, :, cell], np.array([stage[:, cell] for stage in k1])
            b = np.array([stage[:, cell] for stage in bend])
            stages = (first - t) + (second - t - dt * k) - GAMMA * dt * dt * b
            total += (0.5 * dt * link * stages).sum(axis=0)
        return total

    def _first_step(self, tol_k: float, rate, duration_s: float) -> float:
        """Small enough that the fastest cell moves by about the tolerance."""
        fastest = np.abs(rate).max()
        return min(duration_s, max(1e-3, 12.0 * tol_k / fastest)) if fastest > 0.0 else duration_s / 10.0

    # --- reading a state ----------------------------------------------------------------------------------------

    def weights(self, x_m: float | None = None, layer: int | None = None, share: float | None = None) -> np.ndarray:
        """Weights (scenarios, cells) that pick a temperature out of a state.

        ``layer`` alone: the mean of that layer. ``layer`` and ``share`` (0 bottom .. 1 top): a place in it.
        ``x_m``: a height above the stack's bottom. Linear between cell centres, flat beyond the outer ones.
        """
        shape = (self.scenarios, self.cells)
        w = np.zeros(shape)
        if layer is not None and share is None:
            w[:, self.slices[layer]] = self._dz[:, self.slices[layer]]
            return w / w.sum(axis=1, keepdims=True)
        for s in range(self.scenarios):
            if layer is not None:
                here = self.slices[layer]
                low = self.x_m[s, here.start] - 0.5 * self._dz[s, here.start]
                x = low + share * self._dz[s, here].sum()
                centres, base = self.x_m[s, here], here.start
            elif x_m is not None:
                x, centres, base = x_m, self.x_m[s], 0
            else:
                raise ValueError("say which layer, or a height in m")
            if len(centres) == 1 or x <= centres[0]:
                w[s, base] = 1.0
            elif x >= centres[-1]:
                w[s, base + len(centres) - 1] = 1.0
            else:
                i = int(np.searchsorted(centres, x)) - 1
                u = (x - centres[i]) / (centres[i + 1] - centres[i])
                w[s, base + i], w[s, base + i + 1] = 1.0 - u, u
        return w

    def face_c(self, state: np.ndarray, seconds: float, which: str = "top") -> np.ndarray:
        """Temperature (scenarios,) of an outer face for a state (scenarios, cells) at a time."""
        cell, g, half, face = (
            (state[:, -1], self._link[:, -1], self._half[:, -1], self.top)
            if which == "top"
            else (state[:, 0], self._link[:, 0], self._half[:, 0], self.bottom)
        )
        return cell + g * (_drive(face.air_c)(seconds) - cell) * half


def _largest(a: np.ndarray) -> float:
    flat = a.ravel()
    return float(abs(flat[idamax(flat)]))


def _what_melts(m: Material):
    """What a table of melting heat hangs on."""
    return (m.fat, m.butter_share, m.ices) if m.ices else m.fat


def _seen(air: Drive) -> tuple[float, float]:
    """The coldest and the hottest a face may see; a function of time may be what it likes."""
    return (_COLDEST_C, _HOTTEST_C) if callable(air) else (float(np.min(air)), float(np.max(air)))


def _face_conductance(h, half):
    h = np.asarray(h, dtype=float)
    with np.errstate(divide="ignore"):
        return np.where(h > 0.0, 1.0 / (1.0 / h + half), 0.0)


def _drive(air: Drive) -> Callable[[float], float | np.ndarray]:
    return air if callable(air) else (lambda _t: air)
