"""Checks of the day's state machine: one cook, one button, two days."""

import plans

from shared_schedule import day as D
from shared_schedule import plan as P
from shared_schedule import states
from shared_schedule.plan_writer import encode_plan
from shared_schedule.units import NO_CDEG


def play(plan, state, now_s, until_s, step_s=60, log=None):
    """Live the day as an obedient cook: do what the focus says when it is due; return the instant it ended."""
    effects_seen = [] if log is None else log
    while now_s < until_s and state.mode != D.FINISHED:
        for effect in D.step(plan, state, (D.EV_TIME, 0, 0), now_s):
            effects_seen.append((now_s, effect))
        for index in range(len(plan.steps)):
            if state.steps[index] == D.RUNNING and plan.steps[index].ends_by == P.BY_DOSE:
                dose = now_s - state.started_at_s[index]
                for effect in D.step(plan, state, (D.EV_DOSE, plan.steps[index].step_id, dose), now_s):
                    effects_seen.append((now_s, effect))
        for _ in range(4):
            index = D.focus(plan, state, now_s)
            if index < 0 or not wants_press(plan, state, index, now_s):
                break
            step = plan.steps[index]
            for tick in range(len(step.ticks) if D.is_open(state.steps[index]) else 0):
                press(plan, state, (D.EV_TICK, step.step_id, tick), now_s, effects_seen)
            if step.flags & P.ASK_OVEN_EMPTY:
                press(plan, state, (D.EV_TICK, step.step_id, D.TICK_OVEN), now_s, effects_seen)
            press(plan, state, D.go_event(plan, state, now_s), now_s, effects_seen)
        now_s += step_s
    return now_s


def press(plan, state, event, now_s, log):
    for effect in D.step(plan, state, event, now_s):
        log.append((now_s, effect))


def wants_press(plan, state, index, now_s):
    step = plan.steps[index]
    if state.steps[index] == D.WAITING:
        return D.is_due(plan, state, index, now_s)
    if state.steps[index] == D.READY:
        return D.wants_done(plan, state, index)
    return step.ends_by == P.BY_COOK and now_s - state.started_at_s[index] >= step.planned_for_s


def check_obedient_cook_finishes_on_time():
    plan = plans.two_days(2)
    state = D.DayState(plan)
    log = []
    ended = play(plan, state, plans.DAY_1, plans.DAY_1 + 3 * 86400, log=log)
    assert state.mode == D.FINISHED, state.steps
    assert all([step_state == D.DONE for step_state in state.steps])
    assert abs(ended - plan.ready_at_s) <= 20 * 60, ended - plan.ready_at_s
    assert [effect for _at, effect in log if effect[0] == D.FX_FINISHED] == [(D.FX_FINISHED, 0, 0)]
    for index in range(len(plan.steps)):
        lasted = state.ended_at_s[index] - state.started_at_s[index]
        assert plan.steps[index].min_s <= lasted, (plan.steps[index].name, lasted)


def check_rests_of_several_patons_run_beside_hands_on_work():
    plan = plans.two_days(3)
    state = D.DayState(plan)
    most = 0
    now_s = plans.DAY_1
    while state.mode != D.FINISHED and now_s < plans.DAY_1 + 3 * 86400:
        now_s = play(plan, state, now_s, now_s + 60)
        hands = [i for i in range(len(plan.steps)) if D.hands_on(plan, state, i, now_s)]
        assert len([i for i in hands if plan.steps[i].ends_by == P.BY_COOK]) <= 1
        if hands:
            most = max(most, len(D.running_rests(plan, state)))
    assert most >= 2, most


