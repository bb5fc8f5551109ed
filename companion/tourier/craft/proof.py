"""Proof: when pieces will be ready, and what their size, the air's moisture and altitude change.

Progress is a dose (:mod:`shared_schedule.ferment`): seconds at the reference temperature, weighted by the dough's own
temperature. A piece comes out of the fridge or off the bench cold and warms through; a larger one warms more slowly, so
it is later by what the heat model says, not by a factor. A proof time that a cook or a book gives holds from the moment
the tray goes in, so its dose is what such a piece gathers in that time, warming through included. All of it is an
estimate: the wobble and the look decide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from shared_schedule.ferment import GAS, REFERENCE_CDEG, gamma
from tourier.craft.dewpoint import saturation_pa
from tourier.craft.heat import Drive, Face, Layer, Stack
from tourier.craft.history import History
from tourier.craft.misfit import Misfit
from tourier.craft.properties import Material
from tourier.craft.scene import Ambient

#: Proof of usual croissants from tray in to oven: (s, air C, piece g, dough C as it comes). 90 min at 30 C and 80 %
#: humidity: Waite-Cusic et al. 2020 (ADSA, abstract); 60 to 90 min in a prover: a training sheet; 1.5 to 2 h at 25 to
#: 27 C, about 3 h at 25 C at home: common practice, no source. The logbook replaces it with the cook's own.
USUAL = (7200.0, 26.0, 60.0, 15.0)
#: Heat that vapour brings to a cold piece, as kelvins of air for a pascal of vapour pressure above the surface's, by
#: the Lewis relation: 0.622 h_fg / (c_p P) = 0.622 x 2.45 MJ/kg / (1006 J/(kg K) x 101325 Pa); it goes with convection.
LEWIS_K_PA, CONVECTION_W_M2K = 0.01495, 2.9
SLOWEST = 0.04  # of yeast at its best: slower, a usual proof takes more than a day
PIECE_DENSITY = 950.0  # shaped, still dense; kg/m3, a guess between gas-free dough and a proofed piece


def weight(t_c, cardinals: tuple[int, int, int] = GAS):
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


def kind_of(shape: str, base_m: float, height_m: float) -> str:
    """What a piece is to the proof: strips and near squares lie 'flat', all else is a 'roll'."""
    short, long = sorted((base_m, height_m))
    return "flat" if shape == "strip" or (shape == "rectangle" and long < 1.4 * short) else "roll"


@dataclass(frozen=True)
class Warming:
    """A piece in its proof: ``t_s`` from tray in, ``dose_s`` gathered by then, ``core_s`` until it is nearly as warm.

    Beyond the last instant it gathers at ``steady``, its speed at the air's temperature beside the reference's.
    """

    t_s: np.ndarray
    dose_s: np.ndarray
    steady: float
    core_s: float

    def gathered_s(self, seconds: float) -> float:
        """Dose after so many seconds."""
        beyond = max(0.0, seconds - float(self.t_s[-1]))
        return float(np.interp(seconds, self.t_s, self.dose_s)) + beyond * self.steady

    def when_s(self, dose_s: float) -> float:
        """Seconds until so much dose is gathered."""
        missing = max(0.0, dose_s - float(self.dose_s[-1]))
        return float(np.interp(dose_s, self.dose_s, self.t_s)) + missing / self.steady


def warming(
    laminate: Material,
    piece_g: float,
    start_c: float,
    air_c: float,
    kitchen: Ambient,
    kind: str = "croissant",
    cardinals: tuple[int, int, int] = GAS,
    reference_cdeg: int = REFERENCE_CDEG,
) -> Warming:
    """A piece of ``piece_g`` at ``start_c`` put into air of ``air_c`` and of ``kitchen.proof_humidity``.

    A round piece is a cylinder, which warms about twice as fast as a plate of the same thickness (it has twice the
    surface for its volume): the plate of half the diameter stands for it. Water that condenses on a cold piece brings
    its heat; the flow is found from the surface of the run before, and the third run hardly changes it any more.
    ``ValueError`` when nothing can rise.
    """
    if gamma(round(air_c * 100), *cardinals) <= SLOWEST:
        raise Misfit("At {air} yeast hardly works: the pieces would not rise in a day.", "proof temperature",
                     air=("temperature", air_c))  # fmt: skip
    thick = piece_thickness_m(piece_g, kind)
    plate = thick if kind == "flat" else thick / 2.0
    film = kitchen.film("proof")
    vapour_pa = kitchen.proof_humidity * saturation_pa(air_c)

    def run(top: Drive) -> History:
        stack = Stack([Layer(laminate, plate, 15, start_c)], Face(film * 0.85, air_c), Face(film, top))
        return stack.run(86_400.0, stop=lambda _t, state: bool(abs(state[0, 7] - air_c) < 0.05))

    found = run(air_c)
    for _ in range(2 if vapour_pa > saturation_pa(start_c) else 0):
        t_s = found.t_s
        less_pa = vapour_pa - np.array([saturation_pa(c) for c in found.t_c[:, 0, -1]])
        brought_k = CONVECTION_W_M2K * LEWIS_K_PA * np.maximum(0.0, less_pa) / film
        found = run(lambda t, t_s=t_s, k=brought_k: air_c + float(np.interp(t, t_s, k)))
    at_reference = gamma(reference_cdeg, *cardinals)
    rate = weight(found.t_c[:, 0, :], cardinals).mean(axis=1) / at_reference
    dose = np.concatenate([[0.0], np.cumsum(np.diff(found.t_s) * 0.5 * (rate[1:] + rate[:-1]))])
    core = np.eye(15)[7]
    near = found.crossing_s(core, start_c + 0.9 * (air_c - start_c)) if abs(air_c - start_c) > 0.5 else np.zeros(1)
    return Warming(found.t_s, dose, float(weight(air_c, cardinals)) / at_reference, float(np.nan_to_num(near[0])))


def usual_dose_s(laminate: Material, kitchen: Ambient) -> float:
    """Dose of the usual proof of :data:`USUAL`, seconds at the reference temperature."""
    seconds, air_c, piece_g, start_c = USUAL
    return warming(laminate, piece_g, start_c, air_c, kitchen).gathered_s(seconds)
