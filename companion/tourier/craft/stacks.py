"""The questions a cook asks of heat, put to :mod:`tourier.craft.heat` with honest bands.

How long until the butter leaves its window on this bench; how long a rest takes in this fridge; how fast cold dough
hardens a tempered block after lock-in; what a spell of ice buys; and the few whole numbers the bench timer's own model
needs. Every answer is a :class:`Band`: the usual coefficients, and the span in which four of five kitchens fall.

Temperatures C, lengths m, times s.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared_schedule.slab import BENCH_RC
from tourier.craft.films import usual
from tourier.craft.heat import Face, History, Layer, Stack
from tourier.craft.properties import Material
from tourier.craft.scene import (
    CELLS_BENCH,
    ICE_W_M2K,
    SCENARIOS,
    Ambient,
    Band,
    band,
    draws,
    lock_in_layers,
    on_bench,
    on_tray,
    slab_layer,
)


@dataclass(frozen=True)
class Leaving:
    """When a core leaves its window: seconds, and on which side the usual kitchen leaves it ('warm', 'cold', '')."""

    seconds: Band
    side: str


# --- questions ------------------------------------------------------------------------------------------------------


def leaves_window(
    laminate: Material,
    thickness_m: float,
    core_c: float,
    window_c: tuple[float, float],
    kitchen: Ambient,
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
    return Leaving(band(first), side)


def rest_seconds(
    material: Material,
    thickness_m: float,
    core_c: float,
    target_c: float,
    kitchen: Ambient,
    where: str = "fridge",
    covered: bool | None = None,
    limit_s: float = 86_400.0,
    tol_k: float = 0.01,
) -> Band:
    """Seconds until the core reaches ``target_c`` in the fridge, freezer, room or proof space; nan = never.

    ``tol_k`` as in :meth:`tourier.craft.heat.Stack.run`; thawing is reckoned quicker with a coarser one.
    """
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
    return band(stack.run(limit_s, tol_k, stop=done).crossing_s(core, target_c))


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
    kitchen: Ambient,
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
        seconds = band(run.crossing_s(mean, window_low_c))
    # Mixed without the bench: the temperature at which the heat of all three layers is what it was.
    total = 2 * dough_side_m * dough.enthalpy_j_m3(dough_c) + butter_m * butter.enthalpy_j_m3(butter_c)
    low, high = min(dough_c, butter_c), max(dough_c, butter_c)
    for _ in range(60):
        mid = 0.5 * (low + high)
        if 2 * dough_side_m * dough.enthalpy_j_m3(mid) + butter_m * butter.enthalpy_j_m3(mid) < total:
            low = mid
        else:
            high = mid
    return Rehardening(seconds, band(after), 0.5 * (low + high))


def ice_profile(kitchen: Ambient, ice_s: float) -> np.ndarray:
    """Bench temperatures (cells, bottom first) after ``ice_s`` of ice bags on a bench at room temperature."""
    if ice_s <= 0.0:
        return np.full(CELLS_BENCH, kitchen.room_c)
    stack = Stack(
        [Layer(kitchen.bench_material, kitchen.bench_m, CELLS_BENCH, kitchen.room_c)],
        Face(usual("under bench").usual, kitchen.room_c),
        Face(ICE_W_M2K, 0.5),
    )
    return stack.run(ice_s).t_c[-1, 0]


def core_curve(
    material: Material,
    thickness_m: float,
    core_c: float,
    kitchen: Ambient,
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


def device_parameters(kitchen: Ambient, laminate: Material) -> dict[str, int]:
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


def _stop_when(weights: np.ndarray, test):
    return lambda _t, state: test(np.einsum("sc,sc->s", state, weights))