def check_refusals_change_nothing():
    plan = plans.two_days(1)
    state = D.DayState(plan)
    other = D.DayState(plan)
    cases = (
        ((D.EV_STEP_DONE, 1, 0), D.R_NOT_NOW),
        ((D.EV_START_STEP, 3, 0), D.R_BEFORE),
        ((D.EV_START_STEP, 250, 0), D.R_NO_STEP),
        ((D.EV_TICK, 1, 0), D.R_NOT_NOW),
        ((D.EV_TICK, 1, 3), D.R_NO_TICK),
        ((D.EV_TICK, 1, D.TICK_OVEN), D.R_NO_TICK),
        ((D.EV_UNDO, 0, 0), D.R_NOTHING_TO_UNDO),
        ((99, 1, 0), D.R_NO_STEP),
        ((D.EV_CLOSE, 1, 0), D.R_NO_STEP),
    )
    for event, reason in cases:
        assert D.step(plan, state, event, plans.DAY_1) == ((D.FX_REFUSED, event[1], reason),), event
        assert state.same_as(other), event
    assert len(D.REASONS) == D.R_NO_TICK + 1


def check_ticks_hold_the_step_until_answered():
    plan = plans.two_days(1)
    state = D.DayState(plan)
    now_s = plans.DAY_1
    D.step(plan, state, (D.EV_START_STEP, 1, 0), now_s)
    assert D.step(plan, state, (D.EV_STEP_DONE, 1, 0), now_s) == ((D.FX_REFUSED, 1, D.R_UNTICKED),)
    assert D.step(plan, state, (D.EV_TICK, 1, 0), now_s) == [(D.FX_JOURNAL_TICK, 1, (0, 1))]
    assert D.step(plan, state, (D.EV_TICK, 1, 0), now_s) == ()
    assert D.step(plan, state, (D.EV_TICK, 1, D.UNTICK), now_s) == [(D.FX_JOURNAL_TICK, 1, (0, 0))]
    assert D.step(plan, state, (D.EV_STEP_DONE, 1, 0), now_s)[0][0] == D.FX_REFUSED
    override = D.step(plan, state, (D.EV_OVERRIDE, 1, 0), now_s)
    assert override[0] == (D.FX_JOURNAL_STEP, 1, (D.RUNNING, D.DONE, D.BY_OVERRIDE))


def check_rest_follows_fold_and_waits_for_the_cook():
    plan = plans.chain(
        (P.FOLD, 10, {"fold": 3}),
        (P.REST, 60, {"ends_by": P.BY_TIME, "min_s": 1800, "place": P.FRIDGE}),
        (P.FOLD, 10, {"fold": 4}),
    )
    state = D.DayState(plan)
    t = plans.DAY_1
    D.step(plan, state, (D.EV_START_STEP, 1, 0), t)
    effects = D.step(plan, state, (D.EV_STEP_DONE, 1, 0), t + 600)
    assert effects == [
        (D.FX_JOURNAL_STEP, 1, (D.RUNNING, D.DONE, D.BY_BUTTON)),
        (D.FX_JOURNAL_STEP, 2, (D.WAITING, D.RUNNING, D.BY_BUTTON)),
    ]
    assert D.step(plan, state, (D.EV_START_STEP, 3, 0), t + 601) == ((D.FX_REFUSED, 3, D.R_TOO_EARLY),)
    assert D.left_s(plan, state, 1, t + 1200) == 3000
    assert D.step(plan, state, (D.EV_TIME, 0, 0), t + 4199) == ()
    effects = D.step(plan, state, (D.EV_TIME, 0, 0), t + 4200)
    assert (D.FX_JOURNAL_STEP, 2, (D.RUNNING, D.READY, D.BY_CLOCK)) in effects
    assert (D.FX_STEP_ENDED, 2, D.BY_CLOCK) in effects and state.steps[1] == D.READY
    assert (D.FX_STEP_DUE, 3, 0) in effects
    # Nothing more happens by itself, for however long; past its maximum (four hours) it says so once.
    assert D.step(plan, state, (D.EV_TIME, 0, 0), t + 5000) == ()
    assert D.step(plan, state, (D.EV_TIME, 0, 0), t + 15001) == [(D.FX_OVER_MAX, 2, 1)]
    assert D.step(plan, state, (D.EV_TIME, 0, 0), t + 15002) == () and state.steps[1] == D.READY
    assert D.go_event(plan, state, t + 5000) == (D.EV_START_STEP, 3, 0)
    effects = D.step(plan, state, (D.EV_START_STEP, 3, 0), t + 5000)
    assert effects[0] == (D.FX_JOURNAL_STEP, 2, (D.READY, D.DONE, D.BY_BUTTON))


