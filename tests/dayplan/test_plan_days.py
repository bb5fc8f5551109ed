"""The timetable keeps every rule, as seen by a checker that shares no code with the planner."""

from __future__ import annotations

import random
import re
from dataclasses import replace
from datetime import time, timedelta
from pathlib import Path
from time import process_time

import pytest
from checker import faults
from days import KITCHEN, SLEEP, at, process, spec, step, workup
from tourier.batch.model import AwaySpan
from tourier.dayplan import BadWish, Impossible, Job, adopt, plan_days, plan_json, plan_together, to_device
from tourier.known import Known, Lessons

from shared_schedule import plan as wire
from shared_schedule.plan_writer import encode_plan

EARLY_BIRD = AwaySpan("sleep", start=time(22, 0), end=time(3, 30))
NOW = at(13, 18)


@pytest.fixture(scope="module")
def one():
    s = spec(away=(EARLY_BIRD,))
    return plan_days(s, workup(s), NOW)


def test_a_day_planned_back_from_the_hour(one):
    assert faults(one, NOW) == []
    assert one.planned_at == at(15, 8, 30) and one.proven
    assert one.chance is not None and 0 <= one.chance.ready_by <= 1


def test_the_timer_is_silent_in_sleep_and_in_no_other_away_hours(one):
    """A cook who is out wants the alarm heard by whoever is in; asleep, only what saves the batch."""
    sleep = [span for span in one.away if span.why == "sleep"]
    errand = replace(sleep[0], from_s=sleep[0].to_s + 7200, to_s=sleep[0].to_s + 10800, why="away")
    assert to_device(replace(one, away=(*one.away, errand))).quiet == to_device(one).quiet != ()
    assert to_device(replace(one, away=(*one.away, replace(errand, why="sleep")))).quiet != to_device(one).quiet
    assert to_device(replace(one, away=())).quiet == ()


def test_the_same_wish_gives_the_same_plan(one):
    s = spec(away=(EARLY_BIRD,))
    assert plan_days(s, workup(s), NOW).steps == one.steps


def test_the_checker_finds_what_is_broken(one):
    """A checker that finds nothing proves nothing: each rule broken by hand is named."""

    def moved(key, minutes):
        by_s = minutes * 60
        return replace(
            one,
            steps=tuple(
                replace(s, start_at_s=s.start_at_s + by_s, end_at_s=s.end_at_s + by_s) if s.process.key == key else s
                for s in one.steps
            ),
        )

    across = (one.step("p1.fold1").start - one.step("block").start) // timedelta(minutes=1)
    assert any("before" in f for f in faults(moved("p1.fold2", -30), NOW))
    assert any("too long" in f for f in faults(moved("p1.fold2", 30), NOW))
    assert any("away hours" in f for f in faults(moved("proof", -120), NOW))
    assert any("late" in f for f in faults(moved("cool", 5), NOW))
    assert any("oven" in f for f in faults(moved("bake2", -10), NOW))
    assert any("hands" in f or "bench" in f for f in faults(moved("block", across), NOW))
    assert any("missing" in f for f in faults(replace(one, steps=one.steps[1:]), NOW))


@pytest.mark.parametrize("place", ["room", "oven"])
def test_a_proof_in_the_oven_ends_before_the_oven_heats(place):
    kitchen = replace(KITCHEN, proof_place=place)
    steps = list(process(ask=True))
    index = next(i for i, s in enumerate(steps) if s.key == "wash")
    # With dough in the oven the wash waits for the heating: the pieces stand in the room for that half hour.
    steps[index] = replace(steps[index], after_max_s={"proof": 3600})
    s = spec(kitchen=kitchen, away=(EARLY_BIRD,))
    plan = plan_days(s, workup(s, steps), NOW)
    assert faults(plan, NOW) == []
    overlap = plan.step("preheat").start < plan.step("proof").end
    assert overlap == (place == "room")
    preheat = next(x for x in to_device(plan).steps if x.kind == wire.PREHEAT)
    assert preheat.flags & wire.ASK_OVEN_EMPTY


