"""The questions a cook asks of heat, put to :mod:`tourier.craft.heat` with honest bands.

How long until the butter leaves its window on this bench; how long a rest takes in this fridge; how fast cold dough
hardens a tempered block after lock-in; what a spell of ice buys; and the few whole numbers the bench timer's own model
needs. Every answer is a :class:`Band`: the usual coefficients, and the span in which four of five kitchens fall.

Temperatures C, lengths m, times s.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from shared_schedule.slab import BENCH_RC
from tourier.craft.butter import ButterProfile
from tourier.craft.dewpoint import dew_point_c
from tourier.craft.films import usual
from tourier.craft.heat import Face, History, Layer, Stack
from tourier.craft.properties import Material

#: Worktops: DIN EN 12524 / ASHRAE design values as in `ht.insulation`; real granite k scatters by 30 %.
BENCHES = {
    "marble": Material("marble", 3.5, 2800.0, 1000.0),
    "granite": Material("granite", 2.8, 2600.0, 1000.0),
    "slate": Material("slate", 2.2, 2400.0, 1000.0),
    "steel": Material("stainless steel", 17.0, 7900.0, 460.0),
    "glass": Material("glass", 1.0, 2500.0, 750.0),
    "maple": Material("maple", 0.165, 667.5, 1630.0),
    "oak": Material("oak", 0.17, 705.0, 1630.0),
}
#: Other words for them.
BENCH_ALIASES = {"stone": "granite", "stainless steel": "steel", "wood": "maple", "beech": "maple"}

CONTACT_W_M2K = 700.0  # dough on a floured bench; a guess, no source, drawn over a factor of two either way
ICE_W_M2K = 90.0  # bags of ice and melt water lying on a slab; a guess, no source
CELLS_BENCH, CELLS_DOUGH, CELLS_BUTTER = 14, 12, 14
SCENARIOS = 41  # the first is the usual kitchen, the others are drawn


@dataclass(frozen=True)
class Kitchen:
    """What heat needs to know of a kitchen.

    ``learned`` overrides films by place, W/(m2 K): 'room', 'fridge', 'freezer', 'proof'. ``doubt`` narrows the bands
    once the logbook has learned this kitchen: 1 = usual doubt, 0 = none.
    """

    room_c: float = 22.0
    humidity: float = 0.55
    fridge_c: float = 4.0
    freezer_c: float = -18.0
    proof_c: float = 26.0
    bench: str = "marble"
    bench_m: float = 0.020
    fan_fridge: bool = False
    learned: dict[str, float] = field(default_factory=dict)
    doubt: float = 1.0

    @property
    def bench_material(self) -> Material:
        """The worktop; ``KeyError`` with the known names."""
        name = BENCH_ALIASES.get(self.bench, self.bench)
        if name not in BENCHES:
            raise KeyError(f"no bench of {self.bench!r}; known: {', '.join([*BENCHES, *BENCH_ALIASES])}")
        return BENCHES[name]

    def air_c(self, where: str) -> float:
        """Air of 'bench', 'room', 'fridge', 'freezer' or 'proof'."""
        return {
            "bench": self.room_c,
            "room": self.room_c,
            "fridge": self.fridge_c,
            "freezer": self.freezer_c,
            "proof": self.proof_c,
        }[where]

    def film(self, where: str, covered: bool = False) -> float:
        """Usual or learned film above dough in a place, W/(m2 K)."""
        where = "room" if where == "bench" else where
        if where in self.learned:
            return self.learned[where]
        return usual("fan fridge" if where == "fridge" and self.fan_fridge else where, covered).usual


@dataclass(frozen=True)
class Band:
    """An answer: ``usual``, and ``low``..``high`` that hold four of five kitchens. ``nan`` = never (in the limit)."""

    low: float
    usual: float
    high: float

    def minutes(self) -> Band:
        """The same in minutes, for an answer in seconds."""
        return Band(self.low / 60.0, self.usual / 60.0, self.high / 60.0)


@dataclass(frozen=True)
class Leaving:
    """When a core leaves its window: seconds, and on which side the usual kitchen leaves it ('warm', 'cold', '')."""

    seconds: Band
    side: str


def _band(values: np.ndarray) -> Band:
    """Band of one value per scenario, the first being the usual kitchen; never counts as infinitely late."""
    late = np.where(np.isnan(values), np.inf, values)
    low, high = np.quantile(late, (0.1, 0.9), method="nearest")
    usual_value = late[0]
    return Band(
        *(
            float("nan") if np.isinf(v) else float(v)
            for v in (min(low, usual_value), usual_value, max(high, usual_value))
        )
    )


@dataclass(frozen=True)
class Draws:
    """Factors on uncertain coefficients, one per scenario, the first all ones."""

    film: np.ndarray
    below: np.ndarray
    contact: np.ndarray
    k: np.ndarray
    rc: np.ndarray
    melt: np.ndarray
    bench_k: np.ndarray

    @property
    def count(self) -> int:
        """Number of scenarios."""
        return len(self.film)


def draws(count: int = SCENARIOS, doubt: float = 1.0, seed: int = 1) -> Draws:
    """Log-normal factors, one sigma: films 22 %, contact 35 %, dough k 8 %, heat 5 %, melting 10 %, bench k 12 %.

    The film's spread is what the usual ranges (6-10 of a static fridge) amount to; the others are judgement.
    """
    rng = np.random.default_rng(seed)
    z = rng.standard_normal((7, count))
    z[:, 0] = 0.0
    spread = doubt * np.array([0.22, 0.15, 0.35, 0.08, 0.05, 0.10, 0.12])
    return Draws(*np.exp(spread[:, None] * np.clip(z, -2.5, 2.5)))


# --- building -------------------------------------------------------------------------------------------------------


def bench_layer(kitchen: Kitchen, t_c, d: Draws) -> Layer:
    """The worktop, floured on top."""
    return Layer(
        kitchen.bench_material, kitchen.bench_m, CELLS_BENCH, t_c, contact=CONTACT_W_M2K * d.contact, k_scale=d.bench_k
    )


def on_bench(layers: list[Layer], kitchen: Kitchen, bench_c, d: Draws) -> Stack:
    """Layers lying on the bench in the room."""
    return Stack(
        [bench_layer(kitchen, bench_c, d), *layers],
        Face(usual("under bench").usual * d.below, kitchen.room_c),
        Face(kitchen.film("bench") * d.film, kitchen.room_c),
        d.count,
    )


def on_tray(layers: list[Layer], kitchen: Kitchen, where: str, d: Draws, covered: bool = False) -> Stack:
    """Layers on a tray in the fridge, freezer, room or proof space."""
    h = kitchen.film(where, covered) * d.film
    below = usual("fridge" if where in ("fridge", "freezer") else "room").below
    air = kitchen.air_c(where)
    return Stack(layers, Face(h * below * d.below, air), Face(h, air), d.count)


def slab_layer(material: Material, thickness_m: float, t_c, d: Draws, cells: int = CELLS_DOUGH * 2 + 1) -> Layer:
    """One layer with the doubt of dough on it; an odd number of cells has the core in the middle one."""
    return Layer(material, thickness_m, cells, t_c, k_scale=d.k, rc_scale=d.rc, melt_scale=d.melt)


def lock_in_layers(
    dough: Material, butter: Material, dough_side_m: float, butter_m: float, dough_c, butter_c, d: Draws
) -> list[Layer]:
    """Dough, butter, dough, as enclosed."""
    return [
        slab_layer(dough, dough_side_m, dough_c, d, CELLS_DOUGH),
        slab_layer(butter, butter_m, butter_c, d, CELLS_BUTTER),
        slab_layer(dough, dough_side_m, dough_c, d, CELLS_DOUGH),
    ]


# --- questions ------------------------------------------------------------------------------------------------------


def leaves_window(
    laminate: Material,
    thickness_m: float,
    core_c: float,
    window_c: tuple[float, float],
    kitchen: Kitchen,
    bench_c: float | np.ndarray | None = None,
    limit_s: float = 7200.0,
) -> Leaving:
    """Seconds until the core of a pâton on the bench leaves ``window_c``; 0 when it is outside already.

    ``bench_c`` is the bench's temperature (room temperature when not given), or a profile, bottom first.
    """
    low, high = window_c
    if not low < high:
        raise ValueError(f"a window of {low} to {high} C is empty")
    if not low <= core_c <= high:
        return Leaving(Band(0.0, 0.0, 0.0), "warm" if core_c > high else "cold")
    d = draws(doubt=kitchen.doubt)
    stack = on_bench(
        [slab_layer(laminate, thickness_m, core_c, d)], kitchen, kitchen.room_c if bench_c is None else bench_c, d
    )
    core = stack.weights(layer=1, share=0.5)
    done = _stop_when(core, lambda y: bool(np.all((y < low) | (y > high))))
    run = stack.run(limit_s, stop=done)
    cold, warm = run.crossing_s(core, low), run.crossing_s(core, high)
    first = np.fmin(cold, warm)
    side = "" if np.isnan(first[0]) else "cold" if first[0] == cold[0] else "warm"
    return Leaving(_band(first), side)


def rest_seconds(
    material: Material,
    thickness_m: float,
    core_c: float,
    target_c: float,
    kitchen: Kitchen,
    where: str = "fridge",
    covered: bool = False,
    limit_s: float = 86_400.0,
) -> Band:
    """Seconds until the core reaches ``target_c`` in the fridge, freezer, room or proof space; nan = never."""
    if abs(core_c - target_c) < 1e-9:
        return Band(0.0, 0.0, 0.0)
    if (kitchen.air_c(where) - target_c) * (target_c - core_c) <= 0.0:
        nan = float("nan")  # the target does not lie between the dough and the air
        return Band(nan, nan, nan)
    d = draws(doubt=kitchen.doubt)
    stack = on_tray([slab_layer(material, thickness_m, core_c, d)], kitchen, where, d, covered)
    core = stack.weights(layer=0, share=0.5)
    rising = target_c > core_c
    done = _stop_when(core, lambda y: bool(np.all(y > target_c if rising else y < target_c)))
    return _band(stack.run(limit_s, stop=done).crossing_s(core, target_c))


@dataclass(frozen=True)
class Rehardening:
    """After lock-in: seconds until the butter's mean is under its window, its mean after 5 min, where all settles."""

    seconds: Band
    butter_after_5_min_c: Band
    settles_c: float


