"""Maker of synthetic logs: a small plan, and a day played through the shared codecs as a timer would write it.

Temperatures are simple exponentials, not a kitchen: these logs test arithmetic and plumbing. The staged faults of
tests/faults use the virtual kitchen.
"""

from __future__ import annotations

import math
import random

from shared_schedule import journal as J
from shared_schedule import plan as P
from shared_schedule.plan_writer import encode_plan
from shared_schedule.samples import SampleWriter
from shared_schedule.units import NO_CDEG

BEGIN = 217_000_000  # 2026-11-16 in project seconds
BOARD = "e66118604b5a2f21"


def small_plan(name: str = "Hall breakfast", made_at_s: int = BEGIN, **values) -> P.Plan:
    """Return a plan of 14 steps: temper, lock-in, three folds with rests, sheet, shape, proof, wash, bake, cool."""
    steps: list[P.Step] = []
    at = made_at_s + 600

    def add(kind, text, place, minutes, **more):
        nonlocal at
        step_id = len(steps) + 1
        after = (step_id - 1,) if step_id > 1 else ()
        planned = minutes * 60
        more.setdefault("min_s", planned)
        more.setdefault("ideal_s", planned)
        more.setdefault("max_s", 3 * planned)
        steps.append(P.Step(step_id=step_id, kind=kind, name=text, place=place, paton=1, start_at_s=at,
                            planned_for_s=planned, after=after, **more))  # fmt: skip
        at += planned

    add(P.TEMPER, "temper the block", P.ROOM, 30, ends_by=P.BY_TIME, min_s=0, core_cdeg=1400)
    window = {"low_cdeg": 1200, "high_cdeg": 1700}
    add(P.LOCK_IN, "lock-in", P.BENCH, 6, attended_s=360, layers=1, **window)
    for n, fold in enumerate((4, 3, 3), 1):
        add(P.FOLD, f"fold {n}", P.BENCH, 8, attended_s=480, fold=fold, fold_n=n, fold_of=3,
            layers=4 * 3 ** (n - 1), **window)  # fmt: skip
        add(P.REST, f"rest {n}", P.FRIDGE, 60, ends_by=P.BY_CORE, core_cdeg=900, fold_n=n, fold_of=3, min_s=1800)
    add(P.SHEET, "final sheet", P.BENCH, 12, attended_s=720, **window)
    add(P.SHAPE, "shape", P.BENCH, 20, attended_s=1200, **window)
    add(P.PROOF, "proof", P.PROOF_SPACE, 150, ends_by=P.BY_DOSE, dose_s=7800, air_max_cdeg=2800, min_s=0)
    add(P.WASH, "egg wash", P.BENCH, 5, attended_s=300, ticks=("egg wash on every piece",))
    add(P.BAKE, "bake", P.OVEN, 18, ends_by=P.BY_TIME)
    add(P.COOL, "cool", P.ROOM, 30, ends_by=P.BY_TIME, min_s=0)
    settings = {
        "ready_at_s": at, "offset_min": 60, "butter_low_cdeg": 1200, "butter_high_cdeg": 1700,
        "butter_brittle_cdeg": 1000, "butter_stop_cdeg": 2000, "butter_melt_cdeg": 3000, "proof_cap_cdeg": 2800,
        "yeast_min_cdeg": 280, "yeast_opt_cdeg": 3600, "yeast_max_cdeg": 4600, "yeast_ref_cdeg": 2600,
        "room_cdeg": 2200, "room_rh_pct": 50, "fridge_cdeg": 400, "freezer_cdeg": -1800, "proof_cdeg": 2600,
        "bench_um": 20000, "bench_effusivity": 3130, "film_room_mw": 7700, "film_fridge_mw": 8000,
        "film_freezer_mw": 9000, "laminate_k_mw": 300, "laminate_rc": 3100,
    }  # fmt: skip
    settings.update(values)
    return P.Plan(steps, name=name, made_at_s=made_at_s, **settings)


class Day:
    """Plays a plan: every step as planned, but for `slips`: {step_id: {"lasts_s", "start_c", "end_c", "probe"}}.

    `probe` "open" is a fault as the timer journals it; "away" a needle out of the dough, which it does not journal.
    """

    USUAL = {P.TEMPER: (6.0, 14.0), P.LOCK_IN: (13.5, 13.8), P.FOLD: (13.0, 15.5), P.REST: (15.0, 9.0),
             P.SHEET: (12.5, 15.0), P.SHAPE: (15.0, 17.0), P.PROOF: (18.0, 26.0)}  # fmt: skip

    def __init__(self, plan: P.Plan, seed: int = 1, slips: dict | None = None, bends=(), notes=(),
                 bench_c: float = 21.0, interval_s: int = 5, until: int = 10**9) -> None:  # fmt: skip
        self.plan_bytes = encode_plan(plan)
        self._rng = random.Random(seed)
        self._seq = 0
        journal = bytearray()
        samples = bytearray()
        writer = SampleWriter(interval_s)

        def note(kind, at_s, *body):
            self._seq += 1
            journal.extend(J.encode(kind, self._seq, at_s, *body))

        def sample(at_s, bench, probe):
            pair = [NO_CDEG if c is None else round(c * 100) for c in (bench, probe)]
            if not writer.add(at_s, pair):
                samples.extend(bytes(writer.block()))
                writer.add(at_s, pair)

        slips = slips or {}
        now = plan.made_at_s + 600
        note(J.BOOT, now - 30, 1, 1, 0, 1, 0)
        note(J.PLAN, now - 20, P.plan_id(self.plan_bytes), len(self.plan_bytes))
        tick = now
        for step in plan.steps:
            if step.step_id > until:
                break
            slip = slips.get(step.step_id, {})
            lasts = slip.get("lasts_s", step.planned_for_s)
            note(J.STEP, now, step.step_id, 0, 1, 1)
            if slip.get("probe") == "open":
                note(J.FAULT, now, 1, 1)
            for n, _ in enumerate(step.ticks):
                if not slip.get("untick"):
                    note(J.TICK, now + 5, step.step_id, n, 1)
            low, high = self.USUAL.get(step.kind, (20.0, 20.0))
            low, high = slip.get("start_c", low), slip.get("end_c", high)
            ends = now + lasts
            while tick < ends:
                # nine tenths of the way by the end of the step
                share = 1.0 - math.exp(-2.3 * (tick - now) / max(1, lasts)) if high != low else 0.0
                probe = low + (high - low) * share / 0.9 + self._rng.gauss(0, 0.03)
                bench = slip.get("bench_c", bench_c) + self._rng.gauss(0, 0.03)
                sample(tick, bench, None if slip.get("probe") else probe)
                tick += interval_s
            if slip.get("probe") == "open":
                note(J.FAULT, ends, 1, 0)
            note(J.STEP, ends, step.step_id, 1, 2, 1)
            now = ends
        else:
            note(J.FINISHED, now, 0)
        for at_s, cdeg, verdict in bends:
            note(J.BEND, at_s, cdeg, verdict, 1)
        for at_s, text in notes:
            note(J.NOTE, at_s, text)
        samples.extend(bytes(writer.block()))
        self.journal = bytes(journal)
        self.samples = bytes(samples)
        self.plan = plan

    def collect(self, book, board_id: str = BOARD, batch_text: str = "") -> int:
        """Hand the day over to a logbook; return the batch's number."""
        return book.collect(board_id, self.plan_bytes, self.journal, self.samples, batch_text)