def test_two_batches_share_cook_bench_and_oven():
    one, two = (spec(name=name, away=(EARLY_BIRD,)) for name in ("hall", "stall"))
    two = replace(two, wished_at=at(15, 9, 45))
    plan = plan_together([Job(one, workup(one)), Job(two, workup(two))], NOW)
    assert faults(plan, NOW) == []
    device = to_device(plan)
    assert len({x.step_id for x in device.steps}) == len(plan.steps)
    assert {x.paton for x in device.steps} == {0, 1, 2}


def test_raw_pieces_go_to_the_freezer_and_do_not_set_the_hour():
    s = spec(away=(EARLY_BIRD,))
    plan = plan_days(s, workup(s, process(freeze=True)), NOW)
    assert faults(plan, NOW) == []
    assert plan.planned_at == plan.step("cool").end


def test_the_timer_gets_it_whole(one):
    device = to_device(one)
    data = encode_plan(device)
    assert wire.decode(data) == device and len(data) < 4096
    assert device.ready_at_s == device.steps[-1].start_at_s + device.steps[-1].planned_for_s
    assert device.offset_min == 60 and device.offset_change_at_s == 0
    assert len(device.quiet) == 1  # one night, from ten to half past three
    assert device.quiet[0][1] - device.quiet[0][0] == 5.5 * 3600
    again = adopt([Job(one.spec, one.workup)], device)
    assert [(x.step_id, x.start, x.end) for x in again.steps] == [(x.step_id, x.start, x.end) for x in one.steps]


def test_the_night_the_clocks_go_back_has_an_hour_more():
    """Europe/Paris left summer time on 25 October 2026 at 03:00 (EU directive 2000/84/EC: last Sunday of October)."""
    s = spec(ready=at(25, 8, 30, month=10), away=(EARLY_BIRD,))
    now = at(23, 18, month=10)
    plan = plan_days(s, workup(s), now)
    assert faults(plan, now) == []
    device = to_device(plan)
    assert (device.offset_min, device.offset_after_min) == (120, 60)
    assert device.offset_change_at_s == 1792890000 - 1577836800  # 2026-10-25T01:00:00Z
    hold = plan.step("p1.hold")
    wall = hold.end.replace(tzinfo=None) - hold.start.replace(tzinfo=None)
    assert timedelta(seconds=hold.end.timestamp() - hold.start.timestamp()) - wall == timedelta(hours=1)


def test_later_start_moves_with_the_slack(one):
    """A step planned `slack_s` later must still leave a plan; one minute more must not. Checked by planning anew."""
    from tourier.dayplan.constraints import DayModel
    from tourier.dayplan.objectives import earliness
    from tourier.dayplan.problem import build
    from tourier.dayplan.search import solve

    problem = build([Job(one.spec, one.workup)], NOW)
    for key in ("p1.fold1", "proof", "p1.sheet"):
        planned = one.step(key)
        index = planned.step_id - 1
        late = problem.minute(planned.start) + planned.slack_s // 60
        for extra, possible in ((0, True), (1, False)):
            model = DayModel(problem, leeway=True)
            model.model.add(model.starts[index] >= late + extra)
            found = solve(model, [("early", earliness)])
            if possible:
                assert found is not None, key
            elif found is not None:  # only by another order of work or another night, never within the same one
                assert _order(problem, found) != _order_of_plan(one), key


def _order(problem, solution):
    hands = [t for t in problem.tasks if t.attended]
    return [t.key for t in sorted(hands, key=lambda t: (solution.start[t.index], t.index))]


def _order_of_plan(plan):
    hands = [s for s in plan.steps if s.process.attended_s]
    return [s.process.key for s in sorted(hands, key=lambda s: (s.start, s.step_id))]


