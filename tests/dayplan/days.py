"""Hand-written days for the planner's tests: a process as a cook would write it down, no craft maths.

Times are common practice, no source: a home batch with its three folds, an hour in the fridge after each, half an
hour in the freezer before lock-in, a quarter before the last sheeting, three hours of proof.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, time
from zoneinfo import ZoneInfo

from tourier.batch.model import (
    AwaySpan,
    BatchSpec,
    Butter,
    FoldWish,
    FormulaLine,
    KitchenSpec,
    PieceWish,
    ProcessStep,
    Workup,
)

from shared_schedule import plan as wire

PARIS = ZoneInfo("Europe/Paris")
MIN = 60
HOUR = 3600

KITCHEN = KitchenSpec(
    name="village hall",
    room_c=23.0,
    humidity_pct=55.0,
    fridge_c=4.0,
    freezer_c=-18.0,
    bench_material="marble",
    bench_thickness_m=0.02,
    bench_length_m=1.2,
    bench_width_m=0.6,
    fridge_shelves=3,
    oven_trays=2,
)

SLEEP = AwaySpan("sleep", start=time(22, 30), end=time(5, 30))


def step(key, kind, place, minutes, hands=0, after=(), waits=None, low=None, high=None, **more):
    """One step, lengths in minutes; with `low` and `high` it is flexible."""
    flexible = low is not None
    return ProcessStep(
        key=key,
        kind=kind,
        name=more.pop("name", key),
        place=place,
        paton=more.pop("paton", 0),
        attended_s=hands * MIN,
        min_s=(low if flexible else minutes) * MIN,
        ideal_s=minutes * MIN,
        max_s=(high if flexible else minutes) * MIN,
        after=tuple(after),
        after_max_s={k: v * MIN for k, v in (waits or {}).items()},
        flexible=flexible,
        **more,
    )


def process(patons=1, folds=(4, 3, 3), loads=2, freeze=False, proof_low=120, ask=False, night="pieces"):
    """A batch of croissants. What spends the night cold: the dough, or the shaped pieces (both may)."""
    steps = [
        step("mix", wire.MIX, wire.BENCH, 25, 25, name="Mix the détrempe", ticks=("Salt weighed in?",)),
        step("bulk", wire.BULK, wire.ROOM, 60, 0, ["mix"], {"mix": 5}, 45, 90, name="Bulk in the bowl"),
        step("flatten", wire.FLATTEN, wire.BENCH, 10, 10, ["bulk"], {"bulk": 10}, name="Press the dough flat"),
        step(
            "retard",
            wire.HOLD,
            wire.FRIDGE,
            *((600, 0) if night == "dough" else (120, 0)),
            ["flatten"],
            {"flatten": 5},
            480 if night == "dough" else 60,
            960,
            name="Dough in the fridge",
        ),
        step("block", wire.BLOCK, wire.BENCH, 20, 20, name="Make the butter block"),
    ]
    for n in range(1, patons + 1):
        p = f"p{n}."
        kin = {"paton": n}
        steps.append(
            step(
                p + "chill",
                wire.CHILL,
                wire.FREEZER,
                30,
                2,
                ["retard"],
                {"retard": 120},
                25,
                45,
                name="Chill flat",
                **kin,
            )
        )
        steps.append(
            step(p + "temper", wire.TEMPER, wire.ROOM, 30, 1, ["block"], {}, 20, 45, name="Temper the butter", **kin)
        )
        before = p + "lockin"
        steps.append(
            step(
                before, wire.LOCK_IN, wire.BENCH, 10, 10, [p + "chill", p + "temper"],
                {p + "chill": 2, p + "temper": 2}, name="Lock in", **kin,
            )
        )  # fmt: skip
        for f, fold in enumerate(folds, 1):
            key = f"{p}fold{f}"
            waits = {before: 2}
            steps.append(
                step(
                    key, wire.FOLD, wire.BENCH, 12, 12, [before], waits, name=f"Roll and {fold}-fold", fold=fold,
                    fold_n=f, fold_of=len(folds), length_m=0.5, width_m=0.2, thickness_m=0.008, low_c=10.0,
                    high_c=16.0, ticks=(f"Fold {f} done?",), **kin,
                )
            )  # fmt: skip
            rest = f"{p}rest{f}"
            steps.append(
                step(rest, wire.REST, wire.FRIDGE, 60, 0, [key], {key: 2}, 40, 240, name=f"Rest {f}", core_c=6.0, **kin)
            )
            before = rest
        steps.append(
            step(p + "firm", wire.CHILL, wire.FREEZER, 15, 1, [before], {before: 2}, 12, 25, name="Firm up", **kin)
        )
        steps.append(
            step(
                p + "sheet", wire.SHEET, wire.BENCH, 15, 15, [p + "firm"], {p + "firm": 2}, name="Sheet to 4 mm",
                length_m=0.9, width_m=0.3, thickness_m=0.004, **kin,
            )
        )  # fmt: skip
        steps.append(step(p + "cut", wire.CUT, wire.BENCH, 10, 10, [p + "sheet"], {p + "sheet": 5}, name="Cut", **kin))
        steps.append(
            step(p + "shape", wire.SHAPE, wire.BENCH, 25, 25, [p + "cut"], {p + "cut": 20}, name="Shape", **kin)
        )
        steps.append(
            step(
                p + "hold", wire.HOLD, wire.FRIDGE, 540 if night == "pieces" else 20, 2, [p + "shape"],
                {p + "shape": 10}, 15, 900, name="Pieces in the fridge", **kin,
            )
        )  # fmt: skip
    shaped = [f"p{n}.hold" for n in range(1, patons + 1)]
    if freeze:
        steps.append(
            step(
                "freeze",
                wire.FREEZE,
                wire.FREEZER,
                120,
                3,
                shaped,
                {k: 60 for k in shaped},
                120,
                43200,
                name="Freeze half",
            )
        )
    steps.append(step("preheat", wire.PREHEAT, wire.OVEN, 30, 1, [], name="Heat the oven", ask_oven_empty=ask))
    steps.append(
        step(
            "proof", wire.PROOF, wire.PROOF_SPACE, 180, 3, shaped, {k: 20 for k in shaped}, proof_low, 240,
            name="Proof", air_max_c=28.0, ends_by=wire.BY_DOSE, dose_s=10800,
        )
    )  # fmt: skip
    steps.append(
        step(
            "wash", wire.WASH, wire.ROOM, 6, 6, ["proof"], {"proof": 15}, name="Egg wash", ticks=("Salt in the wash?",)
        )
    )
    last, waits = ["wash", "preheat"], {"wash": 20, "preheat": 60}
    for n in range(1, loads + 1):
        key = f"bake{n}"
        steps.append(step(key, wire.BAKE, wire.OVEN, 18, 2, last, waits, name=f"Bake load {n} of {loads}", units=2))
        last, waits = [key], {key: 5}
    steps.append(step("cool", wire.COOL, wire.ROOM, 20, 2, last, {last[0]: 0}, name="Cool"))
    return tuple(steps)


def spec(ready=None, away=(SLEEP,), kitchen=KITCHEN, name="Village hall", zone="Europe/Paris", **more):
    ready = ready or datetime(2026, 3, 15, 8, 30, tzinfo=PARIS)
    return BatchSpec(
        name=name,
        wished_at=ready,
        zone=zone,
        kind="leavened",
        pieces=(PieceWish("croissant", 24, "triangle", 0.09, 0.2, 0.004),),
        formula=(FormulaLine("flour", 100.0, "flour"),),
        butter=Butter(profile="tourage 84", roll_in_percent_of_flour=50.0),
        folds=FoldWish(folds=(4, 3, 3)),
        kitchen=kitchen,
        away=tuple(away),
        **more,
    )


DEVICE = {
    "butter_low_cdeg": 1000,
    "butter_high_cdeg": 1600,
    "butter_brittle_cdeg": 800,
    "butter_stop_cdeg": 1800,
    "butter_melt_cdeg": 2800,
    "proof_cap_cdeg": 2800,
    "room_cdeg": 2300,
    "room_rh_pct": 55,
    "fridge_cdeg": 400,
    "freezer_cdeg": -1800,
}


def workup(the_spec, steps=None, **more):
    return Workup(
        spec=the_spec,
        lines=(),
        dough_g=1500.0,
        butter_block_g=420.0,
        roll_in_percent_of_dough=28.0,
        roll_in_percent_of_flour=50.0,
        water_temp_c=8.0,
        ice_g=0.0,
        water_rule_c=None,
        patons=more.pop("patons", 1),
        block={},
        stages=(),
        cuts={"pieces": [], "offcut_percent": 8.0, "marks_mm": [90, 180, 270]},
        process=process() if steps is None else tuple(steps),
        device=DEVICE,
        warnings=(),
    )


def at(day, hour, minute=0, month=3, year=2026, zone=PARIS):
    return datetime(year, month, day, hour, minute, tzinfo=zone)


def with_steps(the_workup, **changes):
    """The work-up with fields of some steps changed: {key: {field: value}}."""
    return replace(
        the_workup,
        process=tuple(replace(s, **changes[s.key]) if s.key in changes else s for s in the_workup.process),
    )