def rehardening(
    dough: Material,
    butter: Material,
    dough_side_m: float,
    butter_m: float,
    dough_c: float,
    butter_c: float,
    window_low_c: float,
    kitchen: Kitchen,
    bench_c: float | None = None,
) -> Rehardening:
    """How fast cold dough hardens a tempered block: the race before the first fold."""
    d = draws(doubt=kitchen.doubt)
    layers = lock_in_layers(dough, butter, dough_side_m, butter_m, dough_c, butter_c, d)
    stack = on_bench(layers, kitchen, kitchen.room_c if bench_c is None else bench_c, d)
    mean = stack.weights(layer=2)
    run = stack.run(1800.0)
    after = np.einsum("sc,sc->s", run.at(300.0), mean)
    if butter_c <= window_low_c:
        seconds = Band(0.0, 0.0, 0.0)
    else:
        seconds = _band(run.crossing_s(mean, window_low_c))
    # Mixed without the bench: the temperature at which the heat of all three layers is what it was.
    total = 2 * dough_side_m * dough.enthalpy_j_m3(dough_c) + butter_m * butter.enthalpy_j_m3(butter_c)
    low, high = min(dough_c, butter_c), max(dough_c, butter_c)
    for _ in range(60):
        mid = 0.5 * (low + high)
        if 2 * dough_side_m * dough.enthalpy_j_m3(mid) + butter_m * butter.enthalpy_j_m3(mid) < total:
            low = mid
        else:
            high = mid
    return Rehardening(seconds, _band(after), 0.5 * (low + high))