def check_early_press_is_deliberate_below_the_minimum_and_journaled_early():
    plan = plans.chain(
        (P.FOLD, 10, {"fold": 3}),
        (P.REST, 60, {"ends_by": P.BY_TIME, "min_s": 1800, "place": P.FRIDGE}),
        (P.FOLD, 10, {"fold": 4}),
    )
    for at_s, arg in ((600, D.DELIBERATE), (1801 + 600, 0)):
        state = D.DayState(plan)
        D.step(plan, state, (D.EV_START_STEP, 1, 0), 0 + plans.DAY_1)
        D.step(plan, state, (D.EV_STEP_DONE, 1, 0), plans.DAY_1 + 600)
        effects = D.step(plan, state, (D.EV_START_STEP, 3, arg), plans.DAY_1 + at_s)
        assert effects[0] == (D.FX_JOURNAL_STEP, 2, (D.RUNNING, D.DONE, D.BY_EARLY)), effects


def check_undo_within_ten_seconds_brings_everything_back():
    plan = plans.chain(
        (P.FOLD, 10, {"fold": 3}),
        (P.REST, 60, {"ends_by": P.BY_TIME, "min_s": 1800, "place": P.FRIDGE}),
        (P.FOLD, 10, {"fold": 4}),
    )
    t = plans.DAY_1
    state = D.DayState(plan)
    D.step(plan, state, (D.EV_START_STEP, 1, 0), t)
    D.step(plan, state, (D.EV_STEP_DONE, 1, 0), t + 600)
    assert D.step(plan, state, (D.EV_UNDO, 0, 0), t + 611)[0][0] == D.FX_REFUSED
    effects = D.step(plan, state, (D.EV_UNDO, 0, 0), t + 610)
    assert effects == [
        (D.FX_JOURNAL_STEP, 2, (D.RUNNING, D.WAITING, D.BY_UNDO)),
        (D.FX_JOURNAL_STEP, 1, (D.DONE, D.RUNNING, D.BY_UNDO)),
    ]
    assert state.steps == [D.RUNNING, D.WAITING, D.WAITING] and state.started_at_s == [t, 0, 0]
    assert D.step(plan, state, (D.EV_UNDO, 0, 0), t + 610)[0][0] == D.FX_REFUSED


def check_core_temperature_ends_a_chill_only_when_it_holds():
    plan = plans.chain(
        (P.FLATTEN, 10, {}),
        (P.CHILL, 30, {"ends_by": P.BY_CORE, "core_cdeg": 400, "min_s": 600, "max_s": 5400, "place": P.FREEZER}),
        (P.LOCK_IN, 10, {}),
    )
    t = plans.DAY_1
    state = D.DayState(plan)
    D.step(plan, state, (D.EV_START_STEP, 1, 0), t)
    D.step(plan, state, (D.EV_STEP_DONE, 1, 0), t)
    readings = [1500, 480, 490, 499, NO_CDEG, 499, 499, 499, 501, 499]
    now_s = t + 3000
    for cdeg in readings:
        assert D.step(plan, state, (D.EV_TEMPERATURE, 2, cdeg), now_s) == ()
        # Fresh readings keep the clock from calling it ready at its planned time.
        assert D.step(plan, state, (D.EV_TIME, 0, 0), now_s) == ()
        now_s += 5
    for _ in range(4):
        assert D.step(plan, state, (D.EV_TEMPERATURE, 2, 450), now_s) == ()
    effects = D.step(plan, state, (D.EV_TEMPERATURE, 2, 450), now_s)
    assert effects[0] == (D.FX_JOURNAL_STEP, 2, (D.RUNNING, D.READY, D.BY_PROBE))


