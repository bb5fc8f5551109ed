"""The steps of the whole job, in order, with their limits and what they must follow. No clock: that is the planner's.

Keys: ``mix1``, ``bulk1``, ``p1.flatten`` ... ``p1.fold2``, ``p1.rest2`` ... ``p1.store`` (frozen raw), ``p1.hold``,
``proof``, ``wash``, ``preheat``, ``bake1`` ..., ``cool``; where loads proof one after the other ``proof1``, ``cold2``,
``proof2`` ... The steps of one pâton are in `lamination`.
"""

from __future__ import annotations

from dataclasses import dataclass

from shared_schedule import plan as ss
from tourier.batch.geometry import Geometry
from tourier.batch.kitchenheat import KitchenHeat
from tourier.batch.lamination import COLD_DENSITY, Lamination, trays_for
from tourier.batch.limits import HOUR, MIN, span, up
from tourier.batch.model import BatchSpec, ProcessStep
from tourier.batch.steps import CP, Steps

CHANGE_S = 5 * MIN  # trays out, oven hot again, trays in: common practice, no source
OVEN_STANDS_S = 40 * MIN  # a hot oven may stand empty so long between two loads


def process(spec: BatchSpec, geometry: Geometry, heat: KitchenHeat) -> tuple[ProcessStep, ...]:
    """Every step from mixing to cooling; as many proofs as the timer has room for, each with what follows of it."""
    for together in range(1, loads_of(spec) + 1):
        steps = _process(spec, geometry, heat, together)
        if len(steps) <= ss.MAX_STEPS:
            break
    return steps


def loads_of(spec: BatchSpec) -> int:
    """Oven loads of the pieces that are baked now."""
    count = sum(p.count - p.freeze_raw for p in spec.pieces)
    return trays_for(count, spec.kitchen.pieces_per_tray * spec.kitchen.oven_trays)


def _process(spec: BatchSpec, geometry: Geometry, heat: KitchenHeat, together: int) -> tuple[ProcessStep, ...]:
    out = Steps()
    mixes = _dough(out, spec, geometry, heat)
    ends = []
    frozen = frozen_by_paton(spec, geometry)
    for paton in geometry.patons:
        mixed = mixes[(paton.number - 1) % len(mixes)]
        last = Lamination(out, spec, geometry, heat, paton, frozen[paton.number]).steps(mixed)
        if frozen[paton.number] < sum(paton.counts):
            ends.append((last, sum(paton.counts) - frozen[paton.number]))
    count = sum(p.count - p.freeze_raw for p in spec.pieces)
    if count:
        _bake(out, spec, heat, ends, count, together)
    return tuple(out.steps)


def frozen_by_paton(spec: BatchSpec, geometry: Geometry) -> dict[int, int]:
    """Pieces each pâton gives to the freezer: taken from the last pâtons, so that the first need not wait."""
    taken = dict.fromkeys((p.number for p in geometry.patons), 0)
    for index, piece in enumerate(spec.pieces):
        left = piece.freeze_raw
        for paton in reversed(geometry.patons):
            here = min(left, paton.counts[index])
            taken[paton.number] += here
            left -= here
    return taken


def later(spec: BatchSpec, heat: KitchenHeat) -> tuple[ProcessStep, ...]:
    """Thaw, proof and bake of the pieces frozen raw: kept with the batch for another day, not scheduled now."""
    frozen = sum(p.freeze_raw for p in spec.pieces)
    if not frozen:
        return ()
    out = Steps()
    last = out.add("later.thaw", ss.THAW, f"Thaw {frozen} pieces in the fridge", ss.FRIDGE, heat.thaw(), 5 * MIN,
                   flexible=True, units=trays_for(frozen, spec.kitchen.pieces_per_tray * COLD_DENSITY))  # fmt: skip
    _bake(out, spec, heat, [(last, frozen)], frozen, 1, "later.")
    return tuple(out.steps)


def _dough(out: Steps, spec: BatchSpec, geometry: Geometry, heat: KitchenHeat) -> list[str]:
    """Mixes and their bulk; returns the key each dough ends with."""
    ends = []
    by_hand, puff = spec.kitchen.mixing == "hand", spec.kind == "puff"
    work = 15 * MIN if by_hand else 10 * MIN
    for number in range(1, geometry.mixes + 1):
        name = "Mix the dough" if geometry.mixes == 1 else f"Mix dough {number} of {geometry.mixes}"
        key = out.add(f"mix{number}", ss.MIX, name, ss.BENCH if by_hand else ss.ANYWHERE,
                      span(work * 0.7, work, work * 1.7, CP), work,
                      ticks=("salt is in",) if puff else ("salt is in", "yeast is in"))  # fmt: skip
        if not puff:
            key = out.add(f"bulk{number}", ss.BULK, "Bulk", ss.ROOM, heat.bulk(), MIN, {key: 10 * MIN}, flexible=True,
                          ends_by=ss.BY_TIME, dose_s=heat.bulk_dose_s())  # fmt: skip
        ends.append(key)
    return ends


@dataclass(frozen=True)
class Shift:
    """Pieces that proof together: how many, the keys they come from, and the loads they fill."""

    pieces: int
    ends: tuple[str, ...]
    loads: int


def shifts(spec: BatchSpec, ends: list[tuple[str, int]], count: int, together: int) -> list[Shift]:
    """Deal the pieces to proofs of `together` loads each, so that little waits for the oven.

    All together in puff, and where the oven is the prover: it is emptied once.
    """
    per_load = spec.kitchen.pieces_per_tray * spec.kitchen.oven_trays
    if spec.kind == "puff" or spec.kitchen.proof_place == "oven":
        together = trays_for(count, per_load)
    out, done = [], 0
    while done < count:
        pieces = min(count - done, together * per_load)
        out.append(Shift(pieces, _ends_of(ends, done, done + pieces), trays_for(pieces, per_load)))
        done += pieces
    return out


