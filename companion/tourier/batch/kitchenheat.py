"""Limits of every step that heat or yeast decides, for one batch in one kitchen.

The physics stands in `tourier.craft`; this module only says which question each step asks of it. Figures that no
physics gives (hands-on times, the gluten's rest) are in `limits` and labelled as common practice.
"""

from __future__ import annotations

import math
from functools import cached_property
from typing import Any

import numpy as np

from tourier.batch.geometry import LAMINATE_C, Geometry, Unworkable
from tourier.batch.limits import GLUTEN_S, HOUR, MIN, Limits, span
from tourier.batch.model import BatchSpec
from tourier.craft import butter as butters
from tourier.craft import proof, scene, stacks, yeast
from tourier.craft.formula import DOUGH_GAS
from tourier.craft.ice import dough_ice
from tourier.craft.misfit import Misfit
from tourier.craft.properties import butter_material, dough_material, laminate_material
from tourier.craft.rising import Stay, gathered, tau_s
from tourier.known import Known
from tourier.voice import span as lasting

#: Dose of a short bulk before the cold, seconds at 26 °C: about 1 h at 24 °C, common practice, no source.
BULK_DOSE_S = 3200
#: Coldest and warmest dough worth locking butter into (4 to 10 °C: common practice; 8 to 16 °C when rolled: brotdoc).
LOCK_IN_COLD_C, LOCK_IN_WARM_C = 4.0, 12.0
ICE_S = 15 * MIN
#: Ice is gone from a piece whose core is above this: butter's water melts at -0.5 °C (J. Dairy Res. 39 (1972) 319).
THAWED_C = -0.3
#: Hard enough to be bagged without sticking or bending: common practice, no source.
HARD_C = -12.0
#: Air of a box or an oven with a bowl of hot water in it: 75 to 80 % is the trade's, IREKS compendium 11.5.
MOIST = 0.75
#: Pieces as they come from the bench to the proof, °C: proof.USUAL.
USUAL_START_C = proof.USUAL[3]
#: How much of the loads' spread the first gives in advance: 0.85 and 1.2 are as far from a whole proof as 0.43 to 0.57.
FIRST_EARLY = 0.43
#: A dough slower than this beside the usual one does not rise in a day.
SLOWEST = 0.1
#: Kept between the core a rest aims at and the butter's brittle end, K: about a probe's error.
COLD_MARGIN_K = 0.5


