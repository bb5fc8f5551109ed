"""Fits of what chills and warms the pâton: film of fridge or freezer and its air, and the bench's effusivity.

Model: the device's own slab (`shared_schedule.slab`): seven nodes through the pâton, a film above and 75 % of it
below, or a bench of five nodes. Linear, so each spell is solved exactly by eigenvalues instead of stepped. Least
squares with a soft-L1 loss; the band comes from the Jacobian, widened for readings that follow each other.

Temperatures °C, spans s, film W/(m2 K), effusivity J m-2 K-1 s-0.5.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.linalg import eigh
from scipy.optimize import least_squares
from scipy.stats import t as student

from shared_schedule.slab import BENCH_RC, CONTACT_MW, FILM_UNDER_BENCH_MW, TRAY_PERCENT
from tourier.logbook.record.model import Floats

NODES, BENCH_NODES = 7, 5
# How far a kitchen may be from what is believed of it, one standard deviation: films of domestic fridges scatter by
# half and more around usual values (6-10 W/(m2 K) still, 10-20 with a fan: common practice), shelves by a degree or so.
_FILM_SPREAD, AIR_SPREAD_C = 0.5, 1.5
_EVERY_S = 30.0  # readings closer than this tell nothing new: the pâton's own time constant is an hour


@dataclass(frozen=True)
class Spell:
    """One stretch with the needle in one pâton in one place; t_s from its first reading."""

    batch_id: int
    title: str
    t_s: Floats
    c: Floats
    thickness_m: float
    k: float  # W/(m K)
    rc: float  # J/(m3 K)
    air_c: float  # believed
    bench_c: float = math.nan  # logged at the start, for a spell on the bench
    bench_m: float = 0.0

    @property
    def drop_c(self) -> float:
        """How far the core moved."""
        return float(abs(self.c[-1] - self.c[0]))


@dataclass(frozen=True)
class Fitted:
    """One fitted coefficient with its 90 % band."""

    name: str
    value: float
    low: float
    high: float

    @property
    def share(self) -> float:
        """Half width of the band over the value."""
        return 0.5 * (self.high - self.low) / abs(self.value) if self.value else math.inf


@dataclass(frozen=True)
class Fit:
    """Result of one fit; `refused` is a sentence when the log cannot tell."""

    values: tuple[Fitted, ...]
    residual_c: float
    readings: int
    refused: str = ""

    def get(self, name: str) -> Fitted:
        """Return a coefficient by name."""
        return next(v for v in self.values if v.name == name)


def thin(t_s: Floats, c: Floats, every_s: float = _EVERY_S) -> tuple[Floats, Floats]:
    """Return the medians of consecutive stretches of every_s: fewer readings, and single wild ones are gone."""
    place = np.floor((t_s - t_s[0]) / every_s).astype(int)
    edges = np.flatnonzero(np.concatenate(([True], np.diff(place) != 0, [True])))
    pairs = [(np.mean(t_s[a:b]), np.median(c[a:b])) for a, b in zip(edges[:-1], edges[1:], strict=True)]
    table = np.array(pairs, dtype=np.float64)
    return table[:, 0], table[:, 1]


def core_curve(spell: Spell, start_c: float, film: float, air_c: float, effusivity: float = 0.0) -> Floats:
    """Return the core at the spell's instants for an even start at start_c."""
    below = BENCH_NODES if effusivity > 0 else 0
    count = NODES + below
    dz = spell.thickness_m / NODES
    half = dz / (2 * spell.k)
    heat = np.full(count, spell.rc * dz)
    links = np.full(count + 1, spell.k / dz)
    links[count] = 1.0 / (1.0 / film + half)
    if below:
        k = effusivity * effusivity / BENCH_RC
        size = spell.bench_m / (1.7**below - 1.0) * 0.7
        above = half + 1000.0 / CONTACT_MW
        for i in range(below - 1, -1, -1):
            heat[i] = BENCH_RC * size
            links[i + 1] = 1.0 / (above + size / (2 * k))
            above = size / (2 * k)
            size *= 1.7
        links[0] = 1.0 / (above + 1000.0 / FILM_UNDER_BENCH_MW)
    else:
        links[0] = 1.0 / (100.0 / (TRAY_PERCENT * film) + half)
    matrix = np.diag(links[:-1] + links[1:]) - np.diag(links[1:-1], 1) - np.diag(links[1:-1], -1)
    root = np.sqrt(heat)
    rates, modes = eigh(matrix / np.outer(root, root))
    begin = np.full(count, start_c - air_c)
    begin[:below] = spell.bench_c - air_c
    weights = modes.T @ (root * begin)
    core = below + NODES // 2
    return air_c + (np.exp(-np.outer(spell.t_s, rates)) * weights) @ modes[core] / root[core]


