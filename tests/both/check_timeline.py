"""Checks of the local replan: what being late means, on plans small enough to do by hand, and its cost."""

import check_day
import plans

from shared_schedule import day as D
from shared_schedule import plan as P
from shared_schedule import timeline as T

MIN = 60
t = plans.DAY_1


def three_folds():
    rest = {"ends_by": P.BY_TIME, "min_s": 30 * MIN, "ideal_s": 50 * MIN, "max_s": 120 * MIN, "place": P.FRIDGE}
    return plans.chain(
        (P.FOLD, 10, {"fold": 4}), (P.REST, 60, dict(rest)), (P.FOLD, 10, {"fold": 3}), (P.REST, 60, dict(rest)),
        (P.SHEET, 10, {}),
    )  # fmt: skip


def check_on_time_is_the_plan_itself():
    plan = three_folds()
    found = T.project(plan, D.DayState(plan), t)
    assert found.start_at_s == [step.start_at_s for step in plan.steps]
    assert found.end_at_s == [step.start_at_s + step.planned_for_s for step in plan.steps]
    # By hand: 150 min planned; both rests at their minimum save 2 x 30 min.
    assert (found.slip_s, found.slack_s, found.broken) == (0, 60 * MIN, [])
    assert found.passes == 2


def check_late_rests_shrink_to_ideal_then_to_minimum():
    plan = three_folds()
    # By hand: 10 min late, the first rest ends at its planned end (50 min = ideal); the rest of the day is the plan.
    found = T.project(plan, D.DayState(plan), t + 10 * MIN)
    assert found.slip_s == 0 and found.start_at_s[2] == t + 70 * MIN and found.start_at_s[4] == t + 140 * MIN
    # 20 min late: both rests at their ideal save 20 min; no minimum is needed.
    found = T.project(plan, D.DayState(plan), t + 20 * MIN)
    assert found.slip_s == 0 and found.end_at_s[1] - found.start_at_s[1] == 50 * MIN
    # 60 min late: both at their minimum just make it; 75 min late: 15 min slip, minimum kept.
    found = T.project(plan, D.DayState(plan), t + 60 * MIN)
    assert found.slip_s == 0 and found.end_at_s[1] - found.start_at_s[1] == 30 * MIN and found.slack_s == 0
    found = T.project(plan, D.DayState(plan), t + 75 * MIN)
    assert found.slip_s == 15 * MIN and found.slack_s == -15 * MIN and found.broken == []
    # 40 min late: between the two, no more than needed (an eighth of 20 min is the step).
    found = T.project(plan, D.DayState(plan), t + 40 * MIN)
    first = found.end_at_s[1] - found.start_at_s[1]
    assert found.slip_s == 0 and 37 * MIN <= first <= 40 * MIN, first
    assert found.passes <= 7


def check_a_late_rest_breaks_its_maximum_and_says_so():
    plan = three_folds()
    state = D.DayState(plan)
    D.step(plan, state, (D.EV_START_STEP, 1, 0), t)
    D.step(plan, state, (D.EV_STEP_DONE, 1, 0), t + 10 * MIN)
    D.step(plan, state, (D.EV_TIME, 0, 0), t + 70 * MIN)
    found = T.project(plan, state, t + 140 * MIN)
    # By hand: in the fridge since minute 10, maximum 120 min, taken out at minute 140 at the earliest: 10 min over.
    assert found.broken == [(1, T.BROKEN_MAX, 10 * MIN)] and found.start_at_s[2] == t + 140 * MIN


def check_a_rest_cut_short_is_named():
    plan = three_folds()
    state = D.DayState(plan)
    D.step(plan, state, (D.EV_START_STEP, 1, 0), t)
    D.step(plan, state, (D.EV_STEP_DONE, 1, 0), t + 10 * MIN)
    D.step(plan, state, (D.EV_START_STEP, 3, D.DELIBERATE), t + 15 * MIN)
    assert T.project(plan, state, t + 16 * MIN).broken == [(1, T.BROKEN_MIN, 25 * MIN)]


def check_cold_hold_absorbs_a_late_evening():
    plan = plans.two_days(2)
    hold = [index for index in range(len(plan.steps)) if plan.steps[index].kind == P.HOLD][0]
    late = T.project(plan, D.DayState(plan), t + 90 * MIN)
    assert late.slip_s == 0 and late.broken == []
    assert late.free_at_s[hold] == plan.steps[hold].start_at_s + plan.steps[hold].planned_for_s
    for index in range(hold + 1, len(plan.steps)):
        assert late.start_at_s[index] == plan.steps[index].start_at_s