def check_core_step_without_a_probe_falls_back_to_the_clock():
    plan = plans.chain(
        (P.FLATTEN, 10, {}),
        (P.CHILL, 30, {"ends_by": P.BY_CORE, "core_cdeg": 400, "min_s": 600, "max_s": 5400}),
        (P.LOCK_IN, 10, {}),
    )
    state = D.DayState(plan)
    D.step(plan, state, (D.EV_START_STEP, 1, 0), plans.DAY_1)
    D.step(plan, state, (D.EV_STEP_DONE, 1, 0), plans.DAY_1)
    assert D.step(plan, state, (D.EV_TIME, 0, 0), plans.DAY_1 + 1799) == ()
    assert state.steps[1] == D.RUNNING
    D.step(plan, state, (D.EV_TIME, 0, 0), plans.DAY_1 + 1800)
    assert state.steps[1] == D.READY


def check_oven_is_asked_for_before_heat():
    plan = plans.two_days(1)
    heat = [step for step in plan.steps if step.kind == P.PREHEAT][0]
    state = D.DayState(plan)
    start = (D.EV_START_STEP, heat.step_id, 0)
    assert D.step(plan, state, start, heat.start_at_s) == ((D.FX_REFUSED, heat.step_id, D.R_OVEN),)
    D.step(plan, state, (D.EV_TICK, heat.step_id, D.TICK_OVEN), heat.start_at_s)
    assert D.step(plan, state, start, heat.start_at_s)[0][0] == D.FX_JOURNAL_STEP


def check_skipping_a_fold_hands_its_rest_on():
    plan = plans.chain(
        (P.FOLD, 10, {"fold": 3}),
        (P.REST, 60, {"ends_by": P.BY_TIME, "min_s": 1800, "place": P.FRIDGE}),
        (P.FOLD, 10, {"fold": 4}),
        (P.REST, 60, {"ends_by": P.BY_TIME, "min_s": 1800, "place": P.FRIDGE}),
        (P.SHEET, 10, {}),
    )
    t = plans.DAY_1
    state = D.DayState(plan)
    D.step(plan, state, (D.EV_START_STEP, 1, 0), t)
    D.step(plan, state, (D.EV_STEP_DONE, 1, 0), t)
    D.step(plan, state, (D.EV_TIME, 0, 0), t + 3600)
    D.step(plan, state, (D.EV_SKIP, 3, 0), t + 3600)
    D.step(plan, state, (D.EV_SKIP, 4, 0), t + 3601)
    assert state.steps == [D.DONE, D.READY, D.SKIPPED, D.SKIPPED, D.WAITING]
    effects = D.step(plan, state, (D.EV_START_STEP, 5, 0), t + 3700)
    assert effects[0] == (D.FX_JOURNAL_STEP, 2, (D.READY, D.DONE, D.BY_BUTTON))


def check_a_shared_rest_ends_when_the_last_paton_leaves_it():
    plan = plans.two_days(2)
    state = D.DayState(plan)
    night = [index for index in range(len(plan.steps)) if plan.steps[index].kind == P.HOLD][0]
    first, second = [index for index in range(len(plan.steps)) if plan.steps[index].kind == P.LOCK_IN]
    play(plan, state, plans.DAY_1, plan.steps[first].start_at_s + 120)
    assert state.steps[first] == D.RUNNING and state.steps[night] == D.READY
    play(plan, state, plan.steps[first].start_at_s + 120, plan.steps[second].start_at_s + 120)
    assert state.steps[second] == D.RUNNING and state.steps[night] == D.DONE