@dataclass(frozen=True)
class Ice:
    """What ice on the bench buys. Profile of the usual bench, bottom first; minutes with and without; will it sweat."""

    surface_c: float
    profile_c: np.ndarray
    with_ice: Leaving
    without_ice: Leaving
    dew_point_c: float
    sweats: bool


def ice_profile(kitchen: Kitchen, ice_s: float) -> np.ndarray:
    """Bench temperatures (cells, bottom first) after ``ice_s`` of ice bags on a bench at room temperature."""
    if ice_s <= 0.0:
        return np.full(CELLS_BENCH, kitchen.room_c)
    stack = Stack(
        [Layer(kitchen.bench_material, kitchen.bench_m, CELLS_BENCH, kitchen.room_c)],
        Face(usual("under bench").usual, kitchen.room_c),
        Face(ICE_W_M2K, 0.5),
    )
    return stack.run(ice_s).t_c[-1, 0]


def ice_buys(
    laminate: Material,
    thickness_m: float,
    core_c: float,
    window_c: tuple[float, float],
    kitchen: Kitchen,
    ice_s: float = 900.0,
) -> Ice:
    """Compare the bench as it is with the bench after ``ice_s`` of ice, wiped dry; and the dew point against it."""
    profile = ice_profile(kitchen, ice_s)
    surface = float(profile[-1])
    dew = dew_point_c(kitchen.room_c, kitchen.humidity)
    return Ice(
        surface,
        profile,
        leaves_window(laminate, thickness_m, core_c, window_c, kitchen, profile),
        leaves_window(laminate, thickness_m, core_c, window_c, kitchen),
        dew,
        surface < dew,
    )


