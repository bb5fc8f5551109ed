"""A day in the foreign kitchen: what the cook did, what he pressed, what the needle read, and what he says he saw.

`play(plan, seed, fault, strength, spoiled)` returns a Day with the journal and the temperatures in their documented
octets. `fault` is a key of FAULTS or "good"; `spoiled` one of SPOILS or "": what makes the log itself lie. What really
happened to the butter stands in `Day.truth` and never reaches the log.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from zlib import crc32

import numpy as np
from foreign_kitchen import EVERY_S, Body, ForeignKitchen, dew_c, proof_pace
from foreign_log import write_log

from shared_schedule import plan as P
from shared_schedule import states as S

# What a cook reports, by what went wrong: (symptom, how often). Own judgement, set before any review was run on it.
FAULTS: dict[str, tuple[tuple[str, float], ...]] = {
    "butter-too-cold": (("shattered-butter", 0.6), ("uneven", 0.35), ("torn-skin", 0.25)),
    "butter-too-warm": (("bready", 0.55), ("leak", 0.3), ("dense", 0.2)),
    "dough-too-cold": (("shattered-butter", 0.55), ("uneven", 0.4), ("hollow", 0.2)),
    "warm-bench": (("bready", 0.6), ("sticky", 0.35), ("leak", 0.3)),
    "slow-fold": (("bready", 0.55), ("sticky", 0.25), ("dense", 0.2)),
    "short-rest": (("shrinks", 0.65), ("torn-skin", 0.3), ("bready", 0.2)),
    "long-rest": (("shattered-butter", 0.5), ("uneven", 0.4), ("torn-skin", 0.25)),
    "cold-paton": (("shattered-butter", 0.55), ("uneven", 0.4), ("torn-skin", 0.25)),
    "hot-proof": (("leak", 0.65), ("flat", 0.4), ("bready", 0.2)),
    "short-proof": (("leak", 0.4), ("hollow", 0.4), ("dense", 0.4)),
    "long-proof": (("flat", 0.6), ("sour", 0.2), ("leak", 0.15)),
    "condensation": (("sticky", 0.65), ("uneven", 0.2)),
    "probe-fault": (),
    "late-oven": (("dark", 0.75),),
}  # fmt: skip
ANY_SYMPTOM = ("leak", "bready", "shattered-butter", "hollow", "flat", "dense", "uneven", "torn-skin", "shrinks",
               "sticky", "dark", "pale")  # fmt: skip
SPOILS = ("needle on the bench", "needle in the fridge", "offset", "noisy", "stuck", "late presses", "missing presses",
          "clock set back", "clock set forward", "power gap")  # fmt: skip
FOLDED = ("slow-fold", "short-rest", "long-rest", "cold-paton")


@dataclass
class Day:
    """What the bench hands over, and the truth beside it."""

    fault: str
    fold: int
    journal: bytes
    samples: bytes
    fired: bool
    truth: dict[str, float] = field(default_factory=dict)


class _Cook:
    def __init__(self, plan: P.Plan, kitchen: ForeignKitchen, fault: str, strength: float, spoiled: str, rng) -> None:
        self.plan, self.k, self.fault, self.s, self.rng, self.spoiled = plan, kitchen, fault, strength, rng, spoiled
        self.of = {s.step_id: s for s in plan.steps}
        self.fold = int(rng.integers(2, 4)) if fault in FOLDED else 0
        if fault in ("short-rest", "long-rest"):
            self.fold -= 1  # the rest after fold 1 or 2
        self.real: dict[int, tuple[float, float | None, float, int]] = {}  # from, ready, to, cause of the end
        self.needle: list[tuple[float, float, Body | str]] = []
        self.truth: dict[str, float] = {}
        self.low, self.high = plan.butter_low_cdeg / 100, plan.butter_high_cdeg / 100

    def one(self, kind: int, fold_n: int | None = None) -> P.Step:
        return next(s for s in self.plan.steps if s.kind == kind and fold_n in (None, s.fold_n))

    def work_s(self, step: P.Step) -> float:
        return float(np.clip(step.planned_for_s * math.exp(self.rng.normal(-0.1, 0.15)), 0.6 * step.planned_for_s,
                             1.3 * step.planned_for_s))  # fmt: skip

    def pause_s(self) -> float:
        return float(np.clip(self.rng.exponential(25.0), 3, 150))

    def did(self, step: P.Step, from_s: float, to_s: float, ready_s: float | None = None,
            cause: int = S.BY_BUTTON) -> float:  # fmt: skip
        self.real[step.step_id] = (from_s, ready_s, to_s, cause)
        return to_s

    def until(self, body: Body, place: str, from_s: float, most_s: float, reached, more_s: float = 0.0):
        """Lie until `reached` and a little more; return (instant reached or None, end)."""
        kept = body.t_c.copy()
        self.k.lie(body, place, from_s, from_s + most_s)
        at = self.k.cut_at(body, reached)
        hit = at if at < from_s + most_s else None
        for name in ("at_s", "core_c", "seen_c", "low_c", "high_c", "top_c"):
            getattr(body, name).pop()
        body.t_c = kept
        self.k.lie(body, place, from_s, at + more_s)
        return hit, at + more_s

    def day(self) -> None:
        k, rng, s, fault, plan = self.k, self.rng, self.s, self.fault, self.plan
        now = plan.made_at_s + 300.0 + rng.uniform(0, 600)
        mix, bulk, flat, chill = (self.one(kind) for kind in (P.MIX, P.BULK, P.FLATTEN, P.CHILL))
        now = self.did(mix, now, now + self.work_s(mix)) + self.pause_s()
        dough = k.dough(rng.uniform(22.5, 25.5), 0.05)
        end = now + bulk.planned_for_s + self.pause_s()
        k.lie(dough, "room", now, end)
        self.needle.append((now + 20, end, dough))
        now = self.did(bulk, now, end, now + bulk.planned_for_s) + self.pause_s()
        dough.thick_m = flat.thickness_um * 1e-6
        dough.fat = np.zeros_like(dough.fat)
        end = now + self.work_s(flat)
        k.lie(dough, "room", now, end)
        chill_from = self.did(flat, now, end) + self.pause_s()
        # The block, meanwhile.
        block, temper, ice, lock = (self.one(kind) for kind in (P.BLOCK, P.TEMPER, P.ICE, P.LOCK_IN))
        place, target = "fridge", chill.core_cdeg / 100
        if fault == "dough-too-cold":
            place, target = "freezer", max(-0.5, target - rng.uniform(5.5, 8.5) * s)
        least_s = 600 if place == "freezer" else chill.min_s
        ready, over = self.until(dough, place, chill_from, chill.max_s,
                                 lambda t, c: (c <= target + 0.6) & (t >= chill_from + least_s))  # fmt: skip
        out_chill = over
        block_from = max(chill_from + 30.0, over - 2500.0 + rng.uniform(-200, 200))
        block_to = self.did(block, block_from, block_from + self.work_s(block))
        butter = k.butter(k.fridge_c + rng.uniform(2.0, 4.5), block.thickness_um * 1e-6)
        temper_from = block_to + self.pause_s()
        aim = temper.core_cdeg / 100 + rng.uniform(-0.9, -0.2)
        if fault == "butter-too-cold":
            aim = self.low - rng.uniform(2.2, 4.5) * s
        if fault == "butter-too-warm":
            k.room_c = max(k.room_c, self.high + 4.0)
            aim = min(self.high + rng.uniform(2.2, 4.0) * s, k.room_c - 0.7)
        hit, temper_to = self.until(butter, "room", temper_from, 7200, lambda t, c: c >= aim)
        early = fault == "butter-too-cold"
        ice_from = max(temper_to - 1000, chill_from + 60)
        skip = fault == "warm-bench"
        if not skip:
            k.ice(ice_from, ice_from + 900)
        else:
            k.warm_stone(ice_from, k.room_c + rng.uniform(0.0, 1.5))
        self.did(ice, ice_from, ice_from + 900, ice_from + 900)
        begin = max(temper_to, out_chill, ice_from + 900) + self.pause_s()
        # What waits goes on: the dough in its cold, the block in the room (a warm block is put aside in the cold).
        if begin > out_chill:
            k.lie(dough, "fridge", out_chill, begin)
        if begin > temper_to:
            k.lie(butter, "room" if begin - temper_to < 240 else "fridge", temper_to, begin)
        self.did(chill, chill_from, begin, ready, S.BY_BUTTON)
        at_core = None if early or hit is None else min(hit, begin)
        self.did(temper, temper_from, begin, at_core, S.BY_EARLY if early else S.BY_BUTTON)
        self.needle.append((chill_from + 15, block_from, dough))
        self.needle.append((block_from + 30, temper_from, dough))
        self.needle.append((temper_from + 25, begin - 5, butter))
        self.truth["butter_c"], self.truth["dough_c"] = float(butter.t_c.mean()), float(dough.t_c.mean())
        paton = k.enclosed(dough, butter, begin)
        now = self.bench(paton, lock, begin)
        for n in (1, 2, 3):
            step = self.one(P.FOLD, n)
            start = now + self.pause_s()
            if n > 1:
                start = max(start, now)
            extra = 0.0
            if fault == "slow-fold" and n == self.fold:  # the ice is long gone
                extra = rng.uniform(1000, 2700) * s
                k.warm_stone(start, k.room_c - rng.uniform(0.0, 2.5))
            now = self.bench(paton, step, start, extra, step.fold)
            now = self.rest(paton, n, now + self.pause_s())
        now = self.sheeting(paton, now)
        self.night(now)

    def bench(self, body: Body, step: P.Step, from_s: float, extra_s: float = 0.0, layers: int = 0) -> float:
        k = self.k
        to_s = from_s + self.work_s(step) + extra_s
        body.t_c = body.t_c + self.rng.uniform(0.1, 0.5)  # the pin's work
        if self.fault == "warm-bench" and step.kind == P.FOLD:
            k.warm_stone(from_s, k.room_c - 0.5)
        rolled = from_s + 0.55 * (to_s - from_s)
        body.thick_m = max(step.thickness_um * 1e-6, 0.004) * (1.5 if layers else 1.0)
        k.lie(body, "bench", from_s, rolled)
        if layers:
            body.thick_m = step.thickness_um * 1e-6
            k.lie(body, "bench", rolled, to_s)
            k.folded(body, layers * step.thickness_um * 1e-6, layers)
        else:
            k.lie(body, "bench", rolled, to_s)
        self.needle.append((from_s + 25, to_s, body))
        at_s, low = body.series("low_c")
        high = body.series("high_c")[1]
        here = (at_s >= from_s) & (at_s <= to_s)
        name = f"{P.KIND_WORDS[step.kind]} {step.fold_n}".strip()
        self.truth[f"cold {name}"] = float(np.sum(np.maximum(0, 10.0 - low[here])) * EVERY_S / 60)
        self.truth[f"warm {name}"] = float(np.sum(np.maximum(0, high[here] - self.high)) * EVERY_S / 60)
        self.truth[f"wet {name}"] = (
            float(np.mean(dew_c(k.room_c, k.humidity) - body.series("top_c")[1][here])) if here.any() else 0.0
        )
        self.did(step, from_s, to_s)
        return to_s

    def rest(self, body: Body, n: int, from_s: float) -> float:
        step = self.one(P.REST, n)
        rng, s, fault = self.rng, self.s, self.fault
        target, least = step.core_cdeg / 100, step.min_s
        place = "fridge"
        if fault == "cold-paton" and n == self.fold - 1:
            place = "freezer"  # to be quick: it stays no longer than planned, and comes out hard
            aim = 10.0 - rng.uniform(2.0, 4.5) * s
            hit, end = self.until(body, place, from_s, step.max_s, lambda t, c: c <= aim)
            ready, _ = self._ready(body, from_s, end, target, least)
        elif fault == "short-rest" and n == self.fold:
            end = from_s + step.planned_for_s * float(np.clip(1.0 - rng.uniform(0.5, 0.75) * s, 0.1, 0.9))
            self.k.lie(body, place, from_s, end)
            ready = None
            if end - from_s >= least:
                ready, _ = self._ready(body, from_s, end, target, least)
        elif fault == "long-rest" and n == self.fold:
            end = from_s + step.planned_for_s * (1.0 + rng.uniform(2.0, 5.0) * s)
            self.k.lie(body, place, from_s, end)
            ready, _ = self._ready(body, from_s, end, target, least)
        else:
            ready, end = self.until(body, place, from_s, step.max_s,
                                    lambda t, c: (c <= target + 1.0) & (t >= from_s + least),
                                    float(np.clip(rng.exponential(100.0), 5, 500)))  # fmt: skip
        self.needle.append((from_s + 20, end - 2, body))
        cause = S.BY_BUTTON if ready is not None else S.BY_EARLY
        if ready is None and end - from_s >= step.max_s - 1:
            ready, cause = from_s + step.max_s, S.BY_BUTTON
        return self.did(step, from_s, end, ready, cause)

    def _ready(self, body: Body, from_s: float, end: float, target: float, least: float):
        at_s, core = body.series("core_c")
        hits = (at_s >= from_s + least) & (at_s <= end) & (core <= target + 1.0)
        return (float(at_s[hits][0]), end) if hits.any() else (None, end)

    def sheeting(self, body: Body, now: float) -> float:
        k = self.k
        final = next(s for s in self.plan.steps if s.kind == P.REST and s.place == P.FREEZER)
        end = now + final.planned_for_s + self.pause_s()
        k.lie(body, "freezer", now, end)
        self.did(final, now, end, now + final.planned_for_s)
        ice = [s for s in self.plan.steps if s.kind == P.ICE][-1]
        if self.fault != "warm-bench":
            k.ice(now + 30, now + 900)
        self.did(ice, now + 30, now + 930, now + 930)
        sheet, cut, shape = (self.one(kind) for kind in (P.SHEET, P.CUT, P.SHAPE))
        now = self.bench(body, sheet, max(end, now + 935) + self.pause_s())
        now = self.bench(body, cut, now + self.pause_s())
        chill = next(s for s in self.plan.steps if s.kind == P.REST and not s.fold_n and s.place == P.FRIDGE)
        start = now + self.pause_s()
        end = start + chill.planned_for_s + self.pause_s()
        body.thick_m = 0.008
        k.lie(body, "fridge", start, end)
        self.did(chill, start, end, start + chill.planned_for_s)
        start = end + self.pause_s()
        end = start + self.work_s(shape)
        body.thick_m = 0.012  # a roll cools and warms like a slab of this
        k.lie(body, "room", start, end)
        self.did(shape, start, end)
        self.pieces = body
        return end

    def night(self, now: float) -> None:
        k, rng, s, fault = self.k, self.rng, self.s, self.fault
        hold, proof, preheat, wash, bake, cool = (
            self.one(kind) for kind in (P.HOLD, P.PROOF, P.PREHEAT, P.WASH, P.BAKE, P.COOL)
        )
        body = self.pieces
        start = now + self.pause_s()
        end = max(start + hold.min_s, proof.start_at_s + rng.uniform(-300, 600))
        k.lie(body, "fridge", start, end)
        self.did(hold, start, end, start + hold.planned_for_s if start + hold.planned_for_s < end else None)
        if fault == "hot-proof":
            k.proof_c = 28.0 + rng.uniform(2.5, 5.5) * s
        want = proof.dose_s * float(np.clip(rng.normal(1.0, 0.05), 0.9, 1.12))
        if fault == "short-proof":
            want *= 1.0 - rng.uniform(0.3, 0.55) * s
        if fault == "long-proof":
            want *= 1.0 + rng.uniform(0.45, 1.0) * s
        start = end + self.pause_s()

        def done(t, c):
            return np.cumsum(proof_pace(c)) * EVERY_S >= want

        hit, end = self.until(body, "proof", start, 5 * 3600, done, self.pause_s())
        at_s, c = body.series("core_c")
        here = at_s >= start
        gone = np.cumsum(proof_pace(c[here])) * EVERY_S / proof.dose_s
        full = at_s[here][np.flatnonzero(gone >= 1.0)]
        self.truth["proof"] = float(gone[-1])
        self.truth["proof_c"] = float(np.quantile(c[here], 0.95))
        self.needle.append((start + 60, end - 5, body))
        ready = float(full[0]) if len(full) else None
        self.did(proof, start, end, ready, S.BY_BUTTON if ready else S.BY_EARLY)
        heat = end - preheat.planned_for_s
        self.did(preheat, heat, end + 240, heat + preheat.planned_for_s)
        start = end + self.pause_s()
        end = self.did(wash, start, start + self.work_s(wash))
        start = end + self.pause_s()
        over = rng.uniform(300, 800) * s if fault == "late-oven" else float(np.clip(rng.normal(20, 40), -60, 120))
        end = self.did(bake, start, start + bake.planned_for_s + over, start + bake.planned_for_s)
        self.truth["over"] = over
        self.did(cool, end + 20, end + 20 + cool.planned_for_s, end + 20 + cool.planned_for_s)


def _fired(cook: _Cook) -> bool:
    t, fault, n = cook.truth, cook.fault, cook.fold
    k = cook.k
    if fault in ("long-rest", "cold-paton"):
        return t[f"cold fold {n + 1 if fault == 'long-rest' else n}"] > 3.0
    dew = dew_c(k.room_c, k.humidity)
    return {
        "butter-too-cold": lambda: t["butter_c"] < cook.low - 1.5,
        "butter-too-warm": lambda: t["butter_c"] > cook.high + 1.2,
        "dough-too-cold": lambda: t["butter_c"] - t["dough_c"] > 8.0,
        "warm-bench": lambda: sum(t[f"warm fold {i}"] > 2.0 for i in (1, 2, 3)) >= 2,
        "slow-fold": lambda: t[f"warm fold {n}"] > 4.0,
        "short-rest": lambda: True,
        "hot-proof": lambda: t["proof_c"] > 28.8,
        "short-proof": lambda: t["proof"] < 0.75,
        "long-proof": lambda: t["proof"] > 1.35,
        "condensation": lambda: dew > 18.0,
        "probe-fault": lambda: True,
        "late-oven": lambda: t["over"] > 240,
    }.get(fault, lambda: True)()


def play(plan: P.Plan, seed: int, fault: str = "good", spoiled: str = "", half: bool = False) -> Day:
    """Play the day of a seed in which the fault really happened. `half`: the same kitchen, the fault half as large."""
    for attempt in range(20):
        day = _once(plan, seed, attempt, fault, spoiled, False)
        if day.fired:
            return _once(plan, seed, attempt, fault, spoiled, True) if half else day
    raise AssertionError(f"{fault} did not happen in 20 kitchens of seed {seed}")


def _once(plan: P.Plan, seed: int, attempt: int, fault: str, spoiled: str, half: bool) -> Day:
    rng = np.random.default_rng([seed, attempt, crc32(f"{fault} {spoiled}".encode())])
    size = rng.uniform(0.75, 1.35) * (0.5 if half else 1.0)
    kitchen = ForeignKitchen(plan, rng)
    if fault == "warm-bench":
        kitchen.room_c = plan.room_cdeg / 100 + rng.uniform(2.0, 5.0) * size
    if fault == "condensation":
        kitchen.room_c += 2.0 * size
        kitchen.humidity = min(0.95, kitchen.humidity + rng.uniform(0.2, 0.33) * size)
    cook = _Cook(plan, kitchen, fault, size, spoiled, rng)
    cook.day()
    journal, samples = write_log(cook)
    return Day(fault, cook.fold, journal, samples, _fired(cook), cook.truth)


def report(fault: str, how: str, seed: int) -> tuple[tuple[str, ...], int | None]:
    """Return (symptoms, rating) as the cook gives them. `how`: as seen, none, wrong."""
    rng = np.random.default_rng([seed, crc32(f"{fault} {how}".encode())])
    likely = dict(FAULTS.get(fault, ()))
    if how == "none":
        return (), None
    if how == "wrong":
        others = [s for s in ANY_SYMPTOM if s not in likely]
        return (str(rng.choice(others)),), int(rng.integers(2, 4))
    if fault == "good":
        stray = (str(rng.choice(ANY_SYMPTOM)),) if rng.random() < 0.1 else ()
        return stray, int(rng.integers(4, 6)) if not stray else 3
    seen = [name for name, often in likely.items() if rng.random() < often]
    if not seen and likely and rng.random() < 0.6:
        seen = [next(iter(likely))]
    if rng.random() < 0.12:
        seen.append(str(rng.choice(ANY_SYMPTOM)))
    return tuple(dict.fromkeys(seen)), int(rng.integers(1, 4))