def check_unknown_clock_does_not_count_what_ran_before():
    plan = plans.chain(
        (P.FOLD, 10, {"fold": 3}),
        (P.REST, 60, {"ends_by": P.BY_TIME, "min_s": 1800, "place": P.FRIDGE}),
        (P.FOLD, 10, {"fold": 4}),
    )
    t = plans.DAY_1
    state = D.DayState(plan)
    D.step(plan, state, (D.EV_START_STEP, 1, 0), t)
    D.step(plan, state, (D.EV_STEP_DONE, 1, 0), t + 600)
    state.clock_ok = False
    assert D.step(plan, state, (D.EV_TIME, 0, 0), t + 90000) == ()
    assert D.left_s(plan, state, 1, t + 90000) is None
    D.step(plan, state, (D.EV_START_STEP, 3, D.DELIBERATE), t + 1000)
    state.set_clock(t + 1100, t + 5100)
    # Stamped by the unknown clock: moved with it. Stamped before: left alone.
    assert state.started_at_s == [t, t + 600, t + 5000] and state.ended_at_s[1] == t + 5000 and state.clock_ok


def check_replaced_plan_keeps_what_happened():
    plan = plans.two_days(2)
    state = D.DayState(plan)
    play(plan, state, plans.DAY_1, plans.DAY_1 + 16 * 3600)
    later = P.decode(encode_plan(plan))
    dropped = later.steps.pop()
    for step in later.steps:
        step.start_at_s += 1800
    new = D.carry_over(plan, state, later)
    assert dropped.kind == P.COOL and len(new.steps) == len(plan.steps) - 1
    assert new.steps == state.steps[:-1] and new.started_at_s == state.started_at_s[:-1]
    play(later, new, plans.DAY_1 + 16 * 3600, plans.DAY_1 + 3 * 86400)
    assert new.mode == D.FINISHED


def check_undo_leaves_alone_what_has_moved_on():
    plan = plans.chain((P.PROOF, 10, {"ends_by": P.BY_DOSE, "dose_s": 60, "min_s": 0}), (P.WASH, 5, {}))
    state = D.DayState(plan)
    D.step(plan, state, (D.EV_START_STEP, 1, 0), plans.DAY_1)
    D.step(plan, state, (D.EV_DOSE, 1, 60), plans.DAY_1 + 5)
    assert state.steps[0] == D.READY
    assert D.step(plan, state, (D.EV_UNDO, 0, 0), plans.DAY_1 + 6) == ((D.FX_REFUSED, 0, D.R_NOTHING_TO_UNDO),)
    assert state.steps[0] == D.READY


def beside():
    """Return a plan in which shaping, an oven and a second pâton's fold meet."""
    build = plans.Builder(plans.DAY_1)
    build.add(P.SHAPE, 30, (), at_s=plans.DAY_1)
    build.add(P.FOLD, 10, (), at_s=plans.DAY_1 + 300, fold=3)
    build.add(P.PREHEAT, 30, (), at_s=plans.DAY_1 + 600, ends_by=P.BY_TIME, attended_s=60, flags=P.ASK_OVEN_EMPTY)
    build.add(P.BAKE, 10, (3,), at_s=plans.DAY_1 + 2400, ends_by=P.BY_TIME, attended_s=60)
    plans.rest(build, P.COOL, 20, (4,), 10, P.ROOM)
    return P.validate(P.Plan(build.steps, name="beside", made_at_s=plans.DAY_1, ready_at_s=build.at_s))


def check_two_hands_refuse_a_second_fold_but_not_a_deliberate_one():
    plan = beside()
    state = D.DayState(plan)
    D.step(plan, state, (D.EV_START_STEP, 1, 0), plans.DAY_1)
    fold = (D.EV_START_STEP, 2, 0)
    assert D.step(plan, state, fold, plans.DAY_1 + 300) == ((D.FX_REFUSED, 2, D.R_HANDS_FULL),)
    assert D.step(plan, state, (D.EV_START_STEP, 2, D.DELIBERATE), plans.DAY_1 + 300)[0][0] == D.FX_JOURNAL_STEP