@pytest.fixture(scope="module")
def demo():
    from tourier.batch.examples import demo_text
    from tourier.batch.read import read_batch_text
    from tourier.batch.workup import work_up

    now = at(27, 18, month=11)
    s = read_batch_text(demo_text(), "demo", now)
    return plan_days(s, work_up(s, Known()), now)


def test_the_demo_batch_is_planned_to_proven_optimum(demo):
    assert faults(demo, at(27, 18, month=11)) == []
    assert demo.proven
    assert demo.planned_at == at(29, 8, 30, month=11) - timedelta(seconds=demo.spec.buffer_s)
    assert len(encode_plan(to_device(demo))) < 4096


def test_json_has_the_keys_of_the_contract(demo):
    import json
    from datetime import datetime

    out = plan_json(demo)
    json.dumps(out, allow_nan=False)
    keys = "schema batch formula layers sheets cuts steps ready_at warnings".split()
    assert set(keys) <= set(out)
    names = "id kind name place start end attended_s min_s ideal_s max_s slack_s window_cdeg".split()
    assert all(set(names) <= set(s) for s in out["steps"])
    assert datetime.fromisoformat(out["ready_at"]).utcoffset() == timedelta(hours=1)
    fold = next(s for s in out["steps"] if s["kind"] == "fold")
    assert len(fold["window_cdeg"]) == 2 and fold["window_cdeg"][0] < fold["window_cdeg"][1]


# --- what is refused ---------------------------------------------------------------------------------------------


def refused(**changes):
    s = spec(**{"away": (EARLY_BIRD,), **changes})
    with pytest.raises(BadWish) as error:
        plan_days(s, workup(s), NOW)
    return error.value.sentence


def test_bad_wishes_are_refused_by_name():
    assert "already past" in refused(ready=at(13, 17))
    assert '"Europe/Nowhere"' in refused(zone="Europe/Nowhere")
    assert "zone" in refused(zone="../../etc/passwd")
    assert "overlaps away[1]" in refused(away=(EARLY_BIRD, AwaySpan("away", start=time(3), end=time(5))))
    assert "before it begins" in refused(away=(AwaySpan("away", from_at=at(14, 12), to_at=at(14, 10)),))
    assert "begins and ends" in refused(away=(AwaySpan("sleep", start=time(3), end=time(3)),))
    assert "either daily hours" in refused(away=(AwaySpan("sleep", start=time(3)),))


def test_broken_processes_are_refused_by_name():
    s = spec(away=(EARLY_BIRD,))
    good = list(process())
    cases = {
        "must follow itself: mix -> ": [replace(good[0], after=("bulk",)), *good[1:]],
        "there is no such step": [replace(good[1], after=("dough",), after_max_s={}), *good[2:]],
        "stands twice": [good[0], *good],
        "does not hold": [replace(good[0], min_s=5000), *good[1:]],
        "has no steps": [],
    }
    for words, steps in cases.items():
        with pytest.raises(BadWish, match=words):
            plan_days(s, workup(s, steps), NOW)


def test_a_wish_nobody_can_keep_is_refused_with_hours_and_the_nearest():
    s = spec(ready=at(15, 6, 30), away=(SLEEP,))  # up at 5:30, ready at 6:30: the proof alone takes two hours
    with pytest.raises(Impossible) as error:
        plan_days(s, workup(s), NOW)
    said = error.value
    assert "Sat 22:30 and Sun 05:30" in said.sentence and "you sleep" in said.sentence
    assert any("Get up" in text for text in said.give_up)
    assert said.nearest is not None
    again = replace(s, wished_at=said.nearest)
    assert faults(plan_days(again, workup(again), NOW), NOW) == []
    sooner = replace(s, wished_at=said.nearest - timedelta(minutes=1))
    with pytest.raises(Impossible):
        plan_days(sooner, workup(sooner), NOW)