def fit_cold(spells: list[Spell], film_guess: float, air_guess: float, air_spread_c: float = AIR_SPREAD_C) -> Fit:
    """Fit (film, air) of a cold place from chills; refused when there is too little or they tell nothing new.

    What is believed counts as one weak observation each (film within a factor of 1.6, air within 1.5 °C, one standard
    deviation): short rests alone cannot tell a better film from colder air, and need not.
    """
    usable = [s for s in spells if s.t_s[-1] >= 900 and s.drop_c >= 1.5]
    if not usable:
        return Fit((), math.nan, 0, "no chill of a quarter of an hour and one and a half degrees was read")

    def residuals(p):
        film, air = math.exp(p[0]), p[1]
        return np.concatenate([core_curve(s, p[2 + n], film, air) - s.c for n, s in enumerate(usable)])

    guess = np.array([math.log(film_guess), air_guess] + [float(s.c[0]) for s in usable])
    spread = np.array([_FILM_SPREAD, air_spread_c] + [np.inf] * len(usable))
    # 1..80 W/(m2 K) spans a still, boxed tray and a blast chiller; air 15 °C either way of what is believed.
    bounds = (np.array([0.0, air_guess - 15.0] + [-30.0] * len(usable)),
              np.array([math.log(80.0), air_guess + 15.0] + [45.0] * len(usable)))  # fmt: skip
    found, cov, sigma = _solve(residuals, guess, spread, bounds, [len(s.c) for s in usable])
    readings = sum(len(s.c) for s in usable)
    if cov is None:
        return Fit((), math.nan, 0, "the chills do not tell film and air apart")
    wide = float(student.ppf(0.95, max(1, readings - len(guess))))
    film = math.exp(found[0])
    band = wide * math.sqrt(cov[0, 0])
    air_band = wide * math.sqrt(cov[1, 1])
    values = (
        Fitted("film", film, film * math.exp(-band), film * math.exp(band)),
        Fitted("air_c", float(found[1]), float(found[1] - air_band), float(found[1] + air_band)),
    )
    refused = ""
    if cov[0, 0] > 0.5 * _FILM_SPREAD**2:
        refused = (f"the chills leave the film between {values[0].low:.1f} and {values[0].high:.1f} W/m²K, hardly "
                   "better known than before; let one rest run longer with the needle in")  # fmt: skip
    return Fit(values, sigma, readings, refused)


def fit_bench(spells: list[Spell], effusivity_guess: float, film: float) -> Fit:
    """Fit the bench's effusivity from warm-ups on it (bench temperature logged); film above as believed."""
    usable = [s for s in spells if s.t_s[-1] >= 150 and not math.isnan(s.bench_c) and abs(s.bench_c - s.c[0]) >= 4.0]
    if len(usable) < 2:
        return Fit((), math.nan, 0, "fewer than two folds on a bench clearly warmer than the dough were read")

    def residuals(p):
        return np.concatenate(
            [core_curve(s, p[1 + n], film, s.air_c, math.exp(p[0])) - s.c for n, s in enumerate(usable)]
        )

    guess = np.array([math.log(effusivity_guess)] + [float(s.c[0]) for s in usable])
    spread = np.full(len(guess), np.inf)
    bounds = (np.array([math.log(100.0)] + [-10.0] * len(usable)), np.array([math.log(20000.0)] + [40.0] * len(usable)))
    found, cov, sigma = _solve(residuals, guess, spread, bounds, [len(s.c) for s in usable])
    readings = sum(len(s.c) for s in usable)
    if cov is None:
        return Fit((), math.nan, 0, "the folds do not tell how the bench warms the dough")
    band = float(student.ppf(0.95, max(1, readings - len(guess)))) * math.sqrt(cov[0, 0])
    value = math.exp(found[0])
    fitted = Fitted("effusivity", value, value * math.exp(-band), value * math.exp(band))
    refused = ""
    if fitted.share > 0.5 or not 110.0 < value < 18000.0:
        refused = f"the folds leave the bench's effusivity between {fitted.low:.0f} and {fitted.high:.0f}"
    return Fit((fitted,), sigma, readings, refused)


def _solve(residuals, guess, spread, bounds, lengths: list[int]):
    """Solve twice: once to learn the noise, once with readings and beliefs weighed by it.

    Returns (parameters, covariance or None, noise in °C). `spread` are the beliefs' standard deviations around `guess`
    (inf: none). Readings that follow each other count for fewer: their noise is widened by the lag-one correlation.
    """
    believed = np.isfinite(spread)
    start = np.clip(guess, bounds[0] + 1e-6, bounds[1] - 1e-6)

    def weighed(noise_c: float):
        def all_of(p):
            return np.concatenate([residuals(p) / noise_c, (p - guess)[believed] / spread[believed]])

        return all_of

    first = least_squares(weighed(0.1), start, bounds=bounds, loss="soft_l1", f_scale=3.0, x_scale="jac")
    left = residuals(first.x)
    sigma = max(0.01, 1.4826 * float(np.median(np.abs(left - np.median(left)))))
    widened = math.sqrt(_inflation(left, lengths))
    solved = least_squares(weighed(sigma * widened), first.x, bounds=bounds, loss="soft_l1",
                           f_scale=max(1.0, 3.0 / widened), x_scale="jac")  # fmt: skip
    sigma = max(0.01, 1.4826 * float(np.median(np.abs(residuals(solved.x)))))
    try:
        cov = np.linalg.inv(solved.jac.T @ solved.jac)
    except np.linalg.LinAlgError:
        return solved.x, None, sigma
    if not np.isfinite(cov).all() or (np.diag(cov) <= 0).any():
        return solved.x, None, sigma
    return solved.x, cov, sigma


def _inflation(residuals: Floats, lengths: list[int]) -> float:
    """Variance factor for residuals that follow each other: (1 + r) / (1 - r) with the lag-one correlation r."""
    upper = lower = 0.0
    start = 0
    for length in lengths:
        part = residuals[start : start + length]
        start += length
        upper += float(np.sum(part[1:] * part[:-1]))
        lower += float(np.sum(part * part))
    r = min(0.95, max(0.0, upper / lower)) if lower > 0 else 0.0
    return (1.0 + r) / (1.0 - r)