def check_slack_of_an_evening_is_the_nights_rest_or_bedtime():
    plan = plans.two_days(1)
    hold = [index for index in range(len(plan.steps)) if plan.steps[index].kind == P.HOLD][0]
    # By hand: mix 20, bulk at least 40, flatten 10, block 15: minute 85 at the earliest. The hold needs 480 min and
    # lock-in is planned for minute 705: 705 - 480 - 85 = 140 min.
    assert T.project(plan, D.DayState(plan), t).slack_s == 140 * MIN
    # With a shorter hold allowed, bedtime at minute 240 comes first: 240 - 85 = 155 min.
    plan.steps[hold].min_s = 400 * MIN
    assert T.project(plan, D.DayState(plan), t).slack_s == 155 * MIN


def check_one_pair_of_hands():
    plan = plans.two_days(3)
    for late_min in (0, 20, 45, 700, 900):
        found = T.project(plan, D.DayState(plan), t + late_min * MIN)
        spans = []
        for index in range(len(plan.steps)):
            step = plan.steps[index]
            for before in step.after:
                assert found.free_at_s[plan.index_of(before)] <= found.start_at_s[index], (late_min, step.name)
            if step.attended_s and step.ends_by == P.BY_COOK:
                spans.append((found.start_at_s[index], found.end_at_s[index]))
            if step.ends_by != P.BY_COOK:
                assert found.end_at_s[index] - found.start_at_s[index] >= step.min_s, (late_min, step.name)
        spans.sort()
        for place in range(1, len(spans)):
            assert spans[place - 1][1] <= spans[place][0], (late_min, spans[place])


def check_what_happened_stays():
    plan = plans.two_days(2)
    state = D.DayState(plan)
    now_s = check_day.play(plan, state, t, t + 15 * 3600)
    found = T.project(plan, state, now_s)
    for index in range(len(plan.steps)):
        if state.steps[index] == D.DONE:
            assert (found.start_at_s[index], found.end_at_s[index]) == (
                state.started_at_s[index], state.ended_at_s[index],
            )  # fmt: skip
        elif D.is_open(state.steps[index]):
            assert found.start_at_s[index] == state.started_at_s[index] and found.end_at_s[index] >= now_s
        else:
            assert found.start_at_s[index] >= now_s


def check_skipped_steps_take_no_time():
    plan = three_folds()
    state = D.DayState(plan)
    D.step(plan, state, (D.EV_SKIP, 3, 0), t)
    D.step(plan, state, (D.EV_SKIP, 4, 0), t)
    found = T.project(plan, state, t + 75 * MIN)
    # By hand: fold 10, rest 30, sheet 10 from minute 75 on: minute 125 at the earliest, planned 140 to 150.
    assert found.slip_s == 0 and found.start_at_s[4] == t + 140 * MIN and found.slack_s == (150 - 125) * MIN


def check_adopted_rest_becomes_ready_sooner():
    plan = three_folds()
    state = D.DayState(plan)
    D.step(plan, state, (D.EV_START_STEP, 1, 0), t + 60 * MIN)
    D.step(plan, state, (D.EV_STEP_DONE, 1, 0), t + 70 * MIN)
    found = T.project(plan, state, t + 70 * MIN)
    T.adopt(found)
    assert state.for_s[1] == 30 * MIN
    assert D.step(plan, state, (D.EV_TIME, 0, 0), t + 100 * MIN - 1) == ()
    D.step(plan, state, (D.EV_TIME, 0, 0), t + 100 * MIN)
    assert state.steps[1] == D.READY


def check_cost_of_a_48_step_plan():
    plan = plans.two_days(4)
    while len(plan.steps) < 48:
        last = plan.steps[-1]
        plan.steps.append(P.Step(step_id=240 - len(plan.steps), kind=P.COOL, name="x", start_at_s=last.start_at_s))
    del plan.steps[48:]
    state = D.DayState(plan)
    late = t + 16 * 3600
    try:
        from time import ticks_diff, ticks_us
    except ImportError:
        assert T.project(plan, state, late).done
        return
    worst = total = 0
    projection = T.Projection(plan, state, late)
    done = False
    while not done:
        start = ticks_us()
        done = projection.advance()
        took = ticks_diff(ticks_us(), start)
        worst = max(worst, took)
        total += took
    print("timeline: 48 steps, %d passes, %d us in all, worst pass %d us" % (projection.passes, total, worst))
    # The Pico's interpreter is some 100 to 200 times slower than a desktop's: a pass of 250 us here is 25 to 50 ms.
    assert projection.passes <= 7


def check_a_late_day_shortens_no_bake_and_no_proof():
    plan = plans.chain(
        (P.PROOF, 180, {"ends_by": P.BY_DOSE, "dose_s": 10800, "min_s": 7200, "ideal_s": 10000}),
        (P.BAKE, 18, {"attended_s": 120, "ends_by": P.BY_TIME, "min_s": 900, "ideal_s": 1000}),
    )
    found = T.project(plan, D.DayState(plan), t + 60 * MIN)
    assert found.slip_s == 60 * MIN and found.slack_s == -60 * MIN
    assert found.end_at_s[0] - found.start_at_s[0] == 180 * MIN
    assert found.end_at_s[1] - found.start_at_s[1] == 18 * MIN