def test_a_wish_too_soon_names_the_steps_that_need_longer():
    s = spec(ready=at(13, 23), away=())
    with pytest.raises(Impossible, match="there are 5 h; .* need at least"):
        plan_days(s, workup(s), NOW)


def test_a_step_no_place_can_hold_is_refused():
    s = spec(away=(EARLY_BIRD,))
    steps = [replace(p, units=9) if p.key == "p1.hold" else p for p in process()]
    with pytest.raises(Impossible, match="needs 9 places in the fridge at once; there are 3"):
        plan_days(s, workup(s, steps), NOW)


def small(rng: random.Random):
    """A day of four steps on a coarse grid, small enough to try every start."""
    m = lambda low, high: 30 * rng.randint(low, high)  # noqa: E731
    rest = m(1, 2)
    steps = [
        step("a", wire.FOLD, wire.BENCH, (a := m(1, 2)), a, fold=3),
        step("b", wire.REST, wire.FRIDGE, rest, 0, ["a"], {"a": 0}, rest, rest + m(0, 3)),
        step("c", wire.FOLD, wire.BENCH, (c := m(1, 2)), c, ["b"], {"b": 0}, fold=3),
        step("d", wire.BAKE, wire.OVEN, m(1, 2), 30, ["c"], {"c": m(0, 2)}),
    ]
    first = rng.randint(0, 20)
    away = AwaySpan("sleep", start=time(first, 0), end=time((first + rng.randint(3, 9)) % 24, 30))
    ready = at(14, 0) + timedelta(minutes=m(4, 18))
    return spec(ready=ready, away=(away,)), steps


def possible(s, steps, now) -> bool:
    """Brute force over a grid of half hours: does any timetable keep every rule? Shares nothing with the planner."""
    from checker import away_seconds

    spans = away_seconds(s, now, s.wished_at)
    begin, end = int(now.timestamp()), int(s.wished_at.timestamp())
    a, b, c, d = steps

    def free(start, length):
        return all(start >= y or start + length <= x for x, y in spans)

    for start in range(begin, end, 1800):
        if not free(start, a.attended_s):
            continue
        for rest in range(b.min_s, b.max_s + 1, 1800):
            fold = start + a.ideal_s + rest
            if not free(fold, c.attended_s):
                continue
            for wait in range(0, d.after_max_s["c"] + 1, 1800):
                bake = fold + c.ideal_s + wait
                if free(bake, d.ideal_s) and bake + d.ideal_s <= end and end - bake - d.ideal_s <= 3 * 3600:
                    return True
    return False


def test_every_refusal_of_small_days_is_confirmed_by_brute_force():
    """All lengths are multiples of half an hour, so a plan exists on the grid when it exists at all."""
    rng = random.Random(7)
    seen = {True: 0, False: 0}
    for _ in range(60):
        s, steps = small(rng)
        now = at(13, 22)
        try:
            plan = plan_days(s, workup(s, steps), now, chance=False)
            assert faults(plan, now) == []
            planned = True
        except Impossible:
            planned = False
        assert planned == possible(s, steps, now), (s.wished_at, s.away, steps)
        seen[planned] += 1
    assert min(seen.values()) >= 10  # both answers were tried


def wish(rng: random.Random):
    kitchen = replace(
        KITCHEN, fridge_shelves=rng.randint(2, 4), oven_trays=2, proof_place=rng.choice(["room", "room", "oven"])
    )
    up = rng.choice([time(3), time(3, 30), time(5), time(6)])
    away = [AwaySpan("sleep", start=rng.choice([time(21, 30), time(22, 30), time(23, 45)]), end=up)]
    if rng.random() < 0.4:
        begin = at(14, rng.randint(8, 16))
        away.append(AwaySpan("away", from_at=begin, to_at=begin + timedelta(hours=rng.randint(1, 3))))
    s = spec(
        ready=at(rng.choice([14, 15]), rng.randint(6, 20), rng.choice([0, 15, 30, 45])), kitchen=kitchen, away=away
    )
    patons = rng.choice([1, 1, 1, 2, 2, 3])
    steps = process(patons, loads=rng.randint(1, 2), freeze=rng.random() < 0.2, night=rng.choice(["dough", "pieces"]))
    if kitchen.proof_place == "oven":
        steps = tuple(replace(p, after_max_s={"proof": 3600}) if p.key == "wash" else p for p in steps)
    return s, steps