def core_curve(
    material: Material,
    thickness_m: float,
    core_c: float,
    kitchen: Kitchen,
    where: str,
    duration_s: float,
    bench_c: float | None = None,
    doubtful: bool = True,
) -> tuple[History, np.ndarray]:
    """A whole run of a pâton or piece somewhere, and the weights of its core; for plots and for the logbook."""
    d = draws(SCENARIOS if doubtful else 1, kitchen.doubt)
    layer = slab_layer(material, thickness_m, core_c, d)
    if where == "bench":
        stack = on_bench([layer], kitchen, kitchen.room_c if bench_c is None else bench_c, d)
        return stack.run(duration_s), stack.weights(layer=1, share=0.5)
    stack = on_tray([layer], kitchen, where, d)
    return stack.run(duration_s), stack.weights(layer=0, share=0.5)


def apparent_rc_j_m3k(material: Material, low_c: float = 6.0, high_c: float = 16.0) -> float:
    """Volumetric heat capacity with melting, averaged over a span, J/(m3 K): the one number a linear model may have."""
    h = material.enthalpy_j_m3(np.array([low_c, high_c]))
    return float((h[1] - h[0]) / (high_c - low_c))


def device_parameters(kitchen: Kitchen, laminate: Material) -> dict[str, int]:
    """The whole numbers the plan carries to the bench timer's model (shared_schedule.slab).

    ``bench_um`` is not the real thickness but the one that, at the timer's fixed volumetric heat capacity, holds the
    same heat: what lies on a bench only feels its effusivity and its heat content.
    """
    bench = kitchen.bench_material
    return {
        "room_cdeg": round(kitchen.room_c * 100),
        "fridge_cdeg": round(kitchen.fridge_c * 100),
        "freezer_cdeg": round(kitchen.freezer_c * 100),
        "proof_cdeg": round(kitchen.proof_c * 100),
        "bench_effusivity": round(bench.effusivity),
        "bench_um": max(1, round(kitchen.bench_m * bench.rho * bench.c / BENCH_RC * 1e6)),
        "film_room_mw": round(kitchen.film("room") * 1000),
        "film_fridge_mw": round(kitchen.film("fridge") * 1000),
        "film_freezer_mw": round(kitchen.film("freezer") * 1000),
        "laminate_k_mw": round(laminate.k * 1000),
        "laminate_rc": round(apparent_rc_j_m3k(laminate) / 1000),
    }


def window_of(butter: ButterProfile) -> tuple[float, float]:
    """Pliable window of a profile as a pair."""
    return butter.window_low_c, butter.window_high_c


def _stop_when(weights: np.ndarray, test):
    return lambda _t, state: test(np.einsum("sc,sc->s", state, weights))
