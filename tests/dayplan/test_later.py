"""Pieces frozen raw have a day of their own, planned from the stored batch text alone."""

from __future__ import annotations

from datetime import timedelta

import pytest
from checker import faults
from days import at, spec, step, workup
from test_plan_days import EARLY_BIRD, NOW
from tourier.dayplan import BadWish, Impossible, plan_days, plan_frozen, to_device
from tourier.known import Known

from shared_schedule import plan as wire
from shared_schedule.plan_writer import encode_plan


def stored():
    """The demo batch with half of the croissants frozen, read anew from its text."""
    from tourier.batch.examples import demo_text
    from tourier.batch.read import read_batch_text
    from tourier.batch.workup import work_up

    text = demo_text().replace("count = 24", "count = 24\nfreeze = 12", 1)
    s = read_batch_text(text, "demo", at(27, 18, month=11))
    return s, work_up(s, Known())


def test_week_three_is_planned_from_the_stored_batch():
    s, w = stored()
    assert w.later, "the demo with frozen pieces must keep their steps"
    frozen, ready = at(28, 15, month=11), at(20, 9, month=12)
    plan = plan_frozen(s, w, frozen, ready, at(18, 18, month=12))
    assert faults(plan, at(18, 18, month=12)) == []
    assert plan.planned_at == ready - timedelta(seconds=s.buffer_s)
    assert [x.process.kind for x in plan.steps][0] == wire.THAW
    encode_plan(to_device(plan))


def test_a_month_is_the_limit():
    s, w = stored()
    frozen = at(28, 15, month=11)
    with pytest.raises(Impossible, match="keep a month") as error:
        plan_frozen(s, w, frozen, at(29, 9, month=12), at(28, 9, month=12))
    assert error.value.nearest == frozen + timedelta(days=30)


def test_nothing_frozen_nothing_to_thaw():
    s = spec(away=(EARLY_BIRD,))
    with pytest.raises(BadWish, match="nothing to thaw"):
        plan_frozen(s, workup(s), at(14, 15), at(20, 9), at(18, 9))


def test_chance_grows_with_the_slack():
    """Aiming earlier by the slack named must bring the chance to 95 %, within the scatter of 2000 days."""
    steps = [
        step("fold", wire.FOLD, wire.BENCH, 60, 60, fold=3),
        step("bake", wire.BAKE, wire.OVEN, 60, 5, ["fold"], {"fold": 300}),
    ]
    s = spec(away=())
    plan = plan_days(s, workup(s, steps), NOW)
    assert plan.chance is not None and plan.chance.ready_by < 0.6
    sure = plan_days(s, workup(s, steps), NOW, slack_s=plan.chance.slack_for_95_s)
    assert sure.chance is not None and 0.93 <= sure.chance.ready_by <= 1.0
    assert sure.planned_at == plan.planned_at - timedelta(seconds=plan.chance.slack_for_95_s)


def test_chance_of_two_steps_agrees_with_arithmetic():
    """Two steps drawn from split log-normals: median late is near zero and the 95 % point near that of the sum,

    here reckoned by drawing directly, with another generator and no planner.
    """
    import math
    import random

    steps = [
        step("fold", wire.FOLD, wire.BENCH, 60, 60, fold=3, band=(0.8, 1.5)),
        step("bake", wire.BAKE, wire.OVEN, 60, 5, ["fold"], {"fold": 300}, band=(0.8, 1.5)),
    ]
    s = spec(away=())
    plan = plan_days(s, workup(s, steps), NOW)
    rng = random.Random(3)

    def one():
        z = rng.gauss(0, 1)
        return 60 * math.exp(z * math.log(1.5 if z > 0 else 1.25) / 1.6448536)

    # The cook does not begin the bake before its hour: an early fold wins nothing.
    late = sorted(max(one() - 60, 0) + one() - 60 for _ in range(20000))
    assert plan.chance is not None
    assert plan.chance.late_s[2] / 60 == pytest.approx(late[19000], abs=4)
    assert plan.chance.ready_by == pytest.approx(sum(x <= 0 for x in late) / 20000, abs=0.03)