def random_wishes(count: int, seed: int) -> dict[str, float]:
    """Plan random wishes, each result checked; return how they ended and the slowest one's seconds of work."""
    rng = random.Random(seed)
    table: dict[str, float] = {"planned": 0, "proven": 0, "refused": 0, "stuck": 0, "worst_s": 0.0, "all_s": 0.0}
    for _ in range(count):
        s, steps = wish(rng)
        begin = process_time()
        try:
            plan = plan_days(s, workup(s, steps, patons=1), NOW)
        except Impossible as refusal:
            assert refusal.sentence.count(".") <= 3
            table["refused"] += 1
            table["stuck"] += "nor a proof" in refusal.sentence  # said so, with what would help
            plan = None
        spent = process_time() - begin
        table["all_s"] += spent
        table["worst_s"] = max(table["worst_s"], spent)
        if plan is not None:
            assert faults(plan, NOW) == [], (s.wished_at, s.away)
            encode_plan(to_device(plan))
            table["planned"] += 1
            table["proven"] += plan.proven
    return table


def test_random_wishes_break_no_rule():
    assert random_wishes(6, 1)["planned"] >= 2


@pytest.mark.slow
@pytest.mark.cpu(3600)
def test_three_hundred_random_wishes_break_no_rule():
    """Run with `-m slow -s` to see the table."""
    table = random_wishes(300, 2026)
    print("\n300 random wishes, 0 broken constraints:", {key: round(value, 1) for key, value in table.items()})
    assert table["planned"] >= 100
    assert table["stuck"] <= 3  # none where this was written; a very slow machine may run out of time on some


def test_three_pâtons_and_two_shelves_end_in_a_plan_or_a_proof():
    """The 179th of these wishes: the first search gets stuck on it, the crowded one finds a plan."""
    rng = random.Random(2026)
    s, steps = [wish(rng) for _ in range(179)][-1]
    assert s.kitchen.fridge_shelves == 2 and max(step.paton for step in steps) == 3
    plan = plan_days(s, workup(s, steps), NOW, chance=False)
    assert faults(plan, NOW) == [] and plan.planned_at <= s.wished_at


def test_a_full_fridge_is_named():
    """Two pâtons whose pieces must spend the night in a fridge with one shelf."""
    s = spec(away=(EARLY_BIRD,), kitchen=replace(KITCHEN, fridge_shelves=1))
    with pytest.raises(Impossible, match=r"The fridge has 1 shelf, .*: with (\d+) there is a plan") as error:
        plan_days(s, workup(s, process(2)), NOW)
    assert any("Make room in the fridge" in text for text in error.value.give_up)
    enough = int(re.search(r"with (\d+) there is", error.value.sentence)[1])
    wider = replace(s, kitchen=replace(s.kitchen, fridge_shelves=enough))
    assert faults(plan_days(wider, workup(wider, process(2)), NOW, chance=False), NOW) == []


def test_where_no_hour_works_the_place_that_is_too_small_is_named():
    """36 pieces of two pâtons want four shelves of the fridge overnight, whatever the hour."""
    from tourier.design import design
    from tourier.rehearsal import DEMO_NOW

    text = (Path(__file__).parents[2] / "companion/tourier/batch/examples/demo.toml").read_text(encoding="utf-8")
    small = text.replace("shelves = 5", "shelves = 3")
    assert small != text
    with pytest.raises(Impossible, match=r"The fridge has 3 shelves, .*As it is, no ready time in a week"):
        design(small, "demo", DEMO_NOW, Lessons())