def _ends_of(ends: list[tuple[str, int]], first: int, last: int) -> tuple[str, ...]:
    """Keys of the pâtons that pieces ``first`` to ``last`` come from, dealt in the order of the pâtons."""
    found, begin = [], 0
    for key, pieces in ends:
        if begin < last and begin + pieces > first:
            found.append(key)
        begin += pieces
    return tuple(found)


def _bake(
    out: Steps, spec: BatchSpec, heat: KitchenHeat, ends: list[tuple[str, int]], count: int, together: int,
    prefix: str = "",
) -> None:  # fmt: skip
    """Proof and egg wash of each shift, preheat, loads, cooling."""
    kitchen = spec.kitchen
    in_oven = kitchen.proof_place == "oven" and spec.kind == "leavened"
    dealt = shifts(spec, ends, count, together)
    washed = [_proof_and_wash(out, spec, heat, dealt, place, prefix) for place in range(len(dealt))]
    heat_s = int(kitchen.oven_preheat_s)
    preheat = out.add(f"{prefix}preheat", ss.PREHEAT, f"Preheat to {spec.voice.temperature(kitchen.oven_c)}", ss.OVEN,
                      span(heat_s, heat_s, heat_s + 45 * MIN, "as the file says"), MIN,
                      {washed[0]: 10 * MIN} if in_oven else None, ticks=("oven is empty",), ask_oven_empty=True,
                      flexible=True, saves_batch=True)  # fmt: skip
    limits = span(spec.bake_s * 0.85, spec.bake_s, spec.bake_s * 1.25, "as the file says; swap the trays at half time")
    loads, number, last = sum(shift.loads for shift in dealt), 0, preheat
    for wash, shift in zip(washed, dealt, strict=True):
        for of_shift in range(shift.loads):
            number += 1
            within = {last: 5 * MIN} if of_shift else {last: 10 * MIN if number == 1 else OVEN_STANDS_S}
            if not of_shift:  # in the oven the wash waits for the preheat; elsewhere the oven waits for the pieces
                within[wash] = (heat_s + 10 * MIN) if in_oven else 20 * MIN
            name = "Bake" if loads == 1 else f"Bake load {number} of {loads}"
            last = out.add(f"{prefix}bake{number}", ss.BAKE, name, ss.OVEN, limits, 2 * MIN, within,
                           ends_by=ss.BY_COOK, saves_batch=True, band=(0.9, 1.2))  # fmt: skip
    out.add(f"{prefix}cool", ss.COOL, "Cool", ss.ANYWHERE, span(15 * MIN, 20 * MIN, 90 * MIN, CP), MIN, {last: 5 * MIN},
            flexible=True)  # fmt: skip


def _proof_and_wash(
    out: Steps, spec: BatchSpec, heat: KitchenHeat, dealt: list[Shift], place: int, prefix: str
) -> str:
    """Proof and wash of one shift; a later one that shares a pâton with an earlier keeps cold until its turn."""
    shift, puff, alone = dealt[place], spec.kind == "puff", len(dealt) == 1
    number, which = ("", "") if alone else (f"{place + 1}", f" {place + 1} of {len(dealt)}")
    trays = trays_for(shift.pieces, spec.kitchen.pieces_per_tray)
    waits = dict.fromkeys(shift.ends, (30 if puff else 20) * MIN)
    if place and not puff:
        shared = [key for key in shift.ends if any(key in before.ends for before in dealt[:place])]
        if shared:
            turn_s = place * dealt[0].loads * (spec.bake_s + CHANGE_S)
            cold = out.add(f"{prefix}cold{number}", ss.HOLD, f"Keep trays{which} cold", ss.FRIDGE,
                           span(0, turn_s, turn_s + 3 * HOUR, "covered, until the oven will be free: " + CP), 0,
                           {key: 5 * MIN for key in shared}, flexible=True, ends_by=ss.BY_COOK,
                           units=trays_for(shift.pieces, spec.kitchen.pieces_per_tray * COLD_DENSITY))  # fmt: skip
            waits = {key: most for key, most in waits.items() if key not in shared} | {cold: 20 * MIN}
    within = waits
    if not puff:
        in_oven = spec.kitchen.proof_place == "oven"
        before_s = spec.kitchen.oven_preheat_s if in_oven else 0.0
        spread_s = (shift.loads - 1) * (spec.bake_s + CHANGE_S)
        proof = out.add(f"{prefix}proof{number}", ss.PROOF, f"Proof{which}", ss.OVEN if in_oven else ss.PROOF_SPACE,
                        heat.proof(bool(prefix), before_s, spread_s), 5 * MIN, waits, ends_by=ss.BY_DOSE,
                        dose_s=heat.proof_dose_s(before_s, spread_s), air_max_c=heat.proof_cap_c, saves_batch=True,
                        units=1 if in_oven else trays)  # fmt: skip
        within = {proof: (10 if in_oven else 15) * MIN}
    ticks = ("pinch of salt in the wash", "a little milk in the wash") if not place else ()
    if puff and shift.loads > 1:  # butter that softens while the first load bakes runs out instead of lifting
        ticks += ("later loads wait in the fridge",)
    work = up(2 * MIN + 8 * shift.pieces)
    limits = span(work * 0.6, work, work * 2, CP)
    return out.add(f"{prefix}wash{number}", ss.WASH, f"Egg wash{which}", ss.ANYWHERE, limits, work, within, ticks=ticks)