def check_the_needle_goes_with_the_hands_and_else_stays_where_it_was_put_last():
    """One needle: in what is worked on; with idle hands in the rest begun last, however the plan orders the two."""
    t = plans.DAY_1
    core = {"core_cdeg": 600, "ends_by": P.BY_CORE, "min_s": 600, "ideal_s": 1200, "max_s": 9000}
    for first in (0, 1):
        build = plans.Builder(t)
        build.add(P.CHILL, 20, (), **core)
        build.add(P.CHILL, 20, (), **core)
        build.add(P.FOLD, 5, (), fold=3, fold_n=1, fold_of=1, low_cdeg=600, high_cdeg=1800)
        plan = P.Plan(build.steps, name="three", made_at_s=t, ready_at_s=build.at_s)
        state = D.DayState(plan)
        assert states.probe_at(plan, state) == -1
        for index, at_s in ((first, t), (1 - first, t + 60)):
            state.steps[index], state.started_at_s[index] = D.RUNNING, at_s
        assert states.probe_at(plan, state) == 1 - first
        state.steps[2], state.started_at_s[2] = D.RUNNING, t - 600
        assert states.probe_at(plan, state) == 2  # begun before both, but hands are on it
        state.steps[2] = D.DONE
        assert states.probe_at(plan, state) == 1 - first
        state.steps[1 - first] = D.DONE
        assert states.probe_at(plan, state) == first


def check_focus_in_the_order_a_cook_needs():
    plan = beside()
    state = D.DayState(plan)
    t = plans.DAY_1
    assert D.focus(plan, state, t) == 0
    D.step(plan, state, (D.EV_START_STEP, 1, 0), t)
    assert D.focus(plan, state, t + 400) == 0  # a fold is due, but the hands are in the shaping
    assert D.focus(plan, state, t + 600) == 2  # the oven takes a minute, then runs by itself
    D.step(plan, state, (D.EV_TICK, 3, D.TICK_OVEN), t + 600)
    D.step(plan, state, D.go_event(plan, state, t + 600), t + 600)
    assert state.steps[2] == D.RUNNING and D.focus(plan, state, t + 601) == 0
    D.step(plan, state, (D.EV_TIME, 0, 0), t + 2400)
    assert state.steps[2] == D.READY and D.go_event(plan, state, t + 2400) == (D.EV_START_STEP, 4, 0)
    D.step(plan, state, (D.EV_START_STEP, 4, 0), t + 2400)
    assert state.steps[2] == D.DONE and D.focus(plan, state, t + 2500) == 0
    D.step(plan, state, (D.EV_TIME, 0, 0), t + 3000)
    assert D.focus(plan, state, t + 3000) == 3  # out of the oven before anything else
    assert D.go_event(plan, state, t + 3000) == (D.EV_STEP_DONE, 4, 0)
    effects = D.step(plan, state, (D.EV_STEP_DONE, 4, 0), t + 3000)
    assert effects[1] == (D.FX_JOURNAL_STEP, 5, (D.WAITING, D.RUNNING, D.BY_BUTTON))


def check_the_last_rest_of_the_day_ends_by_itself():
    plan = beside()
    state = D.DayState(plan)
    for step_id in (1, 2, 3):
        D.step(plan, state, (D.EV_SKIP, step_id, 0), plans.DAY_1)
    D.step(plan, state, (D.EV_START_STEP, 4, 0), plans.DAY_1 + 100)
    D.step(plan, state, (D.EV_STEP_DONE, 4, D.DELIBERATE), plans.DAY_1 + 900)
    effects = D.step(plan, state, (D.EV_TIME, 0, 0), plans.DAY_1 + 900 + 1200)
    assert state.steps[4] == D.DONE and (D.FX_FINISHED, 0, 0) in effects and state.mode == D.FINISHED


