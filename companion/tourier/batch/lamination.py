"""The steps of one pâton: flat dough, butter block, lock-in, folds and rests, sheet, cut, shape, cold hold."""

from __future__ import annotations

import math

from shared_schedule import plan as ss
from tourier.batch.geometry import Geometry, Paton
from tourier.batch.kitchenheat import KitchenHeat
from tourier.batch.limits import HOUR, MIN, span, up
from tourier.batch.model import BatchSpec
from tourier.batch.standing import STAND_S, THIN_LAYER_M, paton_stand, stood_c
from tourier.batch.steps import CP, Steps
from tourier.voice import span as lasting

#: Shaped, unproofed pieces stand closer on a tray than proofed ones: common practice, no source.
COLD_DENSITY = 1.5


class Lamination:
    """Adds the steps of one pâton to `out`."""

    def __init__(
        self, out: Steps, spec: BatchSpec, geometry: Geometry, heat: KitchenHeat, paton: Paton, frozen: int = 0
    ) -> None:
        self.frozen = frozen  # pieces of this pâton that are frozen raw
        self.out, self.spec, self.geometry, self.heat, self.paton = out, spec, geometry, heat, paton
        self.kitchen, self.butter, self.puff = spec.kitchen, heat.butter, spec.kind == "puff"
        self.window = {"low_c": heat.work_window_c[0], "high_c": heat.work_window_c[1]}

    def _add(self, part: str, *args, **more) -> str:
        return self.out.add(f"p{self.paton.number}.{part}", *args, paton=self.paton.number, **more)

    def steps(self, mixed: str) -> str:
        """All steps of this pâton after the dough that `mixed` made; returns the key of the last."""
        dough, butter = self._dough(mixed), self._butter()
        return self._pieces(self._folds(self._lock_in(dough, butter)))

    # --- before the lock-in ---

    def _dough(self, mixed: str) -> str:
        block, heat, wish = self.paton.block, self.heat, self.spec.folds.dough_chill_s
        thick = block.dough_thickness_m
        size = {"length_m": block.dough_length_m, "width_m": block.dough_width_m, "thickness_m": thick}
        key = self._add("flatten", ss.FLATTEN, "Flatten the dough", ss.BENCH, span(3 * MIN, 5 * MIN, 15 * MIN, CP),
                        5 * MIN, {mixed: 30 * MIN}, **size)  # fmt: skip
        night = self.spec.folds.overnight == "dough"
        cold = {"thickness_m": thick, "flexible": True, "core_c": heat.dough_lock_in_c}
        if night or not wish:
            key = self._add("chill", ss.CHILL, "Chill the dough", ss.FRIDGE, heat.dough_rest(thick), 2 * MIN,
                            {key: 15 * MIN}, ends_by=ss.BY_TIME if night else ss.BY_CORE, **cold)  # fmt: skip
        if wish:
            return self._add("freeze", ss.CHILL, "Dough in the freezer", ss.FREEZER, heat.dough_freezer(thick), 2 * MIN,
                             {key: 10 * MIN}, ends_by=ss.BY_CORE, **cold)  # fmt: skip
        stand = heat.dough_stand(thick) if night else None
        if stand is not None:
            key = self._add("stand", ss.REST, "Let the dough stand", ss.ROOM, stand, MIN, {key: 5 * MIN},
                            ends_by=ss.BY_CORE, **cold)  # fmt: skip
        return key

    def _butter(self) -> str:
        block, b = self.paton.block, self.butter
        size = {"length_m": block.length_m, "width_m": block.width_m, "thickness_m": block.thickness_m}
        # Two words on the timer's screen say where it goes: it waits cold until it is tempered.
        key = self._add("block", ss.BLOCK, "Shape the butter block, chill", ss.BENCH,
                        span(6 * MIN, 10 * MIN, 20 * MIN, CP), 10 * MIN, **size)  # fmt: skip
        return self._add("temper", ss.TEMPER, "Temper the butter block", ss.ROOM, self.heat.temper(block.thickness_m),
                         MIN, {key: 36 * HOUR}, flexible=True, ends_by=ss.BY_CORE, core_c=self.heat.window_mid_c,
                         low_c=b.window_low_c, high_c=b.window_high_c, **size)  # fmt: skip

    def _ice(self, part: str) -> dict[str, int]:
        """Ice laid on the bench before the next work on it; to be merged into that step's `within`."""
        key = self._add(part, ss.ICE, "Ice on the bench, wipe dry", ss.BENCH,
                        span(12 * MIN, 15 * MIN, 25 * MIN, "about 15 min: " + CP), MIN, flexible=True,
                        ticks=("bench is wiped dry",))  # fmt: skip
        return {key: 5 * MIN}

    # --- lock-in to last rest ---

    def _lock_in(self, dough: str, butter: str) -> str:
        locked = next(stage for stage in self.paton.stages if stage.step == "lock-in")
        within = {dough: 5 * MIN, butter: 5 * MIN}
        if self.kitchen.ice_bench:
            within |= self._ice("ice")
        return self._add("lockin", ss.LOCK_IN, f"Lock-in, {self.spec.butter.lock_in}", ss.BENCH,
                         span(3 * MIN, 4 * MIN, 8 * MIN, "cold dough hardens butter, be quick: published practice"),
                         4 * MIN, within, layers=1, length_m=locked.length_m, width_m=locked.width_m,
                         thickness_m=locked.thickness_m, **self.window)  # fmt: skip

    @property
    def layered(self) -> bool:
        """Whether the butter lies in layers so thin that the block's rule for cold butter does not hold."""
        return self.paton.stages[-1].fat_layer_m <= THIN_LAYER_M

    def _folds(self, key: str) -> str:
        wish, stages = self.spec.folds, {s.step: s for s in self.paton.stages}
        of, before = len(wish.folds), stages["lock-in"].thickness_m
        iced, core_c = self.kitchen.ice_bench, self.heat.rest_core_c
        for n, fold in enumerate(wish.folds, start=1):
            flat, folded = stages[f"fold {n} rolled"], stages[f"fold {n} folded"]
            within = {key: 3 * MIN if n == 1 else 5 * MIN}
            rested = n == 1 or (n - 1) % wish.folds_per_rest == 0
            if n > 1 and rested:
                iced = self.heat.ice_again(before, flat.thickness_m, flat.passes)
                if iced:
                    within |= self._ice(f"ice{n}")
            limits = self.heat.fold(before, flat.thickness_m, flat.passes, iced)
            key = self._add(f"fold{n}", ss.FOLD, f"Fold {n} of {of}: {fold}-fold", ss.BENCH, limits, limits.ideal_s,
                            within, fold=fold, fold_n=n, fold_of=of, spine=flat.spine, quarter=flat.quarter,
                            length_m=flat.length_m, width_m=flat.width_m, thickness_m=flat.thickness_m,
                            layers=folded.fat_layers, **self.window)  # fmt: skip
            work = (before, flat.thickness_m, flat.passes)
            # A bench that is iced at all may still be cold from the last time: the middle of both.
            left = [self.heat.after_work_c(*work, cold, core_c) for cold in (iced, self.kitchen.ice_bench)]
            core_c = sum(left) / 2
            before = folded.thickness_m
            if n == of or n % wish.folds_per_rest == 0:
                key, rest_s = self._rest(key, n, of, folded, core_c)
                core_c = self.heat.rested_c(folded.thickness_m, core_c, rest_s)
        return key

    def _rest(self, key: str, n: int, of: int, folded, left_c: float) -> tuple[str, float]:
        """The rest after fold n and its length; `left_c` = core as it leaves the bench."""
        size = {"length_m": folded.length_m, "width_m": folded.width_m, "thickness_m": folded.thickness_m,
                "layers": folded.fat_layers, "fold_n": n, "fold_of": of, "flexible": True,
                "core_c": self.heat.rest_core_c}  # fmt: skip
        if self.spec.folds.overnight == "paton" and n == of:
            key = self._add(f"rest{n}", ss.HOLD, "Cold hold of the pâton", ss.FRIDGE, self.heat.paton_night(), 2 * MIN,
                            {key: 5 * MIN}, ends_by=ss.BY_COOK, **size)  # fmt: skip
            limits = paton_stand(self.heat, folded.thickness_m, self.paton.stages[-1].fat_layer_m)
            if self.layered:
                size.pop("core_c")
            key = self._add("stand", ss.REST, "Let the pâton stand", ss.ROOM, limits, MIN, {key: 5 * MIN},
                            ends_by=ss.BY_TIME if self.layered else ss.BY_CORE, **size)  # fmt: skip
            return key, 0.0
        place = ss.FRIDGE if self.spec.folds.rest_place == "fridge" else ss.FREEZER
        limits = self.heat.rest(folded.thickness_m, left_c)
        key = self._add(f"rest{n}", ss.REST, f"Rest after fold {n}", place, limits, 2 * MIN, {key: 5 * MIN},
                        ends_by=ss.BY_CORE, **size)  # fmt: skip
        return key, limits.ideal_s

    # --- final sheet to cold hold ---

    def _pieces(self, key: str) -> str:
        final, last, heat = self.paton.stages[-1], self.paton.stages[-2], self.heat
        count = sum(self.paton.counts)
        limits = heat.final_chill(last.thickness_m)
        stood = self.spec.folds.overnight == "paton"  # it has just been brought to its window
        if limits.max_s and not stood:
            key = self._add("finalchill", ss.REST, "Final chill in the freezer", ss.FREEZER, limits, MIN,
                            {key: 5 * MIN}, flexible=True, ends_by=ss.BY_TIME,
                            thickness_m=last.thickness_m)  # fmt: skip
        within = {key: 5 * MIN}
        iced = heat.ice_again(last.thickness_m, final.thickness_m, final.passes + 2)
        if iced:
            within |= self._ice("icesheet")
        limits = heat.fold(last.thickness_m, final.thickness_m, final.passes + 2, iced)
        low_c = self.butter.stop_low_c - 3.0
        if stood and self.layered:
            low_c = min(low_c, stood_c(heat, last.thickness_m, STAND_S[0]) - 1.0)
        # A thin sheet bends colder than a thick one and warms at once: the window is wider than that of a fold.
        key = self._add("sheet", ss.SHEET, "Final sheet", ss.BENCH, limits, limits.ideal_s, within,
                        length_m=final.length_m, width_m=final.width_m, thickness_m=final.thickness_m,
                        layers=final.fat_layers, spine=final.spine, quarter=final.quarter,
                        low_c=low_c, high_c=self.butter.stop_high_c)  # fmt: skip
        work = up(4 * MIN + 10 * count)
        key = self._add("cut", ss.CUT, f"Trim and cut {count} pieces", ss.BENCH, span(work * 0.6, work, work * 2, CP),
                        work, {key: 15 * MIN}, thickness_m=final.thickness_m)  # fmt: skip
        if not self.puff:
            key = self._shape(key, count)
        if self.frozen:
            stored = self._add("store", ss.FREEZE, f"Freeze {self.frozen} pieces raw", ss.FREEZER,
                               span(5 * MIN, 5 * MIN, 15 * MIN, self._frozen_why()), 5 * MIN,
                               {key: 20 * MIN}, ticks=("bag is labelled with the date",))  # fmt: skip
            if self.frozen == count:
                return stored
        return self._hold(key, count - self.frozen)

    def _frozen_why(self) -> str:
        hard = lasting(self.heat.frozen_s)
        return f"spread out until hard, about {hard}, then bagged; keeps a month at most: a published recipe"

    def _shape(self, key: str, count: int) -> str:
        key = self._add("cutrest", ss.REST, "Chill the cut pieces", ss.FRIDGE,
                        span(10 * MIN, 12 * MIN, 60 * MIN, "10 to 15 min before shaping: two published "
                             "recipes"), 2 * MIN, {key: 5 * MIN}, flexible=True,
                        ends_by=ss.BY_TIME)  # fmt: skip
        work = up(45 * count)
        return self._add("shape", ss.SHAPE, f"Shape {count} pieces", ss.BENCH,
                         span(work * 0.6, work, work * 1.7, "about 45 s a piece: " + CP), work,
                         {key: 5 * MIN})  # fmt: skip

    def _hold(self, key: str, count: int) -> str:
        night = self.spec.folds.overnight == "pieces"
        if not (night or self.puff or len(self.geometry.patons) > 1):
            return key
        plain = self.puff and not night
        trays = trays_for(count, self.kitchen.pieces_per_tray * COLD_DENSITY)
        return self._add("hold", ss.REST if plain else ss.HOLD,
                         "Rest the cut pieces" if plain else "Keep the pieces cold", ss.FRIDGE,
                         self.heat.pieces_hold(night), 2 * MIN, {key: 10 * MIN}, flexible=True, units=trays,
                         ends_by=ss.BY_TIME if plain else ss.BY_COOK)  # fmt: skip


def trays_for(count: int, per_tray: float) -> int:
    """Trays that hold a number of pieces."""
    return max(1, math.ceil(count / per_tray - 1e-9))
