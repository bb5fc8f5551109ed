"""The steps of the whole job, in order, with their limits and what they must follow. No clock: that is the planner's.

Keys: ``mix1``, ``bulk1``, ``p1.flatten`` ... ``p1.fold2``, ``p1.rest2`` ..., ``proof``, ``wash``, ``preheat``,
``bake1``.
"""

from __future__ import annotations

import math

from shared_schedule import plan as ss
from tourier.batch.geometry import Geometry, Paton
from tourier.batch.limits import HOUR, MIN, Limits, span, up
from tourier.batch.model import BatchSpec, ProcessStep
from tourier.craft import butter as butters

#: Shaped, unproofed pieces stand closer on a tray than proofed ones: common practice, no source.
COLD_DENSITY = 1.5
CP = "common practice, no source"


class Steps:
    """Collects the steps; `add` fills in what most of them share."""

    def __init__(self) -> None:
        self.steps: list[ProcessStep] = []

    def add(self, key: str, kind: int, name: str, place: int, limits: Limits, attended_s: int, after=(), **more) -> str:
        """Append a step and return its key."""
        within = more.pop("within", {})
        self.steps.append(
            ProcessStep(
                key,
                kind,
                name,
                place,
                more.pop("paton", 0),
                min(attended_s, limits.max_s),
                limits.min_s,
                limits.ideal_s,
                limits.max_s,
                tuple(after),
                dict(within),
                why=limits.why,
                **more,
            )
        )
        return key


