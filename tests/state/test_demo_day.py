"""The companion's own demo batch, its steps laid end to end without the planner, lived by an obedient cook."""

from __future__ import annotations

import check_day
import plans
import pytest
from tourier.batch import examples
from tourier.batch.read import read_batch_text
from tourier.batch.workup import work_up
from tourier.known import Known

from shared_schedule import day as D
from shared_schedule import plan as P
from shared_schedule import timeline as T
from shared_schedule.plan_writer import encode_plan
from shared_schedule.units import NO_CDEG


def laid_out(process) -> P.Plan:
    """One step after the other as soon as its predecessors and the cook allow, every step at its ideal."""
    ids = {step.key: number for number, step in enumerate(process, 1)}
    ends: dict[str, int] = {}
    cook_at_s = plans.DAY_1
    steps = []
    for step in process:
        start = max([cook_at_s if step.attended_s else 0, plans.DAY_1, *(ends[key] for key in step.after)])
        ends[step.key] = start + step.ideal_s
        cook_at_s = max(cook_at_s, start + step.attended_s)
        steps.append(
            P.Step(
                step_id=ids[step.key], kind=step.kind, name=step.name[:32], place=step.place, paton=step.paton,
                start_at_s=start, planned_for_s=step.ideal_s, attended_s=step.attended_s, min_s=step.min_s,
                ideal_s=step.ideal_s, max_s=step.max_s, after=tuple(ids[key] for key in step.after),
                ends_by=step.ends_by, core_cdeg=NO_CDEG if step.core_c is None else round(step.core_c * 100),
                fold=step.fold, dose_s=step.dose_s, ticks=tuple(tick[:40] for tick in step.ticks),
                flags=P.ASK_OVEN_EMPTY if step.ask_oven_empty else 0,
            )  # fmt: skip
        )
    steps = plans._in_order(steps)
    return P.validate(P.Plan(steps, name="demo", made_at_s=plans.DAY_1, ready_at_s=max(ends.values())))


@pytest.fixture(scope="module")
def plan() -> P.Plan:
    text = examples.demo_text()
    return laid_out(work_up(read_batch_text(text, "demo"), Known()).process)


def test_it_fits_the_timer(plan: P.Plan) -> None:
    data = encode_plan(plan)
    assert P.decode(data) == plan and len(plan.steps) >= 40 and len(data) < P.MAX_PLAN_BYTES // 2


def test_an_obedient_cook_gets_through_it(plan: P.Plan) -> None:
    state = D.DayState(plan)
    log: list = []
    ended_s = check_day.play(plan, state, plans.DAY_1, plans.DAY_1 + 4 * 86400, log=log)
    refused = [(at_s, fx[1], D.REASONS[fx[2]]) for at_s, fx in log if fx[0] == D.FX_REFUSED]
    left = [step.name for step, now in zip(plan.steps, state.steps, strict=True) if now != D.DONE]
    assert state.mode == D.FINISHED, (left, refused[:5])
    assert len(refused) < 10, refused[:10]
    assert ended_s - plan.ready_at_s < 2 * 3600
    for index, step in enumerate(plan.steps):
        if D.runs_itself(step):
            assert state.ended_at_s[index] - state.started_at_s[index] >= step.min_s - 60, step.name


def test_presses_are_few(plan: P.Plan) -> None:
    """A cook with flour on the hands presses start and done for hands-on work and little else."""
    state = D.DayState(plan)
    log: list = []
    check_day.play(plan, state, plans.DAY_1, plans.DAY_1 + 4 * 86400, log=log)
    flowed = [fx for _at, fx in log if fx[0] == D.FX_JOURNAL_STEP and fx[2][0] == D.WAITING]
    rests = [step for index, step in enumerate(plan.steps) if D.follows_at_once(plan, index)]
    assert len(flowed) == len(plan.steps) and len(rests) >= 12


@pytest.mark.parametrize("late_min", [15, 45, 120])
def test_a_delay_before_any_step_keeps_every_minimum(plan: P.Plan, late_min: int) -> None:
    """The timer's own replan after a delay at each step: minimum rests kept, broken maxima named, order kept."""
    state = D.DayState(plan)
    named = seen = 0
    for index, step in enumerate(plan.steps):
        found = T.project(plan, state, step.start_at_s + late_min * 60)
        for other, later in enumerate(plan.steps):
            lasts_s = found.end_at_s[other] - found.start_at_s[other]
            if state.steps[other] == D.WAITING and D.runs_itself(later):
                assert lasts_s >= later.min_s
            if state.steps[other] != D.DONE and D.runs_itself(later) and later.max_s and lasts_s > later.max_s:
                assert (other, T.BROKEN_MAX, lasts_s - later.max_s) in found.broken
                named += 1
        assert found.slip_s == max(0, max(found.end_at_s) - plan.ready_at_s)
        seen += 1
        check_day.play(plan, state, state.started_at_s[index - 1] or plans.DAY_1, step.start_at_s)
    assert seen == len(plan.steps)
    assert late_min < 120 or named > 0