def check_a_bad_order_is_refused_even_when_deliberate():
    plan = plans.two_days(1)
    state = D.DayState(plan)
    D.step(plan, state, (D.EV_START_STEP, 1, 0), plans.DAY_1)
    for arg in (0, D.DELIBERATE):
        assert D.step(plan, state, (D.EV_START_STEP, 2, arg), plans.DAY_1 + 5) == ((D.FX_REFUSED, 2, D.R_BEFORE),)
        assert D.step(plan, state, (D.EV_START_STEP, 3, arg), plans.DAY_1 + 5) == ((D.FX_REFUSED, 3, D.R_BEFORE),)


def check_tempering_warms_and_chilling_cools():
    for kind, cdeg, reached in (
        (P.TEMPER, 1299, False), (P.TEMPER, 1300, True), (P.TEMPER, 2000, True), (P.THAW, 1300, True),
        (P.CHILL, 1501, False), (P.CHILL, 1500, True), (P.CHILL, -300, True), (P.REST, 1500, True),
    ):  # fmt: skip
        rest = {"ends_by": P.BY_CORE, "core_cdeg": 1400, "min_s": 0, "max_s": 7200}
        plan = plans.chain((kind, 30, rest), (P.CUT, 5, {}))
        state = D.DayState(plan)
        D.step(plan, state, (D.EV_START_STEP, 1, 0), plans.DAY_1)
        for place in range(D.CORE_SAMPLES):
            D.step(plan, state, (D.EV_TEMPERATURE, 1, cdeg), plans.DAY_1 + 5 + 5 * place)
        assert (state.steps[0] == D.READY) == reached, (kind, cdeg)


def check_a_core_that_never_comes_ends_at_the_maximum():
    plan = plans.chain(
        (P.CHILL, 30, {"ends_by": P.BY_CORE, "core_cdeg": 400, "min_s": 600, "max_s": 5400}), (P.LOCK_IN, 5, {})
    )
    state = D.DayState(plan)
    D.step(plan, state, (D.EV_START_STEP, 1, 0), plans.DAY_1)
    for at_s in range(5, 5400, 5):
        D.step(plan, state, (D.EV_TEMPERATURE, 1, 900), plans.DAY_1 + at_s)
        assert D.step(plan, state, (D.EV_TIME, 0, 0), plans.DAY_1 + at_s) == ()
    assert D.step(plan, state, (D.EV_TIME, 0, 0), plans.DAY_1 + 5400)[0][0] == D.FX_JOURNAL_STEP


def check_time_and_temperature_allocate_nothing_when_nothing_happens():
    try:
        import micropython
    except ImportError:
        return  # only the device's interpreter can show it
    plan = plans.two_days(3)
    state = D.DayState(plan)
    now_s = play(plan, state, plans.DAY_1, plans.DAY_1 + 15 * 3600)
    while D.step(plan, state, (D.EV_TIME, 0, 0), now_s):
        pass
    time = (D.EV_TIME, 0, 0)
    warm = (D.EV_TEMPERATURE, plan.steps[6].step_id, 1500)
    total = 0
    micropython.heap_lock()
    try:
        while total < 20:
            total += 1
            D.step(plan, state, time, now_s)
            D.step(plan, state, warm, now_s)
    finally:
        micropython.heap_unlock()
    assert total == 20 and len(D.running_rests(plan, state)) >= 1