class Day:
    """Builds the steps of one batch."""

    def __init__(self, spec: BatchSpec, geometry: Geometry, heat) -> None:
        self.spec, self.geometry, self.heat = spec, geometry, heat
        self.kitchen = spec.kitchen
        self.butter = butters.profile(spec.butter.profile)
        self.out = Steps()
        self.puff = spec.kind == "puff"

    # --- the dough ---

    def dough(self) -> list[str]:
        """Mixes and bulk; returns the key each mix ends with."""
        ends = []
        by_hand = self.kitchen.mixing == "hand"
        work = 15 * MIN if by_hand else 10 * MIN
        for number in range(1, self.geometry.mixes + 1):
            name = "Mix the dough" if self.geometry.mixes == 1 else f"Mix dough {number} of {self.geometry.mixes}"
            limits = span(work * 0.7, work, work * 1.7, "mixing: common practice, no source")
            ticks = ("salt is in",) if self.puff else ("salt is in", "yeast is in")
            key = self.out.add(
                f"mix{number}", ss.MIX, name, ss.BENCH if by_hand else ss.ANYWHERE, limits, work, ticks=ticks
            )
            if not self.puff:
                bulk = self.heat.bulk()
                key = self.out.add(
                    f"bulk{number}",
                    ss.BULK,
                    "Bulk",
                    ss.ROOM,
                    bulk,
                    0,
                    (key,),
                    within={key: 10 * MIN},
                    flexible=True,
                    ends_by=ss.BY_TIME,
                    dose_s=self.heat.bulk_dose_s(),
                )
            ends.append(key)
        return ends

    # --- one pâton, from flat dough to pieces ---

    def flat_dough(self, paton: Paton, after: str) -> str:
        """Flattened, cold-rested, hardened in the freezer."""
        p, block = f"p{paton.number}.", paton.block
        cold = block.dough_thickness_m
        key = self.out.add(
            f"{p}flatten",
            ss.FLATTEN,
            "Flatten the dough",
            ss.BENCH,
            span(3 * MIN, 5 * MIN, 15 * MIN, "common practice, no source"),
            5 * MIN,
            (after,),
            within={after: 30 * MIN},
            paton=paton.number,
            length_m=block.dough_length_m,
            width_m=block.dough_width_m,
            thickness_m=cold,
        )
        key = self.out.add(
            f"{p}chill",
            ss.CHILL,
            "Cold rest of the dough",
            ss.FRIDGE,
            self.heat.dough_rest(cold),
            2 * MIN,
            (key,),
            within={key: 15 * MIN},
            paton=paton.number,
            flexible=True,
            core_c=self.kitchen.fridge_c + 3.0,
            units=1,
        )
        return self.out.add(
            f"{p}freeze",
            ss.CHILL,
            "Dough in the freezer",
            ss.FREEZER,
            self.heat.dough_freezer(cold),
            2 * MIN,
            (key,),
            within={key: 5 * MIN},
            paton=paton.number,
            flexible=True,
            core_c=self.heat.dough_lock_in_c,
            ends_by=ss.BY_TIME,
        )

    def butter_block(self, paton: Paton) -> str:
        """Block made, back to the fridge, then brought to its window."""
        p, block = f"p{paton.number}.", paton.block
        size = {"length_m": block.length_m, "width_m": block.width_m, "thickness_m": block.thickness_m}
        key = self.out.add(
            f"{p}block",
            ss.BLOCK,
            "Butter block",
            ss.BENCH,
            span(6 * MIN, 10 * MIN, 20 * MIN, "common practice, no source"),
            10 * MIN,
            (),
            paton=paton.number,
            **size,
        )
        return self.out.add(
            f"{p}temper",
            ss.TEMPER,
            "Temper the butter block",
            ss.ROOM,
            self.heat.temper(block.thickness_m),
            MIN,
            (key,),
            within={key: 36 * HOUR},
            paton=paton.number,
            flexible=True,
            ends_by=ss.BY_CORE,
            core_c=self.window_mid_c,
            low_c=self.butter.window_low_c,
            high_c=self.butter.window_high_c,
            **size,
        )

    @property
    def window_mid_c(self) -> float:
        """Middle of the butter's pliable window."""
        return (self.butter.window_low_c + self.butter.window_high_c) / 2

    def laminate(self, paton: Paton, dough: str, butter: str) -> str:
        """Ice, lock-in, folds and rests; returns the key of the last rest."""
        p, number = f"p{paton.number}.", paton.number
        after, within = [dough, butter], {dough: 5 * MIN, butter: 5 * MIN}
        window = {"low_c": self.butter.window_low_c, "high_c": self.butter.window_high_c}
        if self.kitchen.ice_bench:
            ice = self.out.add(
                f"{p}ice",
                ss.ICE,
                "Ice on the bench, wipe dry",
                ss.BENCH,
                span(12 * MIN, 15 * MIN, 25 * MIN, "about 15 min: common practice, no source"),
                MIN,
                (),
                paton=number,
                flexible=True,
                ticks=("bench is wiped dry",),
            )
            after.append(ice)
            within[ice] = 5 * MIN
        block = paton.block
        key = self.out.add(
            f"{p}lockin",
            ss.LOCK_IN,
            f"Lock-in, {self.spec.butter.lock_in}",
            ss.BENCH,
            span(3 * MIN, 4 * MIN, 8 * MIN, "cold dough re-hardens the butter: be quick"),
            4 * MIN,
            after,
            within=within,
            paton=number,
            layers=1,
            length_m=block.dough_length_m,
            width_m=block.dough_width_m,
            thickness_m=block.locked_thickness_m,
            **window,
        )
        folds = self.spec.folds
        rolled = {s.step: s for s in paton.stages}
        of = len(folds.folds)
        for n, fold in enumerate(folds.folds, start=1):
            flat, folded = rolled[f"fold {n} rolled"], rolled[f"fold {n} folded"]
            limits = self.heat.fold(flat.thickness_m, flat.passes)
            key = self.out.add(
                f"{p}fold{n}",
                ss.FOLD,
                f"Fold {n} of {of}: {fold}-fold",
                ss.BENCH,
                limits,
                limits.ideal_s,
                (key,),
                within={key: 3 * MIN if n == 1 else 5 * MIN},
                paton=number,
                fold=fold,
                fold_n=n,
                fold_of=of,
                spine=flat.spine,
                quarter=flat.quarter,
                length_m=flat.length_m,
                width_m=flat.width_m,
                thickness_m=flat.thickness_m,
                layers=folded.fat_layers,
                **window,
            )
            if n % folds.folds_per_rest and n != of:
                continue
            place = ss.FRIDGE if folds.rest_place == "fridge" else ss.FREEZER
            night = folds.overnight == "paton" and n == of
            limits = self.heat.paton_night(folded.thickness_m) if night else self.heat.rest(folded.thickness_m)
            name = "Cold hold of the pâton" if night else f"Rest after fold {n}"
            key = self.out.add(
                f"{p}rest{n}",
                ss.HOLD if night else ss.REST,
                name,
                ss.FRIDGE if night else place,
                limits,
                2 * MIN,
                (key,),
                within={key: 5 * MIN},
                paton=number,
                flexible=True,
                fold_n=n,
                fold_of=of,
                ends_by=ss.BY_CORE if not night else ss.BY_COOK,
                core_c=self.heat.rest_core_c,
                thickness_m=folded.thickness_m,
                length_m=folded.length_m,
                width_m=folded.width_m,
                layers=folded.fat_layers,
            )
        return key

    def pieces(self, paton: Paton, after: str) -> str:
        """Final chill, sheet, cut, shape and cold hold; returns the key after which the pieces may proof or bake."""
        p, number, count = f"p{paton.number}.", paton.number, sum(paton.counts)
        final, last = paton.stages[-1], paton.stages[-2]
        window = {"low_c": self.butter.stop_low_c, "high_c": self.butter.window_high_c}
        key = after
        limits = self.heat.final_chill(last.thickness_m)
        if limits.max_s:
            key = self.out.add(
                f"{p}finalchill",
                ss.REST,
                "Final chill in the freezer",
                ss.FREEZER,
                limits,
                MIN,
                (key,),
                within={key: 5 * MIN},
                paton=number,
                flexible=True,
                core_c=self.heat.rest_core_c,
                thickness_m=last.thickness_m,
            )
        limits = self.heat.fold(final.thickness_m, final.passes + 2)
        key = self.out.add(
            f"{p}sheet",
            ss.SHEET,
            "Final sheet",
            ss.BENCH,
            limits,
            limits.ideal_s,
            (key,),
            within={key: 5 * MIN},
            paton=number,
            length_m=final.length_m,
            width_m=final.width_m,
            thickness_m=final.thickness_m,
            layers=final.fat_layers,
            spine=final.spine,
            quarter=final.quarter,
            **window,
        )
        work = up(4 * MIN + 10 * count)
        key = self.out.add(
            f"{p}cut",
            ss.CUT,
            f"Trim and cut {count} pieces",
            ss.BENCH,
            span(work * 0.6, work, work * 2, "common practice, no source"),
            work,
            (key,),
            within={key: 15 * MIN},
            paton=number,
            thickness_m=final.thickness_m,
            **window,
        )
        trays = self._trays(count, COLD_DENSITY)
        if not self.puff:
            key = self.out.add(
                f"{p}cutrest",
                ss.REST,
                "Chill the cut pieces",
                ss.FRIDGE,
                span(10 * MIN, 12 * MIN, 60 * MIN, "10 to 15 min before shaping: common practice, no source"),
                2 * MIN,
                (key,),
                within={key: 5 * MIN},
                paton=number,
                flexible=True,
                units=1,
            )
            work = up(45 * count)
            key = self.out.add(
                f"{p}shape",
                ss.SHAPE,
                f"Shape {count} pieces",
                ss.BENCH,
                span(work * 0.6, work, work * 1.7, "about 45 s a piece: common practice, no source"),
                work,
                (key,),
                within={key: 5 * MIN},
                paton=number,
                **window,
            )
        night = self.spec.folds.overnight == "pieces"
        if night or self.puff or len(self.geometry.patons) > 1:
            limits = self.heat.pieces_hold(night)
            kind = ss.HOLD if night or not self.puff else ss.REST
            name = "Cold hold of the pieces" if kind == ss.HOLD else "Rest the cut pieces"
            key = self.out.add(
                f"{p}hold",
                kind,
                name,
                ss.FRIDGE,
                limits,
                2 * MIN,
                (key,),
                within={key: 10 * MIN},
                paton=number,
                flexible=True,
                units=trays,
            )
        return key

    def _trays(self, count: int, density: float = 1.0) -> int:
        return max(1, math.ceil(count / (self.kitchen.pieces_per_tray * density)))

    # --- proof to table ---

    def freeze(self, ends: list[str]) -> None:
        """Pieces frozen raw for another day leave before the proof."""
        frozen = sum(p.freeze_raw for p in self.spec.pieces)
        if frozen:
            self.out.add(
                "freeze",
                ss.FREEZE,
                f"Freeze {frozen} pieces raw",
                ss.FREEZER,
                span(5 * MIN, 5 * MIN, 15 * MIN, "at most a month: common practice, no source"),
                5 * MIN,
                ends,
                ticks=("bag is labelled with the date",),
            )

    def bake(self, ends: list[str]) -> None:
        """Proof, wash, preheat, loads, cool."""
        count = sum(p.count - p.freeze_raw for p in self.spec.pieces)
        if not count:
            return
        add, trays = self.out.add, self._trays(count)
        in_oven = self.kitchen.proof_place == "oven"
        before, within = list(ends), {}
        if not self.puff:
            limits = self.heat.proof()
            place = ss.OVEN if in_oven else ss.PROOF_SPACE
            last = add(
                "proof",
                ss.PROOF,
                "Proof",
                place,
                limits,
                5 * MIN,
                ends,
                within=dict.fromkeys(ends, 20 * MIN),
                ends_by=ss.BY_DOSE,
                dose_s=self.heat.proof_dose_s(),
                air_max_c=self.heat.proof_cap_c,
                saves_batch=True,
                units=1,
            )
            before, within = [last], {last: 15 * MIN}
        work = up(2 * MIN + 8 * count)
        wash = add(
            "wash",
            ss.WASH,
            "Egg wash",
            ss.ANYWHERE,
            span(work * 0.6, work, work * 2, "common practice, no source"),
            work,
            before,
            within=within,
            ticks=("pinch of salt in the wash", "a little milk in the wash"),
        )
        heat_s = int(self.kitchen.oven_preheat_s)
        preheat = add(
            "preheat",
            ss.PREHEAT,
            f"Preheat to {self.kitchen.oven_c:.0f} °C",
            ss.OVEN,
            span(heat_s, heat_s, heat_s + 45 * MIN, "as the file says"),
            MIN,
            (last,) if in_oven and not self.puff else (),
            ticks=("oven is empty",),
            ask_oven_empty=True,
            flexible=True,
            saves_batch=True,
        )
        loads = math.ceil(trays / self.kitchen.oven_trays)
        bake_s = self.spec.bake_s
        last = ""
        for n in range(1, loads + 1):
            after = [wash, preheat] if n == 1 else [last]
            within = {wash: 20 * MIN, preheat: 10 * MIN} if n == 1 else {last: 5 * MIN}
            name = "Bake" if loads == 1 else f"Bake load {n} of {loads}"
            last = add(
                f"bake{n}",
                ss.BAKE,
                name,
                ss.OVEN,
                span(bake_s * 0.85, bake_s, bake_s * 1.25, "as the file says; turn the tray at half time"),
                2 * MIN,
                after,
                within=within,
                ends_by=ss.BY_COOK,
                saves_batch=True,
                band=(0.9, 1.2),
            )
        add(
            "cool",
            ss.COOL,
            "Cool",
            ss.ANYWHERE,
            span(15 * MIN, 20 * MIN, 4 * HOUR, "common practice, no source"),
            MIN,
            (last,),
            flexible=True,
        )

    def build(self) -> tuple[ProcessStep, ...]:
        """Every step in a workable order."""
        mixes = self.dough()
        ends = []
        for paton in self.geometry.patons:
            dough = self.flat_dough(paton, mixes[(paton.number - 1) % len(mixes)])
            butter = self.butter_block(paton)
            ends.append(self.pieces(paton, self.laminate(paton, dough, butter)))
        self.freeze(ends)
        self.bake(ends)
        return tuple(self.out.steps)

    def later(self) -> tuple[ProcessStep, ...]:
        """Thaw, proof and bake of the pieces frozen raw: kept with the batch for another day, not scheduled now."""
        frozen = sum(p.freeze_raw for p in self.spec.pieces)
        if not frozen:
            return ()
        self.out = Steps()
        add = self.out.add
        last = add(
            "later.thaw",
            ss.THAW,
            f"Thaw {frozen} pieces in the fridge",
            ss.FRIDGE,
            self.heat.thaw(),
            5 * MIN,
            flexible=True,
            units=self._trays(frozen, COLD_DENSITY),
        )
        if not self.puff:
            last = add(
                "later.proof",
                ss.PROOF,
                "Proof",
                ss.PROOF_SPACE,
                self.heat.proof(thawed=True),
                5 * MIN,
                (last,),
                ends_by=ss.BY_DOSE,
                dose_s=self.heat.proof_dose_s(),
                air_max_c=self.heat.proof_cap_c,
            )
        last = add(
            "later.wash", ss.WASH, "Egg wash", ss.ANYWHERE, span(3 * MIN, 5 * MIN, 15 * MIN, CP), 5 * MIN, (last,)
        )
        heat_s = int(self.kitchen.oven_preheat_s)
        oven = add(
            "later.preheat",
            ss.PREHEAT,
            f"Preheat to {self.kitchen.oven_c:.0f} °C",
            ss.OVEN,
            span(heat_s, heat_s, heat_s + 45 * MIN, "as the file says"),
            MIN,
            ticks=("oven is empty",),
            ask_oven_empty=True,
            flexible=True,
        )
        bake_s = self.spec.bake_s
        add(
            "later.bake",
            ss.BAKE,
            "Bake",
            ss.OVEN,
            span(bake_s * 0.85, bake_s, bake_s * 1.25, "as the file says"),
            2 * MIN,
            (last, oven),
            within={last: 20 * MIN},
        )
        return tuple(self.out.steps)
