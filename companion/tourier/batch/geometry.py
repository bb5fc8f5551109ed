"""From pieces wanted to pâtons: how many, how heavy, each with its block, stages and cuts. No heat, no clock.

This is the fast half of `work_up`; mass and volume balances are tested here on random batches.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from tourier.batch.ingredients import FINE
from tourier.batch.model import BatchSpec
from tourier.craft import butter as butters
from tourier.craft import cuts, properties, sheets
from tourier.craft.block import Block, fit
from tourier.craft.composition import mixture
from tourier.craft.formula import (
    DOUGH_GAS,
    FormulaError,
    Line,
    Split,
    Weighed,
    butter_per_dough,
    roll_in_percents,
    scale,
    split_volume,
)
from tourier.craft.misfit import Misfit
from tourier.voice import Voice

#: Temperature at which volumes are reckoned: the laminate on the bench, mid-window.
LAMINATE_C = 12.0
#: Heaviest pâton one pair of hands rolls well; a sheeter takes more. Common practice, no source.
HAND_PATON_KG = 2.5
MAX_PATONS = 8


class Unworkable(ValueError):
    """A wish that cannot be met; `quantity` names what limits, str() is one sentence that says what to do."""

    @classmethod
    def of(cls, misfit: Misfit, voice: Voice, advice: str = "") -> Unworkable:
        """What craft cannot meet, said in the cook's units."""
        return cls(voice.fill(misfit.sentence, misfit.measures) + advice, misfit.quantity)

    def __init__(self, sentence: str, quantity: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.quantity = quantity


@dataclass(frozen=True)
class Paton:
    """One pâton worked out. `counts` = pieces of each wish it gives; lengths in m; `edge_m` is trimmed all round."""

    number: int
    counts: tuple[int, ...]
    layout: cuts.Layout
    edge_m: float
    final: tuple[float, float, float]
    split: Split
    block: Block
    stages: tuple[sheets.Stage, ...]


@dataclass(frozen=True)
class Geometry:
    """The whole batch in masses and lengths."""

    patons: tuple[Paton, ...]
    weighed: tuple[Weighed, ...]
    mixes: int
    dough_kg: float  # base dough mixed, scraps included
    butter_kg: float
    of_dough: float  # roll-in, percent of the laminated dough
    of_flour: float
    percent_sum: float
    dough_composition: dict[str, float]
    dough_kg_m3: float  # with its gas
    butter_kg_m3: float
    laminate_kg_m3: float


def _per_paton(count: int, patons: int, number: int) -> int:
    """Share of one pâton when `count` pieces are spread as evenly as they go; earlier pâtons take the odd ones."""
    return count // patons + (1 if number < count % patons else 0)


def _groups(spec: BatchSpec) -> list[list[int]]:
    """Wishes by thickness: one pâton is rolled to one thickness."""
    found: dict[int, list[int]] = {}
    for index, piece in enumerate(spec.pieces):
        found.setdefault(round(piece.thickness_m * 1e6), []).append(index)
    return list(found.values())


def _shape(spec: BatchSpec, index: int) -> cuts.Shape:
    piece = spec.pieces[index]
    return cuts.Shape(
        piece.name, "triangle" if piece.shape == "triangle" else "rectangle", piece.base_m, piece.height_m
    )


class _Planner:
    """Holds what does not change between attempts with different numbers of pâtons."""

    def __init__(self, spec: BatchSpec) -> None:
        self.spec = spec
        self.percent_sum = sum(line.percent_of_flour for line in spec.formula)
        self.composition = mixture((line.kind, line.percent_of_flour) for line in spec.formula)
        self.butter = butters.profile(spec.butter.profile)
        self.dough_rho = properties.density(self.composition, LAMINATE_C, DOUGH_GAS)
        self.butter_rho = properties.density(self.butter.composition, LAMINATE_C)
        self.ratio = butter_per_dough(
            self.percent_sum, spec.butter.roll_in_percent_of_flour, spec.butter.roll_in_percent_of_dough
        )
        kitchen = spec.kitchen
        self.bench = (kitchen.bench_length_m, kitchen.bench_width_m)
        self.reduction = sheets.REDUCTION_HAND if kitchen.rolling == "hand" else sheets.REDUCTION_SHEETER
        self._made: dict[tuple, Paton] = {}

    def paton(self, number: int, counts: tuple[int, ...]) -> Paton:
        """One pâton for given counts, reckoned once for pâtons that are alike."""
        if counts not in self._made:
            self._made[counts] = self._work(counts)
        like = self._made[counts]
        return Paton(number, like.counts, like.layout, like.edge_m, like.final, like.split, like.block, like.stages)

    def _work(self, counts: tuple[int, ...]) -> Paton:
        spec = self.spec
        wants = [(_shape(spec, index), count) for index, count in enumerate(counts)]
        thickness = next(p.thickness_m for p, n in zip(spec.pieces, counts, strict=True) if n)
        trim = spec.trim_percent / 100.0
        reach = 1.0 + sheets.SPRING_BACK
        layout = cuts.smallest_sheet(wants, self.bench[0] / reach, self.bench[1] / reach, spec.blade_m, trim)
        edge = cuts.edge_m(layout.length_m, layout.width_m, trim)
        length, width = layout.length_m + 2 * edge, layout.width_m + 2 * edge
        if layout.across_bench:
            length, width = width, length
        split = split_volume(length * width * thickness, self.ratio, self.dough_rho, self.butter_rho)
        block = self._block(split)
        made = sheets.stages(
            split.volume_m3,
            split.fat_share,
            _locked(block),
            spec.folds.folds,
            block.width_m,
            (length, width, thickness),
            self.bench,
            spec.folds.sheet_length_m,
            self.reduction,
        )
        self._check(split, block, made)
        return Paton(0, counts, layout, edge, (length, width, thickness), split, block, tuple(made))

    def _block(self, split: Split) -> Block:
        wish = self.spec.butter
        return fit(
            split.butter_m3,
            split.dough_m3,
            wish.lock_in,
            wish.block_thickness_m,
            wish.block_length_m,
            wish.block_width_m,
        )

    def _check(self, split: Split, block: Block, made: list[sheets.Stage]) -> None:
        kitchen, voice = self.spec.kitchen, self.spec.voice
        said = voice.length
        if max(block.dough_length_m, block.dough_width_m) > self.bench[0]:
            raise Unworkable(
                f"the dough sheet for the lock-in is {said(block.dough_length_m)} long, the bench "
                f"{said(self.bench[0])}",
                "bench length",
            )
        if min(block.dough_length_m, block.dough_width_m) > self.bench[1]:
            raise Unworkable(
                f"the dough sheet for the lock-in is {said(min(block.dough_length_m, block.dough_width_m))} wide, the "
                f"bench {said(self.bench[1])} deep",
                "bench width",
            )
        mass = split.dough_kg + split.butter_kg
        if kitchen.rolling == "hand" and mass > HAND_PATON_KG and self.spec.patons is None:
            most = voice.weight(HAND_PATON_KG * 1000)
            heavy = voice.weight(mass * 1000)
            raise Unworkable(f"a pâton of {heavy} is more than {most}, hard to roll by hand", "pâton")
        if kitchen.fridge_shelf_length_m and kitchen.fridge_shelf_width_m:
            shelf = sorted((kitchen.fridge_shelf_length_m, kitchen.fridge_shelf_width_m))
            for stage in made:
                if not stage.fold:
                    continue
                size = sorted((stage.length_m, stage.width_m))
                if size[0] > shelf[0] + 1e-9 or size[1] > shelf[1] + 1e-9:
                    raise Unworkable(
                        f"after {stage.step} the pâton is {voice.size(size[1], size[0])}, the fridge shelf "
                        f"{voice.size(shelf[1], shelf[0])}",
                        "fridge shelf",
                    )


def _locked(block: Block) -> tuple[float, float]:
    if block.lock_in == "envelope":
        return block.length_m, block.width_m
    # The pâton is rolled along the open ends, that is, along the block's length.
    return block.length_m, block.width_m


def _splits(spec: BatchSpec, fewest: int) -> Iterator[list[tuple[int, ...]]]:
    """Ways to spread the pieces: the same number of pâtons for each thickness, fewest first."""
    groups = _groups(spec)
    pieces = [sum(spec.pieces[i].count for i in group) for group in groups]
    if spec.patons and spec.patons < len(groups):
        kinds = f"pieces of {len(groups)} thicknesses need as many pâtons"
        raise Unworkable(f"{kinds}, the file asks for {spec.patons}; write more or leave patons out", "patons")
    if (spec.patons or 0) > sum(pieces):
        many = f"{sum(pieces)} piece{'s' if sum(pieces) > 1 else ''}"
        raise Unworkable(f"{many} cannot be spread over {spec.patons} pâtons; leave patons out", "patons")
    least = max(spec.patons or fewest, len(groups))
    most = spec.patons or min(MAX_PATONS, sum(pieces))
    for total in range(least, max(most, least) + 1):
        shares = _share_out(spec, groups, pieces, total)
        patons: list[tuple[int, ...]] = []
        for group, share in zip(groups, shares, strict=True):
            for number in range(share):
                counts = tuple(
                    _per_paton(piece.count, share, number) if index in group else 0
                    for index, piece in enumerate(spec.pieces)
                )
                if sum(counts):
                    patons.append(counts)
        yield patons


def _share_out(spec: BatchSpec, groups: list[list[int]], pieces: list[int], total: int) -> list[int]:
    """Numbers of pâtons of each thickness, in proportion to the volume of its pieces, at least one each and none
    without a piece; `total` is at most the number of pieces."""
    volumes = [
        sum(_shape(spec, i).area_m2 * spec.pieces[i].thickness_m * spec.pieces[i].count for i in group)
        for group in groups
    ]
    shares = [1] * len(groups)
    for _ in range(total - len(groups)):
        open_to_more = [g for g in range(len(groups)) if shares[g] < pieces[g]]
        neediest = max(open_to_more, key=lambda g: volumes[g] / shares[g])
        shares[neediest] += 1
    return shares


def lay_out(spec: BatchSpec) -> Geometry:
    """Pâtons, masses and sizes for a batch. Raises Unworkable naming the quantity that limits."""
    try:
        planner = _Planner(spec)
    except FormulaError as error:
        raise Unworkable.of(error, spec.voice) from None
    reason = Unworkable("nothing to cut", "pieces")
    for counts in _splits(spec, 1):
        try:
            patons = tuple(planner.paton(number, one) for number, one in enumerate(counts, start=1))
            return _sum_up(spec, planner, patons)
        except Misfit as error:
            # The reason given is that of the last, smallest pâton: more of them would not have helped.
            reason = Unworkable.of(error, spec.voice)
        except Unworkable as error:
            reason = error
    raise Unworkable(f"{reason}{_advice(spec)}", reason.quantity) from None


def _advice(spec: BatchSpec) -> str:
    if spec.patons:
        return f" (in {spec.patons} pâtons as the file asks; leave patons out to let the number be found)"
    return f" (tried up to {MAX_PATONS} pâtons)"


def _sum_up(spec: BatchSpec, planner: _Planner, patons: tuple[Paton, ...]) -> Geometry:
    in_patons = sum(p.split.dough_kg for p in patons)
    butter_kg = sum(p.split.butter_kg for p in patons)
    dough_kg = in_patons / (1.0 - spec.scrap_percent / 100.0)
    flour_kg = dough_kg * 100.0 / planner.percent_sum
    limit = spec.kitchen.mixer_flour_max_kg if spec.kitchen.mixing == "mixer" else None
    mixes = max(1, -(-int(flour_kg * 1e6) // int(limit * 1e6))) if limit else 1
    if mixes > len(patons):
        if spec.patons is not None or mixes > MAX_PATONS:
            raise Unworkable(
                f"{flour_kg:.2f} kg of flour need {mixes} mixes of at most {limit:g} kg, more than the "
                f"{len(patons)} pâtons; make fewer pieces or more pâtons",
                "mixer",
            )
        raise Unworkable("the mixer is too small for this many pâtons", "mixer")
    lines = [Line(line.name, line.percent_of_flour, 0.1 if line.kind in FINE else 1.0) for line in spec.formula]
    weighed = tuple(scale(lines, dough_kg))
    of_dough, of_flour = roll_in_percents(butter_kg, in_patons, planner.percent_sum)
    volume = sum(p.split.volume_m3 for p in patons)
    return Geometry(
        patons,
        weighed,
        mixes,
        dough_kg,
        butter_kg,
        of_dough,
        of_flour,
        planner.percent_sum,
        planner.composition,
        planner.dough_rho,
        planner.butter_rho,
        (in_patons + butter_kg) / volume,
    )