def check_one_question_about_the_oven_not_two():
    plan = beside()
    plan.steps[2].ticks = ("oven is empty",)
    for tick in (0, D.TICK_OVEN):
        state = D.DayState(plan)
        now_s = plans.DAY_1 + 600
        assert D.step(plan, state, (D.EV_START_STEP, 3, 0), now_s) == ((D.FX_REFUSED, 3, D.R_OVEN),)
        assert D.step(plan, state, (D.EV_TICK, 3, tick), now_s) == [(D.FX_JOURNAL_TICK, 3, (tick, 1))]
        again = D.DayState(plan)
        assert D.restore_tick(plan, again, 3, tick, 1) and again.same_as(state)
        assert D.step(plan, state, (D.EV_UNDO, 0, 0), now_s + 5)[0][0] == D.FX_JOURNAL_TICK and not state.ticked[2]
        D.step(plan, state, (D.EV_TICK, 3, tick), now_s)
        assert D.step(plan, state, (D.EV_START_STEP, 3, 0), now_s)[0][0] == D.FX_JOURNAL_STEP
        D.step(plan, state, (D.EV_TIME, 0, 0), now_s + 1800)
        assert D.step(plan, state, (D.EV_START_STEP, 4, D.DELIBERATE), now_s + 1800)[0][0] == D.FX_JOURNAL_STEP


def check_a_hold_the_cook_ends_is_no_hands_on_work():
    plan = plans.chain(
        (P.SHAPE, 20, {}), (P.HOLD, 600, {"attended_s": 120, "place": P.FRIDGE}), (P.PROOF, 180, {"attended_s": 300}),
        (P.BAKE, 20, {"attended_s": 120, "place": P.OVEN}), (P.COOL, 20, {"attended_s": 60}),
    )  # fmt: skip
    state = D.DayState(plan)
    t = plans.DAY_1
    D.step(plan, state, (D.EV_START_STEP, 1, 0), t)
    D.step(plan, state, (D.EV_STEP_DONE, 1, 0), t + 1200)
    assert state.steps[1] == D.RUNNING and D.running_rests(plan, state) == [1]
    assert D.hands_on(plan, state, 1, t + 1260) and not D.hands_on(plan, state, 1, t + 1400)
    D.step(plan, state, (D.EV_TIME, 0, 0), t + 1200 + 36000)
    assert state.steps[1] == D.READY and D.go_event(plan, state, t + 37200) == (D.EV_START_STEP, 3, 0)
    D.step(plan, state, (D.EV_START_STEP, 3, 0), t + 37200)
    D.step(plan, state, (D.EV_TIME, 0, 0), t + 37200 + 10800)
    D.step(plan, state, (D.EV_START_STEP, 4, 0), t + 48000)
    D.step(plan, state, (D.EV_TIME, 0, 0), t + 49200)
    assert D.go_event(plan, state, t + 49200) == (D.EV_STEP_DONE, 4, 0)
    D.step(plan, state, (D.EV_STEP_DONE, 4, 0), t + 49200)
    assert state.steps == [D.DONE, D.DONE, D.DONE, D.DONE, D.RUNNING]
    D.step(plan, state, (D.EV_TIME, 0, 0), t + 50400)
    assert state.mode == D.FINISHED


def check_what_must_be_wiped_is_asked_before_the_dough_comes():
    plan = plans.chain(
        (P.ICE, 15, {"ends_by": P.BY_TIME, "attended_s": 60, "min_s": 600, "ticks": ("bench is wiped dry",)}),
        (P.LOCK_IN, 5, {}),
    )
    state = D.DayState(plan)
    t = plans.DAY_1
    D.step(plan, state, (D.EV_START_STEP, 1, 0), t)
    D.step(plan, state, (D.EV_TIME, 0, 0), t + 900)
    assert D.step(plan, state, (D.EV_START_STEP, 2, 0), t + 900) == ((D.FX_REFUSED, 2, D.R_UNTICKED),)
    assert D.go_event(plan, state, t + 900) == (D.EV_STEP_DONE, 1, 0)
    D.step(plan, state, (D.EV_TICK, 1, 0), t + 900)
    assert D.go_event(plan, state, t + 900) == (D.EV_START_STEP, 2, 0)
