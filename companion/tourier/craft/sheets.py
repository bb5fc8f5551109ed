"""The laminate from lock-in to final sheet: layers, sizes, thickness, passes.

Volume is conserved; every length is the resting one, after the sheet has drawn back. Layers are counted with dough
faces merged (two touching dough faces become one layer): F = product of the folds, dough = F + 1. The trade's naive
count, 3 x product, is given beside it and never alone. 3**n fat layers for n 3-folds: EP 0445850 A1; 36 layers of fat
for 3 x 3 x 4: a school formula sheet.

Lengths in m, volumes in m3.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tourier.craft.misfit import Misfit

#: Not thinner between folds than 8 mm (brotschafterin.com, Plunderteig).
MIN_BETWEEN_M = 0.008
#: A rested dough draws back by about a twentieth after rolling: common practice, no source.
SPRING_BACK = 0.05
#: Thickness before over thickness after one pass: 1.3 to 1.5 by hand, up to 2 on a sheeter (common practice).
REDUCTION_HAND, REDUCTION_SHEETER = 1.5, 2.0
#: Length over width a sheet is usually rolled to before its fold (3:1, bakemag.com traditional croissant).
RATIO = 3.0

SPINE_LEFT = 1  # as in shared_schedule.plan


class SheetError(Misfit):
    """A sheet that cannot be rolled; `quantity` names what limits."""


@dataclass(frozen=True)
class Layers:
    """Layers after some folds."""

    after: str
    fat: int
    dough: int
    total: int
    naive: int


def layers(folds: Sequence[int]) -> list[Layers]:
    """Layers at lock-in and after each fold (2, 3 or 4 each). Exact for any sequence."""
    out = [Layers("lock-in", 1, 2, 3, 3)]
    fat = 1
    for number, fold in enumerate(folds, start=1):
        if fold not in (2, 3, 4):
            raise SheetError(f"a {fold}-fold is not one of 2-fold, 3-fold, 4-fold", "folds")
        fat *= fold
        out.append(Layers(f"fold {number} ({fold}-fold)", fat, fat + 1, 2 * fat + 1, 3 * fat))
    return out


def layer_thickness(thickness_m: float, fat_share: float, fat_layers: int) -> tuple[float, float]:
    """(fat layer, dough layer) of a laminate of given thickness: T phi / F and T (1 - phi) / (F + 1)."""
    return thickness_m * fat_share / fat_layers, thickness_m * (1.0 - fat_share) / (fat_layers + 1)


def passes(before_m: float, after_m: float, reduction: float = REDUCTION_HAND) -> int:
    """Rolling passes between two thicknesses at most `reduction` a pass: ceil(ln(h0/h1)/ln r); 0 if no thinner."""
    if reduction <= 1.0:
        raise ValueError("a pass must reduce the thickness")
    if after_m >= before_m:
        return 0
    return math.ceil(math.log(before_m / after_m) / math.log(reduction) - 1e-9)


@dataclass(frozen=True)
class Stage:
    """One stage of one pâton. `roll_to_m` = length to roll to so that the sheet rests at `length_m`."""

    step: str
    length_m: float
    width_m: float
    thickness_m: float
    fat_layers: int
    fat_layer_m: float
    dough_layer_m: float
    passes: int = 0
    roll_to_m: float = 0.0
    fold: int = 0
    spine: int = 0
    quarter: int = 0

    @property
    def volume_m3(self) -> float:
        """Length x width x thickness."""
        return self.length_m * self.width_m * self.thickness_m


def rolled_size(
    volume_m3: float, folded: tuple[float, float], width_m: float, wish_m: float | None, bench_m: float
) -> tuple[float, float]:
    """(length, width) of the sheet rolled before a fold.

    `folded` is the pâton's (length, width) as it lies, the side to be lengthened first. The width is the block's, or
    the pâton's own when that is wider: rolling does not narrow it. The length is the wish, or 3 times the width, but
    never past the bench with spring-back, never so long that the sheet is thinner than 8 mm unless the cook wished it,
    and never shorter than the pâton lies already.
    """
    width = max(width_m, folded[1])
    limit = bench_m / (1.0 + SPRING_BACK)
    if wish_m is not None:
        length = wish_m
        if length > limit + 1e-9:
            raise SheetError(
                "a sheet of {long}, rolled to {roll} to allow for spring-back, is longer than the {bench} of bench",
                "bench length",
                long=("length", length), roll=("length", length * (1 + SPRING_BACK)), bench=("length", bench_m),
            )
    else:
        length = min(RATIO * width, limit, volume_m3 / (width * MIN_BETWEEN_M))
    length = max(length, folded[0])
    if length > limit + 1e-9:
        raise SheetError(
            "the pâton is {long} long, longer than the {bench} of bench", "bench length",
            long=("length", length), bench=("length", bench_m),
        )
    return length, width


def stages(
    volume_m3: float,
    fat_share: float,
    locked: tuple[float, float],
    folds: Sequence[int],
    width_m: float,
    final: tuple[float, float, float],
    bench_m: tuple[float, float],
    wish_m: float | None = None,
    reduction: float = REDUCTION_HAND,
) -> list[Stage]:
    """Every stage from lock-in to final sheet.

    `locked` = (length, width) of the closed pâton, `final` = (length, width, thickness) of the rolled final sheet,
    whose volume must be the pâton's; `bench_m` = usable (length, width). Raises SheetError naming the limit.
    """
    count = layers(folds)
    length, width = locked
    thick = volume_m3 / (length * width)

    def stage(step: str, number: int, before_m: float = 0.0, **more) -> Stage:
        fat = count[number].fat
        fat_m, dough_m = layer_thickness(thick, fat_share, fat)
        done = passes(before_m, thick, reduction) if before_m else 0
        return Stage(step, length, width, thick, fat, fat_m, dough_m, done, **more)

    out = [stage("lock-in", 0)]
    for number, fold in enumerate(folds, start=1):
        # Before the first fold the pâton is rolled the way it was closed; after each it is given a quarter turn, so
        # that the open ends face the cook and the spine lies at the left.
        quarter = 0 if number == 1 else 1
        if quarter:
            length, width = width, length
        before = thick
        length, width = rolled_size(volume_m3, (length, width), width_m, wish_m, bench_m[0])
        if width > bench_m[1] + 1e-9:
            raise SheetError(
                "the sheet for fold {number} is {wide} wide, the bench {bench} deep",
                "bench width",
                number=str(number), wide=("length", width), bench=("length", bench_m[1]),
            )
        thick = volume_m3 / (length * width)
        spine = SPINE_LEFT if quarter else 0
        roll = length * (1.0 + SPRING_BACK)
        out.append(stage(f"fold {number} rolled", number - 1, before, roll_to_m=roll, spine=spine, quarter=quarter))
        length, thick = length / fold, thick * fold
        out.append(stage(f"fold {number} folded", number, fold=fold, spine=SPINE_LEFT, quarter=quarter))
    before = thick
    length, width, thick = final
    if abs(length * width * thick / volume_m3 - 1.0) > 0.001:
        raise SheetError("the final sheet does not hold the volume of the pâton", "volume")
    roll = length * (1.0 + SPRING_BACK)
    out.append(stage("final sheet", len(folds), before, roll_to_m=roll, spine=SPINE_LEFT, quarter=1))
    return out
