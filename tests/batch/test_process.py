"""The steps of every example: a workable order, links that name steps, limits in order, what the timer can hold."""

import json
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from tourier.batch.examples import NAMES, example_text
from tourier.batch.geometry import lay_out
from tourier.batch.jsonable import workup_json
from tourier.batch.process import frozen_by_paton
from tourier.batch.read import read_batch_text
from tourier.batch.workup import work_up
from tourier.known import Known, Learned

from shared_schedule import plan as ss

NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)


@pytest.fixture(scope="module", params=NAMES)
def made(request):
    return work_up(read_batch_text(example_text(request.param), request.param, NOW), Known())


def test_links_name_earlier_steps(made):
    seen = set()
    for step in made.process:
        assert step.key not in seen
        assert set(step.after) <= seen, step.key
        assert set(step.after_max_s) <= set(step.after), step.key
        assert len(step.after) <= ss.MAX_AFTER
        seen.add(step.key)


def test_the_last_patons_give_their_pieces_to_the_freezer():
    """Two pâtons of 12 croissants and 6 pains each: 14 croissants frozen are the second's and 2 of the first's."""
    text = example_text("demo").replace("count = 24\n", "count = 24\nfreeze = 14\n", 1)
    spec = read_batch_text(text, "demo", NOW)
    made = work_up(spec, Known())
    geometry = lay_out(spec)
    assert [tuple(each.counts) for each in geometry.patons] == [(12, 6), (12, 6)]
    assert frozen_by_paton(spec, geometry) == {1: 2, 2: 12}
    assert next(step for step in made.later if step.kind == ss.THAW).name.startswith("Thaw 14 ")
    shaped = {step.paton for step in made.process if step.kind == ss.FREEZE}
    assert shaped == {1, 2}


def test_what_was_learned_reaches_the_timer_as_it_was_learned():
    """Films in mW/(m2 K) and the bench's effusivity in SI; what nothing was learned of stays as it was."""
    spec = read_batch_text(example_text("demo"), "demo", NOW)

    def learned(quantity, value):
        return Learned(quantity, spec.kitchen.name, value, value - 1, value + 1, "", "by hand", (1,))

    known = Known(
        film_fridge=learned("film_fridge", 9.9), film_freezer=learned("film_freezer", 12.3),
        bench_effusivity=learned("bench_effusivity", 1400.0), fridge_c=learned("fridge_c", 5.5),
    )  # fmt: skip
    before, after = work_up(spec, Known()).device, work_up(spec, known).device
    wanted = {"film_fridge_mw": 9900, "film_freezer_mw": 12300, "bench_effusivity": 1400, "fridge_cdeg": 550}
    assert {name: after[name] for name in wanted} == wanted
    assert all(before[name] != wanted[name] for name in wanted)
    assert after["room_cdeg"] == before["room_cdeg"] and after["laminate_k_mw"] == before["laminate_k_mw"]


def test_limits_are_in_order_and_say_why(made):
    for step in (*made.process, *made.later):
        assert 0 <= step.min_s <= step.ideal_s <= step.max_s, step.key
        assert step.attended_s <= step.max_s, step.key
        assert step.why
        assert 1 <= len(step.name.encode()) <= 32
        assert len(step.ticks) <= ss.MAX_TICKS
        assert all(len(t.encode()) <= 40 for t in step.ticks)
        assert step.units >= 1


def test_everything_that_must_happen_is_there(made):
    kinds = [s.kind for s in made.process]
    spec = made.spec
    assert kinds.count(ss.FOLD) == len(spec.folds.folds) * made.patons
    assert kinds.count(ss.LOCK_IN) == kinds.count(ss.BLOCK) == kinds.count(ss.SHEET) == made.patons
    assert kinds.count(ss.BAKE) >= 1
    assert (ss.PROOF in kinds) == (spec.kind == "leavened")
    assert (kinds.count(ss.ICE) >= made.patons) == spec.kitchen.ice_bench
    baked = sum(p.count - p.freeze_raw for p in spec.pieces)
    trays = kinds.count(ss.BAKE) * spec.kitchen.oven_trays * spec.kitchen.pieces_per_tray
    assert trays >= baked
    preheat = next(s for s in made.process if s.kind == ss.PREHEAT)
    assert preheat.ask_oven_empty and "oven is empty" in preheat.ticks


def test_proof_stays_under_the_butter(made):
    for step in made.process:
        if step.kind == ss.PROOF:
            assert step.air_max_c <= 28.0  # IREKS compendium 11.5
            assert step.dose_s > 0
            if made.spec.kitchen.proof_place == "oven":
                preheat = next(s for s in made.process if s.kind == ss.PREHEAT)
                wash = next(s for s in made.process if s.kind == ss.WASH)
                assert step.key in wash.after and wash.key in preheat.after


def test_rests_between_folds_give_the_gluten_its_time(made):
    for step in made.process:
        if step.kind == ss.REST and step.fold_n and not step.key.endswith(".stand"):  # which comes after the last
            assert step.min_s >= 20 * 60


def test_a_fold_follows_a_lock_in_or_a_rest_closely(made):
    for step in made.process:
        if step.kind in (ss.FOLD, ss.LOCK_IN, ss.SHEET):
            assert set(step.after_max_s) == set(step.after)
            assert all(s <= 600 for s in step.after_max_s.values())


def test_device_fields_fit_the_plan(made):
    fields = {name: (kind, low, high) for name, kind, low, high in ss.PLAN_FIELDS}
    for name, value in made.device.items():
        assert isinstance(value, int), name
        kind, low, high = fields[name]
        if kind == "u":
            assert low <= value <= high, name
    assert made.device["butter_brittle_cdeg"] < made.device["butter_low_cdeg"] < made.device["butter_high_cdeg"]
    assert made.device["butter_high_cdeg"] < made.device["butter_stop_cdeg"] < made.device["butter_melt_cdeg"]


