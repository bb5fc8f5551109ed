"""A kitchen as heat sees it, the doubt about it, and the stacks that lie in it.

Temperatures C, lengths m, times s.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from tourier.craft.films import WRAPPED_IN, usual
from tourier.craft.heat import Face, Layer, Stack
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
class Ambient:
    """What heat needs to know of a kitchen.

    ``learned`` overrides films by place, W/(m2 K): 'room', 'fridge', 'freezer', 'proof'. ``doubt`` narrows the bands
    once the logbook has learned this kitchen: 1 = usual doubt, 0 = none.
    """

    room_c: float = 22.0
    humidity: float = 0.55
    fridge_c: float = 4.0
    freezer_c: float = -18.0
    proof_c: float = 26.0
    proof_humidity: float = 0.75
    bench: str = "marble"
    bench_m: float = 0.020
    fan_fridge: bool = False
    learned: dict[str, float] = field(default_factory=dict)
    doubt: float = 1.0
    bench_effusivity: float | None = None  # learned, J/(m2 K s^0.5)

    @property
    def bench_material(self) -> Material:
        """The worktop, with its learned effusivity; ``KeyError`` with the known names."""
        name = BENCH_ALIASES.get(self.bench, self.bench)
        if name not in BENCHES:
            raise KeyError(f"no bench of {self.bench!r}; known: {', '.join([*BENCHES, *BENCH_ALIASES])}")
        made = BENCHES[name]
        if self.bench_effusivity is None:
            return made
        # What lies on it feels effusivity and heat content; the latter is as believed, so conductivity is what differs.
        return replace(made, k=self.bench_effusivity**2 / (made.rho * made.c))

    def air_c(self, where: str) -> float:
        """Air of 'bench', 'room', 'fridge', 'freezer' or 'proof'."""
        return {
            "bench": self.room_c,
            "room": self.room_c,
            "fridge": self.fridge_c,
            "freezer": self.freezer_c,
            "proof": self.proof_c,
        }[where]

    def film(self, where: str, covered: bool | None = None) -> float:
        """Usual or learned film above dough in a place, W/(m2 K); unsaid, wrapped as `WRAPPED_IN` has it."""
        where = "room" if where == "bench" else where
        covered = where in WRAPPED_IN if covered is None else covered
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


def band(values: np.ndarray) -> Band:
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


def bench_layer(kitchen: Ambient, t_c, d: Draws) -> Layer:
    """The worktop, floured on top."""
    return Layer(
        kitchen.bench_material, kitchen.bench_m, CELLS_BENCH, t_c, contact=CONTACT_W_M2K * d.contact, k_scale=d.bench_k
    )


def on_bench(layers: list[Layer], kitchen: Ambient, bench_c, d: Draws) -> Stack:
    """Layers lying on the bench in the room."""
    return Stack(
        [bench_layer(kitchen, bench_c, d), *layers],
        Face(usual("under bench").usual * d.below, kitchen.room_c),
        Face(kitchen.film("bench") * d.film, kitchen.room_c),
        d.count,
    )


def on_tray(layers: list[Layer], kitchen: Ambient, where: str, d: Draws, covered: bool | None = None) -> Stack:
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