class KitchenHeat:
    """Heat and yeast of one batch, with what the cook's own batches have taught. `spec` holds the air in force."""

    def __init__(self, spec: BatchSpec, geometry: Geometry, known: Known) -> None:
        self.spec, self.geometry, self.voice = spec, geometry, spec.voice
        self.kitchen = spec.kitchen
        self.known = known
        self.butter = butters.profile(spec.butter.profile)
        if known.butter_window_c is not None:
            self.butter = butters.with_window(self.butter, *known.butter_window_c)
        self.place = scene.Ambient(
            room_c=self.kitchen.room_c,
            humidity=self.kitchen.humidity_pct / 100.0,
            fridge_c=self.kitchen.fridge_c,
            freezer_c=self.kitchen.freezer_c,
            proof_c=self.proof_air_c,
            proof_humidity=self.proof_humidity,
            bench=self.kitchen.bench_material,
            bench_m=self.kitchen.bench_thickness_m,
            fan_fridge=self.kitchen.fridge_fan,
            learned=known.films,
            bench_effusivity=known.bench_effusivity and known.bench_effusivity.value,
        )
        parts = [(line.kind, line.percent_of_flour) for line in spec.formula]
        #: How fast this dough ferments beside the usual one.
        self.speed = yeast.speed(parts)
        ice = dough_ice(parts)
        self.dough_m = dough_material(geometry.dough_composition, LAMINATE_C, DOUGH_GAS, ice=ice)
        self.butter_m = butter_material(self.butter, LAMINATE_C)
        self.laminate_m = laminate_material(self.dough_m, self.butter_m, geometry.of_dough, 100.0 - geometry.of_dough)
        #: Core a rest brings the pâton to: the low end of the butter's window, since rolling warms it again.
        self.rest_core_c = self.butter.window_low_c
        #: Span of the core in which a fold may be made: below, the butter breaks; above, it smears.
        self.work_window_c = (self.butter.stop_low_c, self.butter.window_high_c)
        #: Dough as it comes to the lock-in: as reckoned, unless the cook's own chill makes it otherwise.
        self.lock_in_dough_c = self.dough_lock_in_c
        #: Coldest core a rest aims at: the next rolling should find the butter clear of its brittle end.
        self.rest_floor_c = self.butter.stop_low_c + COLD_MARGIN_K
        self._rests: dict[tuple, Limits] = {}

    @property
    def window_mid_c(self) -> float:
        """Middle of the butter's pliable window."""
        return (self.butter.window_low_c + self.butter.window_high_c) / 2

    @property
    def proof_air_c(self) -> float:
        """Air of the proof: as the file says, else the room."""
        return self.kitchen.proof_c if self.kitchen.proof_c is not None else self.kitchen.room_c

    @property
    def proof_humidity(self) -> float:
        """Humidity of the proof's air, 0..1: as the file says; else the room's, or a moist box or oven's 75 %."""
        if self.kitchen.proof_humidity_pct is not None:
            return self.kitchen.proof_humidity_pct / 100.0
        return self.kitchen.humidity_pct / 100.0 if self.kitchen.proof_place == "room" else MOIST

    @property
    def proof_cap_c(self) -> float:
        """Warmest proof air this butter stands."""
        return butters.proof_air_cap_c(self.butter)

    def core_s(self, material, thickness_m: float, start_c: float, target_c: float, where: str) -> float:
        """Seconds until the core gets there in the usual kitchen; inf when it never does."""
        if where in ("fridge", "freezer") and start_c <= target_c:
            return 0.0
        seconds = stacks.rest_seconds(material, thickness_m, start_c, target_c, self.place, where).usual
        return math.inf if math.isnan(seconds) else seconds

    def core_after_c(self, material, thickness_m: float, start_c: float, where: str, seconds: float) -> float:
        """Core after a time in a cold or warm place, °C."""
        run, core = stacks.core_curve(material, thickness_m, start_c, self.place, where, seconds, doubtful=False)
        return float(run.trace(core)[-1, 0])

    def rehardening(self) -> stacks.Rehardening:
        """The race between lock-in and first fold, on the bench as it will be."""
        block = self.geometry.patons[0].block
        bench = float(self.iced_bench_c[-1]) if self.kitchen.ice_bench else None
        return stacks.rehardening(
            self.dough_m, self.butter_m, block.dough_thickness_m, block.thickness_m, self.lock_in_dough_c,
            self.window_mid_c, self.butter.window_low_c, self.place, bench,
        )  # fmt: skip

    # --- dough ---

    def bulk_dose_s(self) -> int:
        """Dose of the bulk, seconds at 26 °C of this dough."""
        return round(BULK_DOSE_S / self.rising_speed)

    @property
    def rising_speed(self) -> float:
        """How fast this dough rises beside the usual one. Raises Unworkable when it hardly does."""
        if self.speed.usual < SLOWEST:
            raise Unworkable(
                f"a dough with this much salt and sugar for its yeast rises at {self.speed.usual * 100:.0f} % of the "
                "usual speed; take more yeast, or less of the others", "formula",
            )  # fmt: skip
        return self.speed.usual

    def bulk(self) -> Limits:
        """Bulk at the dough's own temperature, which drifts towards the room's."""
        drift = (2 * self.spec.dough_temp_c + self.kitchen.room_c) / 3
        speed = float(proof.weight(drift) / proof.weight(26.0)) * proof.altitude_factor(self.kitchen.altitude_m)
        if speed <= 0.02:
            raise Unworkable(
                f"a dough of {self.voice.temperature(drift)} hardly rises; ask for a warmer dough", "dough temperature"
            )
        ideal = self.bulk_dose_s() / speed
        why = (f"1 h at {self.voice.temperature(24)} in the usual dough; here {self.voice.temperature(drift)}, "
               f"yeast {self.speed.usual:.2f} x as fast")  # fmt: skip
        return span(ideal * 0.6, ideal, ideal * 1.6, why)

    @cached_property
    def dough_lock_in_c(self) -> float:
        """Dough temperature at which dough and tempered butter settle just inside the butter's working span.

        Heat of dough and butter before and after lock-in is the same; the butter starts mid-window and should end in
        the middle between brittle and pliable. Limited to what dough is usually locked in at.
        """
        block = self.geometry.patons[0].block
        end_c = (self.butter.stop_low_c + self.butter.window_low_c) / 2
        given = self.butter_m.enthalpy_j_m3(np.array([self.window_mid_c, end_c]))
        heat = block.thickness_m * float(given[0] - given[1])
        dough = 2 * block.dough_thickness_m * self.dough_m.rho * self.dough_m.c
        return min(LOCK_IN_WARM_C, max(LOCK_IN_COLD_C, self.kitchen.fridge_c + 1.5, end_c - heat / dough))

    def dough_rest(self, thickness_m: float) -> Limits:
        """Cold rest of the flat dough in the fridge: overnight, or until it is right for the lock-in."""
        if self.spec.folds.overnight == "dough":
            longest = 24 * HOUR if self.spec.kind == "leavened" else 48 * HOUR
            return span(6 * HOUR, 12 * HOUR, longest, "8 to 16 h cold relaxes the dough: common practice, no source")
        return self._dough_chill(thickness_m, "fridge")

    def dough_freezer(self, thickness_m: float) -> Limits:
        """Freezer before the lock-in, as the cook wishes it; says what core it gives."""
        wish = self.spec.folds.dough_chill_s or 0.0
        start = self.kitchen.fridge_c + 1.0 if self.spec.folds.overnight == "dough" else self.spec.dough_temp_c
        end = self.core_after_c(self.dough_m, thickness_m, start, "freezer", max(wish, MIN))
        self.lock_in_dough_c = end
        right = self.core_s(self.dough_m, thickness_m, start, self.dough_lock_in_c, "freezer")
        right_c = self.voice.temperature(self.dough_lock_in_c)
        why = f"as the file says; right for the butter at {right_c}, after {lasting(right)}"
        return span(min(wish * 0.6, right), wish, wish * 1.5, why)

    def _dough_chill(self, thickness_m: float, where: str) -> Limits:
        start, target = self.spec.dough_temp_c, self.dough_lock_in_c
        # Colder than wished only makes the butter stiffen sooner; dough of 4 to 10 °C is locked in: common practice.
        aims = (target + 2.0, target, max(target - 4.0, LOCK_IN_COLD_C))
        seconds = [self.core_s(self.dough_m, thickness_m, start, aim, where) for aim in aims]
        warm, cold = self.voice.degrees(start, 0), self.voice.temperature(target)
        why = f"core from {warm} to about {cold}, where dough and butter agree in firmness"
        if not math.isfinite(seconds[1]):
            raise Unworkable(
                f"a fridge of {self.voice.temperature(self.kitchen.fridge_c)} does not bring the dough to {cold}",
                "fridge",
            )
        latest = seconds[2] if math.isfinite(seconds[2]) else 24 * HOUR
        return span(max(30 * MIN, seconds[0]), seconds[1], max(latest, seconds[1] + 30 * MIN), why)

    def dough_stand(self, thickness_m: float) -> Limits | None:
        """Dough straight from a night in the fridge, left at room until it suits the butter; None when it does."""
        start, target = self.kitchen.fridge_c + 0.5, self.dough_lock_in_c
        if target - start < 1.5 or self.kitchen.room_c < target + 3.0:
            return None
        times = [self.core_s(self.dough_m, thickness_m, start, target + d, "room") for d in (-1.0, 0.0, 2.5)]
        if not all(map(math.isfinite, times)):
            return None
        cold, warm = self.voice.degrees(start, 0), self.voice.temperature(target)
        why = f"core from {cold} to about {warm}, or it hardens the butter at once"
        return span(times[0], times[1], times[2], why)

    # --- butter ---

    def temper(self, thickness_m: float) -> Limits:
        """Butter block from the fridge into its window at room temperature."""
        low, high, room = self.butter.window_low_c, self.butter.window_high_c, self.kitchen.room_c
        start = self.kitchen.fridge_c + 2.0  # pounding has warmed it a little
        if room <= low + 0.5:
            raise Unworkable(
                f"a room of {self.voice.temperature(room)} never brings this butter into its window "
                f"{self.voice.window(low, math.nan)}; warm the room, or take a softer butter", "room temperature",
            )  # fmt: skip
        aims = (low + 0.5, self.window_mid_c, high - 0.5)
        times = [self.core_s(self.butter_m, thickness_m, start, t, "room") for t in aims]
        cold, window = self.voice.degrees(start, 0), self.voice.window(low, high)
        why = f"core of the block from {cold} into its window, {window}, in a room of {self.voice.temperature(room)}"
        known = [t if math.isfinite(t) else 4 * HOUR for t in times]
        return span(min(known[0], 3 * HOUR), min(known[1], 3 * HOUR), min(known[2], 6 * HOUR), why)

    # --- laminate on the bench ---

    @cached_property
    def iced_bench_c(self) -> np.ndarray:
        """Temperatures through the bench after the ice, bottom first."""
        return stacks.ice_profile(self.place, ICE_S)

    def bench_s(self, before_m: float, after_m: float, iced: bool) -> float:
        """Seconds a pâton rolled from one thickness to another may lie on the bench before its core leaves the span
        in which it can be worked; two hours at most. The pâton stands for its mean thickness (geometric)."""
        mean = math.sqrt(before_m * after_m)
        bench = self.iced_bench_c if iced else None
        leaving = stacks.leaves_window(self.laminate_m, mean, self.rest_core_c, self.work_window_c, self.place, bench)
        return 2 * HOUR if math.isnan(leaving.seconds.usual) else leaving.seconds.usual

    @staticmethod
    def work_s(passes: int) -> float:
        """Hands-on time of rolling and folding: about 45 s a pass and 2 min around it; common practice, no source."""
        return 2 * MIN + 45.0 * max(1, passes)

    def ice_again(self, before_m: float, after_m: float, passes: int) -> bool:
        """Whether the bench should be iced again for this rolling: the file allows ice and the bench is too warm."""
        return self.kitchen.ice_bench and self.bench_s(before_m, after_m, False) < 1.5 * self.work_s(passes)

    def fold(self, before_m: float, after_m: float, passes: int, iced: bool) -> Limits:
        """Rolling and folding: at most what the butter leaves on this bench."""
        work, stay = self.work_s(passes), self.bench_s(before_m, after_m, iced)
        window = self.voice.window(*self.work_window_c)
        why = f"about 45 s a pass; core stays within {window} as long as it takes"
        if stay < 2 * HOUR:
            why = f"about 45 s a pass; core stays within {window} for {lasting(stay)} on this bench"
        return span(work * 0.6, work, min(stay, 25 * MIN), why)

    def after_work_c(self, before_m: float, after_m: float, passes: int, iced: bool, start_c: float | None = None):
        """Core of the pâton when it leaves the bench, kept within the span it may be worked in; it came to the bench
        at `start_c`, usually as its rest leaves it."""
        start_c = self.rest_core_c if start_c is None else start_c
        mean = math.sqrt(before_m * after_m)
        bench: Any = self.iced_bench_c if iced else None
        run, core = stacks.core_curve(self.laminate_m, mean, start_c, self.place, "bench",
                                      self.work_s(passes), bench, doubtful=False)  # fmt: skip
        return min(self.work_window_c[1], max(self.work_window_c[0], float(run.trace(core)[-1, 0])))

    # --- laminate in the cold ---

    def rest(self, thickness_m: float, start_c: float) -> Limits:
        """Rest between folds: the gluten's 20 min, the core back to the low end of the window, not down to brittle."""
        key = (round(thickness_m, 6), round(start_c, 2))
        if key not in self._rests:
            self._rests[key] = self._rest(thickness_m, start_c)
        return self._rests[key]

    def _rest(self, thickness_m: float, start_c: float) -> Limits:
        where, wish = self.spec.folds.rest_place, self.spec.folds.rest_s
        target, floor = self.rest_core_c, self.rest_floor_c
        cool = self.core_s(self.laminate_m, thickness_m, start_c, target, where)
        half = self.core_s(self.laminate_m, thickness_m, start_c, (start_c + target) / 2, where)
        late = self.core_s(self.laminate_m, thickness_m, start_c, floor, where)
        snap = self.core_s(self.laminate_m, thickness_m, start_c, self.butter.stop_low_c, where)
        why = "gluten 20 min (common practice); "
        cold = f"{self.voice.edge(target)} {self.voice.degree}"
        why += (f"core from {self.voice.degrees(start_c)} to {cold} takes {lasting(cool)}" if start_c > target else
                f"core at {self.voice.temperature(start_c, 1)} needs no chill")  # fmt: skip
        if math.isfinite(snap):
            why += f", brittle after {lasting(snap)}"
        late, snap = min(late, 6 * HOUR), min(snap, 6 * HOUR)
        if wish is not None:
            return span(max(GLUTEN_S, wish * 0.6), wish, max(wish, snap), "as the file says; " + why)
        if not math.isfinite(cool):
            raise Unworkable(
                f"a {where} of {self.voice.temperature(self.place.air_c(where))} does not bring the pâton back to "
                f"{cold}",
                where,
            )
        # Half an hour is the trade's usual rest; where it would chill the butter too far, the gluten's least is enough.
        ideal = max(cool, min(1.5 * GLUTEN_S, max(GLUTEN_S, late)))
        return span(max(GLUTEN_S, half), ideal, max(snap, ideal), why)

    def rested_c(self, thickness_m: float, start_c: float, seconds: float) -> float:
        """Core a rest of so many seconds leaves, °C."""
        if seconds <= 0:
            return start_c
        return self.core_after_c(self.laminate_m, thickness_m, start_c, self.spec.folds.rest_place, seconds)

    def paton_night(self) -> Limits:
        """The folded pâton kept cold overnight."""
        return span(6 * HOUR, 10 * HOUR, 16 * HOUR, "cold hold in the fridge: common practice, no source")

    def final_chill(self, thickness_m: float) -> Limits:
        """Freezer before the last sheeting; a maximum of 0 means none is wanted."""
        wish = self.spec.folds.final_chill_s
        if wish == 0:
            return Limits(0, 0, 0, "the file wants none")
        ideal = wish if wish is not None else 15 * MIN
        # A thin sheet is rolled colder than a thick pâton, so the chill may go down to brittle, but no further.
        snap = self.core_s(self.laminate_m, thickness_m, self.rest_core_c, self.butter.stop_low_c, "freezer")
        cold = f"{self.voice.edge(self.rest_core_c)} {self.voice.degree}"
        why = f"about 15 min: common practice; core from {cold} is brittle after {lasting(snap)}"
        if wish is None:
            ideal = min(ideal, max(5 * MIN, snap))
        return span(min(ideal, snap) * 0.6, ideal, min(2 * ideal, max(ideal, snap)), why)

    # --- pieces ---

    def pieces_hold(self, night: bool) -> Limits:
        """Shaped pieces kept cold: overnight, or while another pâton catches up."""
        if self.spec.kind == "puff" and not night:
            return span(30 * MIN, HOUR, 24 * HOUR, "1 h cold before baking keeps the shape: published practice")
        if night:
            return span(6 * HOUR, 11 * HOUR, 18 * HOUR, "cold hold of shaped pieces: common practice, no source")
        return span(0, 0, 3 * HOUR, "shaped pieces wait cold for the others: common practice, no source")

    @property
    def piece_plate_m(self) -> float:
        """Thickness of the plate that stands for the largest shaped piece, as in `proof`."""
        thick = proof.piece_thickness_m(self.heaviest_g, self.heaviest_kind)
        return thick if self.heaviest_kind == "flat" else thick / 2

    def thaw(self) -> Limits:
        """Frozen pieces in the fridge, covered: at least until the ice is gone from the core of the largest, also in a
        slower fridge than the usual; overnight suits the cook."""
        found = stacks.rest_seconds(self.laminate_m, self.piece_plate_m, self.place.freezer_c, THAWED_C, self.place,
                                    "fridge", limit_s=48 * HOUR, tol_k=0.05)  # fmt: skip
        night = "overnight in the fridge: a published recipe"
        if not math.isfinite(found.high):
            return span(12 * HOUR, 18 * HOUR, 36 * HOUR, f"a fridge this cold hardly thaws; {night}")
        least = max(4 * HOUR, found.high)
        piece = self.voice.weight(round(self.heaviest_g))
        why = (f"ice is gone from the core of pieces of {piece} after about {lasting(found.usual)} "
               f"({lasting(found.low)} to {lasting(found.high)}); {night}")  # fmt: skip
        return span(least, max(12 * HOUR, least), max(24 * HOUR, 2 * least), why)

    @cached_property
    def frozen_s(self) -> float:
        """Seconds until shaped pieces are hard: core below -12 °C, or 3 K above the freezer's air if that is more."""
        target, day = max(HARD_C, self.place.freezer_c + 3.0), 24 * HOUR
        run, core = stacks.core_curve(self.laminate_m, self.piece_plate_m, 12.0, self.place, "freezer", day,
                                      doubtful=False)  # fmt: skip
        seconds = float(run.crossing_s(core, target)[0])
        return math.inf if math.isnan(seconds) else seconds

    def proof_dose_s(self, before_oven_s: float = 0.0, spread_s: float = 0.0) -> int:
        """Dose the proof step ends at, seconds at 26 °C: the whole, less what goes on before the oven takes the pieces.

        `spread_s` later the last load of this proof goes in: the first leaves a little early, the last a little late.
        """
        first, last = self.late_share(before_oven_s), self.late_share(before_oven_s + spread_s)
        return round(self.whole_dose_s * max(0.3, 1.0 - first - FIRST_EARLY * (last - first)))

    @cached_property
    def whole_dose_s(self) -> int:
        """Dose of a whole proof: learned, or of the cook's own proof time, or the usual.

        The cook's own time is from tray in to oven: it holds the warming up of a piece that comes as these will.
        """
        if self.known.proof_dose_s is not None:
            return round(self.known.proof_dose_s.value)
        if self.spec.proof_s is not None:
            dose_s = self._warming(self.spec.proof_ref_c, self.to_proof_c()).gathered_s(self.spec.proof_s)
        else:
            usual_s = proof.usual_dose_s(self.laminate_m, self.place)
            dose_s = usual_s / self.rising_speed / proof.altitude_factor(self.kitchen.altitude_m)
        return round(dose_s)

    def to_proof_c(self, thawed: bool = False) -> float:
        """The pieces as they come to the proof, °C."""
        return self.kitchen.fridge_c + 1.0 if thawed or self.spec.folds.overnight == "pieces" else USUAL_START_C

    def _warming(self, air_c: float, start_c: float, light: bool = False) -> proof.Warming:
        piece_g, kind = (self.lightest_g, self.lightest_kind) if light else (self.heaviest_g, self.heaviest_kind)
        try:
            return proof.warming(self.laminate_m, piece_g, start_c, air_c, self.place, kind)
        except Misfit as error:
            raise Unworkable.of(error, self.voice) from None

    def proofed_s(self, seconds: float, start_c: float, light: bool = False) -> float:
        """Dose that the heaviest piece, or the lightest, gathers in so long a proof when it comes at `start_c`."""
        cold, warm = (made.gathered_s(seconds) for made in self._from_cold_and_warm[light])
        cold_c, warm_c = self.to_proof_c(True), USUAL_START_C
        return cold + (warm - cold) * min(1.0, max(0.0, (start_c - cold_c) / max(1.0, warm_c - cold_c)))

    @cached_property
    def _from_cold_and_warm(self) -> list[list[proof.Warming]]:
        """[heaviest, lightest piece] of [from the fridge, from the bench]."""
        air, starts_c = min(self.proof_air_c, self.proof_cap_c), (self.to_proof_c(True), USUAL_START_C)
        alike = self.lightest_g > 0.8 * self.heaviest_g and self.lightest_kind == self.heaviest_kind
        return [[self._warming(air, start_c, light) for start_c in starts_c] for light in (False, not alike)]

    @cached_property
    def heaviest_g(self) -> float:
        """Mass of the heaviest piece, g: the last to warm through."""
        return self._by_mass[-1][0]

    @property
    def heaviest_kind(self) -> str:
        """What the heaviest piece is to the proof: 'flat' or 'roll'."""
        return self._by_mass[-1][1]

    @cached_property
    def lightest_g(self) -> float:
        """Mass of the lightest piece, g: the first to warm through."""
        return self._by_mass[0][0]

    @property
    def lightest_kind(self) -> str:
        """What the lightest piece is to the proof: 'flat' or 'roll'."""
        return self._by_mass[0][1]

    @cached_property
    def _by_mass(self) -> list[tuple[float, str]]:
        """(mass in g, 'flat' or 'roll') of every kind of piece, the lightest first."""
        of_m3 = self.geometry.laminate_kg_m3 * 1000.0
        return sorted(
            (of_m3 * p.base_m * p.height_m * p.thickness_m * (0.5 if p.shape == "triangle" else 1.0),
             proof.kind_of(p.shape, p.base_m, p.height_m))
            for p in self.spec.pieces
        )  # fmt: skip

    def late_share(self, seconds: float) -> float:
        """Share of a whole proof that pieces go on with while they stand in the room before the oven takes them."""
        air = min(self.proof_air_c, self.proof_cap_c)
        tau = tau_s(self.laminate_m, self.piece_plate_m, self.place.film("room"))
        sums, _ = gathered(air, [Stay("wait", seconds, self.kitchen.room_c, tau)])
        return sums["wait"][1] / self.whole_dose_s if sums else 0.0

    def proof(self, thawed: bool = False, before_oven_s: float = 0.0, spread_s: float = 0.0) -> Limits:
        """Proof from tray in: the piece warms through while the dose runs; the air is capped by the butter.

        Time the pieces stand at room temperature before the oven takes them is taken off, as where the prover is the
        oven itself and has to heat first, or where several loads share a proof.
        """
        air, start = min(self.proof_air_c, self.proof_cap_c), self.to_proof_c(thawed)
        made = self._warming(air, start)
        ready = made.when_s(self.proof_dose_s(before_oven_s, spread_s))
        piece, said = self.voice.weight(round(self.heaviest_g)), self.voice.temperature
        why = (
            f"{lasting(ready)} from tray in at {said(air)} and {self.proof_humidity * 100:.0f} % humidity, covered "
            f"where it is drier; pieces of {piece} warm through from {said(start)} in {lasting(made.core_s)}"
        )
        if before_oven_s + spread_s > 0.0:
            whole = made.when_s(self.whole_dose_s)
            why += f"; {lasting(whole - ready)} less than a whole proof, as they rise until the oven has them"
        # Yeast, sugar and flour move the time by a quarter either way between batches: common practice, no source.
        return span(ready * 0.85, ready, ready * 1.25, why)
