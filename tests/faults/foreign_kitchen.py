"""A kitchen of another make than plan, forecast, account and virtual kitchen: the truth of the foreign fault bench.

Method of lines, integrated by scipy's LSODA: dough, butter and dough are layers of their own until the first fold;
heat capacity has two humps where butterfat melts; films grow with the difference of temperature; a wrapping lies in
series; the edges lose heat sideways; the stone is a column of its own that the pâton cools. The needle lies off the
middle, lags, and its stem brings in some of the air. All of it from memory or judgement: it has to be plausible and
unlike the product, not right. Temperatures °C, spans s, SI else.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from scipy.integrate import solve_ivp

EVERY_S = 10
NODES = 24
STONE = 10
_DOUGH_K, _BUTTER_K = 0.42, 0.20


@dataclass
class Body:
    """Dough, butter block or pâton: a profile from below to above, with how much of each node is butter."""

    t_c: np.ndarray
    fat: np.ndarray
    thick_m: float
    at_s: list[np.ndarray] = field(default_factory=list)
    core_c: list[np.ndarray] = field(default_factory=list)
    seen_c: list[np.ndarray] = field(default_factory=list)  # at the needle
    low_c: list[np.ndarray] = field(default_factory=list)  # coldest and warmest of the butter in it
    high_c: list[np.ndarray] = field(default_factory=list)
    top_c: list[np.ndarray] = field(default_factory=list)

    def series(self, name: str) -> tuple[np.ndarray, np.ndarray]:
        """Return (at_s, °C) of one of the columns over the whole life of the body."""
        return np.concatenate(self.at_s), np.concatenate(getattr(self, name))


class ForeignKitchen:
    """Air, films, stone and needle, drawn around what the plan believes by `rng`. `wrong` scales the beliefs' error."""

    def __init__(self, plan, rng: np.random.Generator, wrong: float = 1.0) -> None:
        self.rng = rng
        self.begin_s = plan.made_at_s
        self.room_c = min(28.5, plan.room_cdeg / 100 - 2.0 + wrong * rng.normal(0.0, 1.3))
        self.humidity = float(np.clip(plan.room_rh_pct / 100 + wrong * rng.normal(0.0, 0.06), 0.3, 0.68))
        self.fridge_c = plan.fridge_cdeg / 100 + wrong * rng.normal(0.4, 0.9)
        self.freezer_c = plan.freezer_cdeg / 100 + wrong * rng.normal(0.0, 1.5)
        self.proof_c = plan.proof_cdeg / 100 + wrong * float(np.clip(rng.normal(-0.3, 0.6), -1.5, 1.0))
        self.film = {"fridge": 8.5 * math.exp(wrong * rng.normal(0.0, 0.25)),
                     "freezer": 10.0 * math.exp(wrong * rng.normal(0.0, 0.25)),
                     "room": 7.0 * math.exp(rng.normal(0.0, 0.15)), "bench": 7.0,
                     "proof": rng.uniform(9.0, 15.0)}  # fmt: skip
        self.wrap = rng.uniform(0.004, 0.02)  # m²K/W of film or cloth, in the cold
        self.tray = rng.uniform(0.45, 0.95)
        self.edge = rng.uniform(0.02, 0.10)  # share of the films that works from the side
        self.contact = rng.uniform(250.0, 900.0)
        self.stone_k, self.stone_rc, self.stone_m = rng.uniform(1.6, 3.2), 2.2e6, rng.uniform(0.018, 0.032)
        self.stone_c = np.full(STONE, self.room_c)  # from below to above
        self.stone_at_s = float(self.begin_s)
        self.stone_log: list[tuple[np.ndarray, np.ndarray]] = []
        self.hump = rng.uniform(3.0e6, 6.0e6) * np.array([1.0, 0.8])  # J/(m³K), of butter, near 15 and 32 °C
        self.depth = rng.uniform(0.36, 0.64)
        self.stem = rng.uniform(0.0, 0.05)
        self.lag_s = rng.uniform(6.0, 22.0)
        self.swing_s = rng.uniform(900.0, 2100.0)
        self.daily_c = rng.uniform(0.2, 0.9)

    def air(self, place: str, t: np.ndarray | float) -> np.ndarray | float:
        """Return the air of a place at instants `t`: the fridge's compressor, the room's day."""
        if place == "fridge":
            return self.fridge_c + 0.7 * np.sin(2 * np.pi * np.asarray(t) / self.swing_s)
        if place == "freezer":
            return self.freezer_c + 1.0 * np.sin(2 * np.pi * np.asarray(t) / self.swing_s)
        if place == "proof":
            return self.proof_c + 0.3 * np.sin(2 * np.pi * np.asarray(t) / 1300.0)
        return self.room_c + self.daily_c * np.sin(2 * np.pi * (np.asarray(t) - self.begin_s) / 86400.0)

    def _capacity(self, t_c: np.ndarray, fat: np.ndarray) -> np.ndarray:
        hump = self.hump[0] * np.exp(-(((t_c - 15.0) / 6.0) ** 2)) + self.hump[1] * np.exp(-(((t_c - 32.0) / 4.0) ** 2))
        return (1.0 - fat) * 3.0e6 + fat * (2.1e6 + hump)

    def dough(self, t_c: float, thick_m: float) -> Body:
        """Return a détrempe of even temperature."""
        return Body(np.full(NODES, t_c), np.zeros(NODES), thick_m)

    def butter(self, t_c: float, thick_m: float) -> Body:
        """Return a butter block of even temperature."""
        return Body(np.full(NODES, t_c), np.ones(NODES), thick_m)

    def enclosed(self, dough: Body, butter: Body, at_s: float) -> Body:
        """Return the pâton: dough, butter, dough, each with the temperatures it brings."""
        third = NODES // 3
        place = np.linspace(0, NODES - 1, third).astype(int)
        t_c = np.concatenate([dough.t_c[place], butter.t_c[place], dough.t_c[place]])
        fat = np.concatenate([np.zeros(third), np.ones(third), np.zeros(third)])
        return Body(t_c, fat, 2 * dough.thick_m + butter.thick_m)

    def folded(self, body: Body, thick_m: float, layers: int) -> None:
        """Lay the sheet over itself: the profile is repeated, every other time upside down; butter is all through."""
        parts = [body.t_c[:: 1 if n % 2 == 0 else -1] for n in range(layers)]
        whole = np.concatenate(parts)
        body.t_c = whole.reshape(NODES, -1).mean(axis=1) if len(whole) % NODES == 0 else whole[:NODES]
        body.fat = np.full(NODES, float(body.fat.mean()))
        body.thick_m = thick_m

    def lie(self, body: Body, place: str, from_s: float, to_s: float, iced: bool = False) -> None:
        """Let a body lie in a place from from_s to to_s; on the bench it and the stone warm and chill each other."""
        if to_s - from_s < 1:
            return
        if place == "bench":
            self._stone_alone(from_s)
        below = STONE if place == "bench" else 0
        start = np.concatenate([self.stone_c, body.t_c]) if below else body.t_c.copy()
        dz = body.thick_m / NODES
        k = body.fat * _BUTTER_K + (1 - body.fat) * _DOUGH_K
        link = 1.0 / (dz / (2 * k[:-1]) + dz / (2 * k[1:]))
        film = self.film[place]
        wrap = self.wrap if place in ("fridge", "freezer") else 0.0
        stone_dz = self.stone_m / STONE

        def rhs(t: float, y: np.ndarray) -> np.ndarray:
            t_c = y[below:]
            air = float(self.air(place, t))
            rc = self._capacity(t_c, body.fat)
            flow = np.zeros(NODES + 1)  # upwards
            flow[1:-1] = link * (t_c[:-1] - t_c[1:])
            h = film * (0.75 + 0.06 * math.sqrt(abs(t_c[-1] - air)))
            flow[-1] = (t_c[-1] - air) / (1.0 / h + wrap)
            side = self.edge * film * (air - t_c) / NODES
            out = np.empty_like(y)
            if below:
                s = y[:below]
                over = self.stone_k / stone_dz * (s[:-1] - s[1:])
                flow[0] = self.contact * (s[-1] - t_c[0])
                stone = np.concatenate([[3.0 * (air - s[0])], over, [flow[0]]])
                out[:below] = (stone[:-1] - stone[1:]) / (self.stone_rc * stone_dz)
            else:
                flow[0] = (air - t_c[0]) / (1.0 / (self.tray * h) + wrap)
            out[below:] = (flow[:-1] - flow[1:] + side) / (rc * dz)
            return out

        at_s = np.append(np.arange(from_s, to_s, EVERY_S), to_s)
        found = solve_ivp(rhs, (from_s, to_s), start, "LSODA", at_s, rtol=1e-4, atol=1e-3, lband=1, uband=1,
                          max_step=600.0)  # fmt: skip
        y = found.y.T
        if below:
            self.stone_c, self.stone_at_s = y[-1, :below].copy(), to_s
            self.stone_log.append((at_s, 0.6 * y[:, below // 2] + 0.4 * y[:, 0]))
        self._note(body, at_s, y[:, below:], place)

    def _note(self, body: Body, at_s: np.ndarray, t_c: np.ndarray, place: str) -> None:
        body.t_c = t_c[-1].copy()
        spot = self.depth * (NODES - 1)
        low = int(spot)
        needle = t_c[:, low] + (spot - low) * (t_c[:, low + 1] - t_c[:, low])
        butter = t_c[:, body.fat > 0.05] if (body.fat > 0.05).any() else t_c
        body.at_s.append(at_s)
        body.core_c.append(t_c[:, NODES // 2])
        body.seen_c.append(needle + self.stem * (self.air(place, at_s) - needle))
        body.low_c.append(np.quantile(butter, 0.15, axis=1))
        body.high_c.append(np.quantile(butter, 0.85, axis=1))
        body.top_c.append(t_c[:, -1])

    def cut_at(self, body: Body, reached) -> float:
        """Shorten the last stretch to where `reached(at_s, core_c)` first holds; return that instant, or its end."""
        at_s, core = body.at_s[-1], body.core_c[-1]
        hits = np.flatnonzero(reached(at_s, core))
        return float(at_s[hits[0]]) if len(hits) else float(at_s[-1])

    def _stone_alone(self, until_s: float, ice: bool = False) -> None:
        span = until_s - self.stone_at_s
        if span < 1:
            return
        dz = self.stone_m / STONE

        def rhs(t: float, s: np.ndarray) -> np.ndarray:
            air = float(self.air("room", t))
            top = 120.0 * (1.0 - s[-1]) if ice else 8.0 * (air - s[-1])
            flow = np.concatenate([[3.0 * (air - s[0])], self.stone_k / dz * (s[:-1] - s[1:]), [-top]])
            return (flow[:-1] - flow[1:]) / (self.stone_rc * dz)

        at_s = np.append(np.arange(self.stone_at_s, until_s, 30.0), until_s)
        found = solve_ivp(rhs, (self.stone_at_s, until_s), self.stone_c, "LSODA", at_s, rtol=1e-4, atol=1e-3,
                          lband=1, uband=1, max_step=600.0)  # fmt: skip
        self.stone_c, self.stone_at_s = found.y[:, -1].copy(), until_s
        self.stone_log.append((at_s, 0.6 * found.y[STONE // 2] + 0.4 * found.y[0]))

    def warm_stone(self, at_s: float, least_c: float) -> None:
        """The stone is at least this warm from now on: ice forgotten, or long gone."""
        self._stone_alone(at_s)
        self.stone_c = np.maximum(self.stone_c, least_c)

    def ice(self, from_s: float, to_s: float, laid: bool = True) -> None:
        """Ice on the stone from from_s to to_s, or the bare stone."""
        self._stone_alone(from_s)
        self._stone_alone(to_s, laid)

    def stone(self) -> tuple[np.ndarray, np.ndarray]:
        """Return (at_s, °C) of the thermometer under the plate."""
        at_s = np.concatenate([a for a, _ in self.stone_log])
        c = np.concatenate([c for _, c in self.stone_log])
        order = np.argsort(at_s, kind="stable")
        return at_s[order], c[order]


def dew_c(t_c: float, humidity: float) -> float:
    """Return the dew point by Bolton's formula of 1980 (from memory)."""
    e = humidity * 6.112 * math.exp(17.67 * t_c / (t_c + 243.5))
    x = math.log(e / 6.112)
    return 243.5 * x / (17.67 - x)


def proof_pace(t_c: np.ndarray) -> np.ndarray:
    """Return how fast pieces rise beside 26 °C: doubling every 8 °C, and failing above 34 °C. Not the plan's model."""
    t = np.asarray(t_c, float)
    return np.exp2((t - 26.0) / 8.0) / (1.0 + np.exp((t - 40.0) / 1.5))