def test_frozen_pieces_keep_their_plan(made):
    frozen = sum(p.freeze_raw for p in made.spec.pieces)
    assert bool(made.later) == bool(frozen)
    if frozen:
        assert [s.kind for s in made.later] == [ss.THAW, ss.PROOF, ss.WASH, ss.PREHEAT, ss.BAKE, ss.COOL]


def test_json_has_the_keys_promised(made):
    data = json.loads(json.dumps(workup_json(made)))
    assert {"batch", "formula", "layers", "sheets", "cuts", "warnings"} <= set(data)
    assert {"lines", "dough_g", "butter_block_g", "roll_in_percent_of_dough", "roll_in_percent_of_flour",
            "water_temp_c"} <= set(data["formula"])  # fmt: skip
    assert {"name", "g", "percent_of_flour"} <= set(data["formula"]["lines"][0])
    assert {"after", "fat", "dough", "total"} <= set(data["layers"][0])
    assert {"step", "length_mm", "width_mm", "thickness_mm", "fat_layer_um"} <= set(data["sheets"][0])
    assert {"pieces", "offcut_percent", "marks_mm"} <= set(data["cuts"])
    assert all(w["why"] for w in data["warnings"])


def test_no_label_is_missing_and_turn_never_means_fold(made):
    text = json.dumps(workup_json(made), ensure_ascii=False) + " ".join(s.name for s in made.process)
    assert " turn" not in text.replace("quarter turn", "").replace("turn the tray", "")


def test_overnight_says_what_waits_cold(made):
    long = [s.key for s in made.process if s.min_s >= 6 * 3600]
    wanted = {"dough": ".chill", "paton": f".rest{len(made.spec.folds.folds)}", "pieces": ".hold"}
    if made.spec.folds.overnight == "none":
        assert not long
        return
    assert long
    assert all(key.endswith(wanted[made.spec.folds.overnight]) for key in long)


def test_the_locked_in_sheet_holds_dough_and_butter(made):
    """Volume is conserved (*independent*): the sheet named for the lock-in is the packet, not the dough before it."""
    for paton in {step.paton for step in made.process if step.kind == ss.LOCK_IN}:
        sizes = {s.kind: s.length_m * s.width_m * s.thickness_m for s in made.process if s.paton == paton}
        assert sizes[ss.LOCK_IN] == pytest.approx(sizes[ss.FLATTEN] + sizes[ss.BLOCK], rel=0.02)


def test_puff_that_waits_for_the_oven_is_asked_into_the_fridge():
    """Twenty squares on one tray of twelve: the second load would stand washed and warm for the first one's bake."""
    def ticks(**oven):
        text = example_text("puff")
        for key, value in oven.items():
            assert f"{key} = " in text
            text = "\n".join(f"{key} = {value}" if row.startswith(f"{key} = ") else row for row in text.splitlines())
        made = work_up(read_batch_text(text, "puff", NOW), Known())
        return next(step.ticks for step in made.process if step.kind == ss.WASH)

    assert "later loads wait in the fridge" in ticks() and len(ticks()) <= ss.MAX_TICKS
    assert "later loads wait in the fridge" not in ticks(trays=2)


def with_trays(trays, per_tray, **kitchen):
    spec = read_batch_text(example_text("mixed-shapes"), "", NOW)
    more = {"oven_trays": trays, "pieces_per_tray": per_tray, "fridge_shelves": 20, "proof_place": "box", **kitchen}
    return work_up(replace(spec, kitchen=replace(spec.kitchen, **more)), Known())


@pytest.mark.parametrize(("trays", "per_tray"), [(4, 12), (2, 9), (1, 12), (1, 6), (1, 4)])
def test_pieces_are_dealt_to_proofs_and_loads_without_loss(trays, per_tray):
    made = with_trays(trays, per_tray)
    steps = {s.key: s for s in made.process}
    assert len(steps) <= ss.MAX_STEPS
    proofs = [s for s in made.process if s.kind == ss.PROOF]
    bakes = [s for s in made.process if s.kind == ss.BAKE]
    baked = sum(p.count - p.freeze_raw for p in made.spec.pieces)
    assert len(bakes) == -(-baked // (trays * per_tray))
    assert sum(s.units for s in proofs) >= -(-baked // per_tray)
    # Each proof has its wash, and the first load after it bakes what that wash has glazed.
    for proof in proofs:
        wash = steps[proof.key.replace("proof", "wash")]
        assert wash.after_max_s == {proof.key: 900}
        assert sum(wash.key in bake.after for bake in bakes) == 1
        # It comes from a pâton, or from trays kept cold for it.
        assert all(steps[key].kind in (ss.HOLD, ss.REST, ss.SHAPE) for key in proof.after)


def test_an_oven_that_proofs_takes_its_heating_off_the_proof_and_its_loads_share_the_wait():
    one, two = with_trays(4, 12, proof_place="oven"), with_trays(1, 12, proof_place="oven")
    box = with_trays(4, 12, proof_place="box")
    doses = [next(s.dose_s for s in made.process if s.kind == ss.PROOF) for made in (one, box)]
    # By hand: half an hour at the room's temperature is taken off; 26 °C counts as itself.
    assert 0.1 < 1 - doses[0] / doses[1] < 0.5
    assert sum(s.kind == ss.PROOF for s in two.process) == 1
    shared = next(s.dose_s for s in two.process if s.kind == ss.PROOF)
    assert shared < doses[0], "the first of two loads goes in a little early, the second a little late"
