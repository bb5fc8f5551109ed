"""The steps of the whole job, in order, with their limits and what they must follow. No clock: that is the planner's.

Keys: ``mix1``, ``bulk1``, ``p1.flatten`` ... ``p1.fold2``, ``p1.rest2`` ... ``p1.store`` (frozen raw), ``p1.hold``,
``proof``, ``wash``, ``preheat``, ``bake1`` ..., ``cool``. The steps of one pâton are in `lamination`.
"""

from __future__ import annotations

from shared_schedule import plan as ss
from tourier.batch.geometry import Geometry
from tourier.batch.kitchenheat import BULK_DOSE_S, KitchenHeat
from tourier.batch.lamination import COLD_DENSITY, Lamination, trays_for
from tourier.batch.limits import MIN, span, up
from tourier.batch.model import BatchSpec, ProcessStep
from tourier.batch.steps import CP, Steps


def process(spec: BatchSpec, geometry: Geometry, heat: KitchenHeat) -> tuple[ProcessStep, ...]:
    """Every step from mixing to cooling."""
    out = Steps()
    mixes = _dough(out, spec, geometry, heat)
    ends = []
    frozen = frozen_by_paton(spec, geometry)
    for paton in geometry.patons:
        mixed = mixes[(paton.number - 1) % len(mixes)]
        last = Lamination(out, spec, geometry, heat, paton, frozen[paton.number]).steps(mixed)
        if frozen[paton.number] < sum(paton.counts):
            ends.append(last)
    count = sum(p.count - p.freeze_raw for p in spec.pieces)
    if count:
        _bake(out, spec, heat, ends, count)
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
    _bake(out, spec, heat, [last], frozen, "later.")
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
                          ends_by=ss.BY_TIME, dose_s=BULK_DOSE_S)  # fmt: skip
        ends.append(key)
    return ends


def _bake(out: Steps, spec: BatchSpec, heat: KitchenHeat, ends: list[str], count: int, prefix: str = "") -> None:
    """Proof, egg wash, preheat, loads, cooling."""
    kitchen, puff = spec.kitchen, spec.kind == "puff"
    in_oven = kitchen.proof_place == "oven"
    preheat_after: tuple[str, ...] = ()
    if puff:
        wash_within = dict.fromkeys(ends, 30 * MIN)
    else:
        last = out.add(f"{prefix}proof", ss.PROOF, "Proof", ss.OVEN if in_oven else ss.PROOF_SPACE,
                       heat.proof(thawed=bool(prefix)), 5 * MIN, dict.fromkeys(ends, 20 * MIN), ends_by=ss.BY_DOSE,
                       dose_s=heat.proof_dose_s(), air_max_c=heat.proof_cap_c, saves_batch=True)  # fmt: skip
        wash_within = {last: 15 * MIN}
        preheat_after = (last,) if in_oven else ()
    loads = trays_for(trays_for(count, kitchen.pieces_per_tray), kitchen.oven_trays)
    ticks = ("pinch of salt in the wash", "a little milk in the wash")
    if puff and loads > 1:  # butter that softens while the first load bakes runs out instead of lifting
        ticks += ("later loads wait in the fridge",)
    work = up(2 * MIN + 8 * count)
    wash = out.add(f"{prefix}wash", ss.WASH, "Egg wash", ss.ANYWHERE, span(work * 0.6, work, work * 2, CP), work,
                   wash_within, ticks=ticks)  # fmt: skip
    heat_s = int(kitchen.oven_preheat_s)
    preheat = out.add(f"{prefix}preheat", ss.PREHEAT, f"Preheat to {spec.voice.temperature(kitchen.oven_c)}", ss.OVEN,
                      span(heat_s, heat_s, heat_s + 45 * MIN, "as the file says"), MIN, after=preheat_after,
                      ticks=("oven is empty",), ask_oven_empty=True, flexible=True, saves_batch=True)  # fmt: skip
    limits = span(spec.bake_s * 0.85, spec.bake_s, spec.bake_s * 1.25, "as the file says; swap the trays at half time")
    # In the oven the wash waits for the preheat; elsewhere the oven waits for the pieces.
    within = {wash: (heat_s + 20 * MIN) if in_oven else 20 * MIN, preheat: 10 * MIN}
    last = wash
    for n in range(1, loads + 1):
        name = "Bake" if loads == 1 else f"Bake load {n} of {loads}"
        last = out.add(f"{prefix}bake{n}", ss.BAKE, name, ss.OVEN, limits, 2 * MIN, within, ends_by=ss.BY_COOK,
                       saves_batch=True, band=(0.9, 1.2))  # fmt: skip
        within = {last: 5 * MIN}
    out.add(f"{prefix}cool", ss.COOL, "Cool", ss.ANYWHERE, span(15 * MIN, 20 * MIN, 90 * MIN, CP), MIN, {last: 5 * MIN},
            flexible=True)  # fmt: skip
