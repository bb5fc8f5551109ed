"""Limits of every step that heat or yeast decides, for one batch in one kitchen.

`KitchenHeat` answers with `Limits`; the process builder only puts them in order.
"""

from __future__ import annotations

import math

from shared_schedule import ferment
from tourier.batch.geometry import Geometry
from tourier.batch.limits import GLUTEN_S, HOUR, MIN, Limits, slab_time_s, span
from tourier.batch.model import BatchSpec
from tourier.craft import butter as butters
from tourier.craft import films

#: Dose of a usual proof, seconds at the reference temperature (26 °C): about 3 h in a 21 °C room.
PROOF_DOSE_S = 8100
#: Dose of a short bulk before the cold: about 1 h at 24 °C, common practice, no source.
BULK_DOSE_S = 3200
CARDINALS = ferment.GROWTH


def rate(t_c: float) -> float:
    """Speed of the yeast relative to 26 °C."""
    return ferment.rate_ppm(round(t_c * 100), CARDINALS) / 1e6


class KitchenHeat:
    """Heat and yeast of one batch. `learned` may hold figures fitted from the cook's own batches."""

    def __init__(self, spec: BatchSpec, geometry: Geometry, learned: dict | None = None) -> None:
        self.spec, self.geometry = spec, geometry
        self.kitchen = spec.kitchen
        self.learned = learned or {}
        self.butter = butters.profile(spec.butter.profile)
        self.fridge = "fan fridge" if self.kitchen.fridge_fan else "fridge"
        self.proof_cap_c = butters.proof_air_cap_c(self.butter)
        #: Dough at lock-in: cold and firm, not frozen (4 to 10 °C: common practice, no source).
        self.dough_lock_in_c = 4.0
        #: Core a rest brings the pâton to: between brittle and the window's low end, since rolling warms it again.
        self.rest_core_c = (self.butter.stop_low_c + self.butter.window_low_c) / 2

    @property
    def proof_air_c(self) -> float:
        """Air of the proof: as the file says, else the room."""
        return self.kitchen.proof_c if self.kitchen.proof_c is not None else self.kitchen.room_c

    # --- dough ---

    def bulk_dose_s(self) -> int:
        """Dose of the bulk, seconds at 26 °C."""
        return BULK_DOSE_S

    def bulk(self) -> Limits:
        """Bulk at the dough's own temperature."""
        speed = rate((self.spec.dough_temp_c + self.kitchen.room_c) / 2)
        if speed <= 0:
            return span(HOUR, 2 * HOUR, 6 * HOUR, "a room this cold hardly moves the yeast; judge by volume")
        ideal = BULK_DOSE_S / speed
        return span(ideal * 0.6, ideal, ideal * 1.6, "yeast dose of about 1 h at 24 °C: common practice, no source")

    def dough_rest(self, thickness_m: float) -> Limits:
        """Cold rest of the flat dough: chilled through, relaxed, kept from over-fermenting."""
        chill = slab_time_s(thickness_m, self.spec.dough_temp_c, self.kitchen.fridge_c + 3.0, self.kitchen.fridge_c,
                            self.fridge)  # fmt: skip
        night = self.spec.folds.overnight == "dough"
        longest = 24 * HOUR if self.spec.kind == "leavened" else 48 * HOUR
        if night:
            return span(6 * HOUR, 12 * HOUR, longest, "8 to 16 h cold relaxes the dough: common practice, no source")
        low = max(45 * MIN, chill * 0.6)
        return span(low, max(90 * MIN, chill), longest, "core within 3 K of the fridge, and the gluten's rest")

    def dough_freezer(self, thickness_m: float) -> Limits:
        """Flat dough in the freezer before lock-in."""
        wish = self.spec.folds.dough_chill_s
        start = self.kitchen.fridge_c + 3.0
        cool = slab_time_s(thickness_m, start, 1.5, self.kitchen.freezer_c, "freezer")
        if wish is not None:
            return span(wish * 0.5, wish, wish * 1.5 + 5 * MIN, "as the file says")
        return span(10 * MIN, min(30 * MIN, cool), 40 * MIN, "firm but not frozen: about 30 min, common practice")

    # --- butter ---

    def temper(self, thickness_m: float) -> Limits:
        """Butter block from the fridge into its window at room temperature."""
        low, high, room = self.butter.window_low_c, self.butter.window_high_c, self.kitchen.room_c
        start = min(self.kitchen.fridge_c + 4.0, low - 0.5)  # pounding has warmed it a little
        times = [slab_time_s(thickness_m, start, t, room, "room", rc=3.6e6) for t in (low, (low + high) / 2, high)]
        if not all(map(math.isfinite, times)):
            return span(20 * MIN, 60 * MIN, 6 * HOUR, "the room hardly warms the butter into its window; pound it")
        return span(*times, f"core of the block between {low:g} and {high:g} °C in a {room:g} °C room")

    # --- laminate ---

    def fold(self, thickness_m: float, passes: int) -> Limits:
        """Hands-on time of rolling and folding; at most what the butter's window leaves on this bench."""
        work = 2 * MIN + 45 * max(1, passes)
        stay = self.bench_minutes(thickness_m)
        high = max(work, min(stay, 20 * MIN))
        return span(work * 0.6, work, high, "about 45 s a pass; at most until the butter leaves its window")

    def bench_minutes(self, thickness_m: float) -> float:
        """Seconds from the rest's core temperature until the butter leaves its window on the bench."""
        return slab_time_s(thickness_m * 2, self.rest_core_c, self.butter.window_high_c, self.kitchen.room_c, "room")

    def rest(self, thickness_m: float) -> Limits:
        """Rest between folds: the gluten's 20 min, and the core back to a firm temperature."""
        warm = self.butter.window_high_c
        place = self.fridge if self.spec.folds.rest_place == "fridge" else "freezer"
        air = self.kitchen.fridge_c if place != "freezer" else self.kitchen.freezer_c
        cool = slab_time_s(thickness_m, warm, self.rest_core_c, air, place)
        brittle = slab_time_s(thickness_m, warm, self.butter.stop_low_c - 2.0, air, place)
        why = (f"gluten 20 min (common practice); core from {warm:g} to {self.rest_core_c:g} °C; beyond "
               f"{self._minutes(brittle)} the butter turns brittle: let it stand before rolling")  # fmt: skip
        wish = self.spec.folds.rest_s
        if wish is not None:
            return span(max(GLUTEN_S, wish * 0.6), wish, max(wish * 2.0, 3 * HOUR), "as the file says; " + why)
        if not math.isfinite(cool):
            cool = 2 * HOUR
        longest = 45 * MIN if place == "freezer" else 4 * HOUR
        return span(max(GLUTEN_S, 0.6 * cool), max(1.5 * GLUTEN_S, cool), longest, why)

    @staticmethod
    def _minutes(seconds: float) -> str:
        return f"{seconds / 60:.0f} min" if math.isfinite(seconds) else "many hours"

    def paton_night(self, thickness_m: float) -> Limits:
        """The folded pâton kept cold overnight."""
        return span(6 * HOUR, 10 * HOUR, 16 * HOUR, "cold hold at the fridge: common practice, no source")

    def final_chill(self, thickness_m: float) -> Limits:
        """Freezer before the last sheeting; a maximum of 0 means none is wanted."""
        wish = self.spec.folds.final_chill_s
        if wish == 0:
            return Limits(0, 0, 0, "the file wants none")
        ideal = wish if wish is not None else 15 * MIN
        return span(ideal * 0.6, ideal, ideal * 2, "about 15 min in the freezer: common practice, no source")

    # --- pieces ---

    def pieces_hold(self, night: bool) -> Limits:
        """Shaped pieces kept cold: overnight, or while another pâton catches up."""
        if self.spec.kind == "puff" and not night:
            return span(30 * MIN, HOUR, 24 * HOUR, "1 h cold before baking keeps the shape: common practice")
        if night:
            return span(6 * HOUR, 11 * HOUR, 18 * HOUR, "cold hold of shaped pieces: common practice, no source")
        return span(0, 0, 3 * HOUR, "shaped pieces wait cold for the others: common practice, no source")

    def proof_dose_s(self) -> int:
        """Dose of the proof, seconds at 26 °C: the cook's own proof time, or the usual."""
        if self.spec.proof_s is not None:
            return round(self.spec.proof_s * rate(self.spec.proof_ref_c))
        return round(PROOF_DOSE_S * self.learned.get("proof_factor", 1.0))

    def thaw(self) -> Limits:
        """Frozen pieces in the fridge overnight."""
        return span(8 * HOUR, 12 * HOUR, 24 * HOUR, "overnight in the fridge: common practice, no source")

    def proof(self, thawed: bool = False) -> Limits:
        """Proof: the piece warms up first, then the dose runs; both at the proof's air, capped by the butter."""
        air = min(self.proof_air_c, self.proof_cap_c)
        start = self.kitchen.fridge_c + 1.0 if thawed or self.spec.folds.overnight == "pieces" else 15.0
        seconds = warm_dose_s(self.proof_dose_s(), start, air, self._piece_time_constant_s())
        if not math.isfinite(seconds):
            return span(6 * HOUR, 8 * HOUR, 16 * HOUR, "the proof's air is too cold for the yeast; warm it")
        why = f"yeast dose at {air:g} °C with the piece's own warm-up from {start:g} °C"
        return span(seconds * 0.85, seconds, seconds * 1.3, why)

    def _piece_time_constant_s(self) -> float:
        """Seconds for a shaped piece to close 63 % of the gap to the air: as a cylinder of its own volume."""
        heaviest = 0.0
        for piece in self.spec.pieces:
            area = piece.base_m * piece.height_m * (0.5 if piece.shape == "triangle" else 1.0)
            long = piece.base_m * (1.3 if piece.shape == "triangle" else 1.0)
            radius = math.sqrt(area * piece.thickness_m / (math.pi * long))
            heaviest = max(heaviest, radius)
        film = films.usual("proof")
        resistance = 1.0 / (film.usual * (1 + film.below) / 2) + heaviest / (4 * 0.35)
        return 2.9e6 * heaviest / 2 * resistance


def warm_dose_s(dose_s: float, start_c: float, air_c: float, time_constant_s: float, step_s: float = 60.0) -> float:
    """Seconds until a piece warming exponentially from `start_c` to `air_c` has had its dose; inf when never."""
    if rate(air_c) <= 0:
        return math.inf
    done, t = 0.0, 0.0
    while done < dose_s:
        if t > 48 * HOUR:
            return math.inf
        now = air_c + (start_c - air_c) * math.exp(-(t + step_s / 2) / time_constant_s)
        done += rate(now) * step_s
        t += step_s
    return t
