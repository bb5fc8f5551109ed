"""Proof: when pieces will be ready, how warm the proof may be, and what altitude and size change.

Progress is a dose (:mod:`shared_schedule.ferment`): seconds at the reference temperature, weighted by the dough's own
temperature. A piece comes out of the fridge or off the bench cold and warms through; a larger one warms more slowly, so
it is later by what the heat model says, not by a factor. All of it is an estimate: the wobble and the look decide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from shared_schedule.ferment import GROWTH, REFERENCE_CDEG, gamma
from tourier.craft.butter import ButterProfile, proof_air_cap_c
from tourier.craft.heat import Face, Layer, Stack
from tourier.craft.misfit import Misfit
from tourier.craft.properties import Material
from tourier.craft.stacks import Ambient

#: Proof of usual croissants, seconds at the reference temperature of 26 C: 1.5-3 h at 24-27 C is common practice, no
#: source; 2 h in the middle. The logbook replaces it with the cook's own.
USUAL_DOSE_S = 7200.0
PIECE_DENSITY = 950.0  # shaped, still dense; kg/m3, a guess between gas-free dough and a proofed piece


@dataclass(frozen=True)
class Proof:
    """A forecast. Times s from the start; ``air_c`` after the butter cap; ``capped`` when the wish was too warm."""

    ready_s: float
    late_s: float
    air_c: float
    capped: bool
    heat_up_s: float
    warnings: tuple[str, ...]


def weight(t_c, cardinals: tuple[int, int, int] = GROWTH):
    """Cardinal weight 0..1 at dough temperatures (array or float), cardinals in 0.01 C."""
    t = np.asarray(t_c, dtype=float)
    least, best, greatest = (c / 100.0 for c in cardinals)
    below = (best - least) * ((best - least) * (t - best) - (best - greatest) * (best + least - 2.0 * t))
    with np.errstate(divide="ignore", invalid="ignore"):
        w = (t - greatest) * (t - least) ** 2 / below
    return np.where((t <= least) | (t >= greatest), 0.0, w)


def altitude_factor(altitude_m: float) -> float:
    """How much faster gas raises dough at altitude, 1 at or below 300 m.

    Gas expands as pressure falls (p0/p); cooks report 25-50 % faster above about 1,000 m, more than that. This takes
    p0/p to the power 2, 27 % at 1,000 m and 63 % at 2,000 m: a guess between the two, no source.
    """
    if altitude_m <= 300.0:
        return 1.0
    return ((1.0 - 2.25577e-5 * min(altitude_m, 5000.0)) ** -5.25588) ** 2


def piece_thickness_m(piece_g: float, kind: str = "croissant") -> float:
    """Diameter or height of a shaped piece from its mass: a rolled one is a cylinder about 2.6 times as long as thick.

    pi/4 d^2 (2.6 d) rho = m. The proportion is common practice, no source; 'flat' is a strip or Danish, a third of it.
    """
    if piece_g <= 0.0:
        raise ValueError(f"a piece of {piece_g:g} g has no size")
    d = (piece_g * 1e-3 * 4.0 / (math.pi * 2.6 * PIECE_DENSITY)) ** (1.0 / 3.0)
    if kind in ("croissant", "roll"):
        return d
    if kind == "flat":
        return d / 3.0
    raise ValueError(f"no shape called {kind!r}; known: croissant, roll, flat")


def proof(
    butter: ButterProfile,
    laminate: Material,
    piece_g: float,
    start_c: float,
    wish_air_c: float,
    kitchen: Ambient,
    dose_s: float = USUAL_DOSE_S,
    kind: str = "croissant",
    altitude_m: float = 0.0,
    cardinals: tuple[int, int, int] = GROWTH,
    reference_cdeg: int = REFERENCE_CDEG,
) -> Proof:
    """When pieces of ``piece_g`` at ``start_c`` are ready in air of ``wish_air_c`` (capped for the butter).

    A round piece is a cylinder, which warms about twice as fast as a plate of the same thickness (it has twice the
    surface for its volume): the plate of half the diameter stands for it. ``ValueError`` when nothing can rise.
    """
    cap = proof_air_cap_c(butter)
    air = min(wish_air_c, cap)
    warnings = []
    if wish_air_c > cap:
        warnings.append(
            f"Proof at {wish_air_c:g} C would melt the butter out of the layers; the plan uses {air:g} C "
            "(28 C for butter goods: IREKS compendium 11.5; 4 K below the butter's melting point: common practice)."
        )
    if not butter.calibrated:
        warnings.append(butter.caution)
    if gamma(round(air * 100), *cardinals) <= 0.01:
        raise Misfit("At {air} yeast hardly works: the pieces would not rise in a day.", "proof temperature",
                     air=("temperature", air))  # fmt: skip
    thick = piece_thickness_m(piece_g, kind)
    plate = thick if kind == "flat" else thick / 2.0
    h = kitchen.film("proof")
    stack = Stack([Layer(laminate, plate, 15, start_c)], Face(h * 0.85, air), Face(h, air))
    run = stack.run(86_400.0, stop=lambda _t, state: bool(abs(state[0, 7] - air) < 0.05))
    rate = weight(run.t_c[:, 0, :], cardinals).mean(axis=1) / gamma(reference_cdeg, *cardinals)
    t = run.t_s
    dose = np.concatenate([[0.0], np.cumsum(np.diff(t) * 0.5 * (rate[1:] + rate[:-1]))])
    steady = float(weight(air, cardinals)) / gamma(reference_cdeg, *cardinals)
    wanted = dose_s / altitude_factor(altitude_m)
    ready = float(np.interp(wanted, dose, t)) if dose[-1] >= wanted else float(t[-1] + (wanted - dose[-1]) / steady)
    core = stack.weights(layer=0, share=0.5)
    near = run.crossing_s(core, start_c + 0.9 * (air - start_c)) if abs(air - start_c) > 0.5 else np.array([0.0])
    if altitude_m > 300.0:
        warnings.append(f"At {altitude_m:.0f} m dough rises faster: start looking at {ready / 120:.0f} min.")
    # Yeast, sugar and flour move the time by a quarter either way between batches: common practice, no source.
    return Proof(
        ready, 1.25 * ready, air, wish_air_c > cap, float(np.nan_to_num(near[0])), tuple(warnings)
    )
