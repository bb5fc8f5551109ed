"""A day on the real firmware that slips, is planned anew from what the timer says, and goes on with the new plan."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from tourier.batch.examples import example_text
from tourier.batch.read import read_batch_text
from tourier.batch.workup import work_up
from tourier.dayplan import plan_days, to_device
from tourier.dayplan.model import BadWish
from tourier.design import redesign
from tourier.device.client import Timer
from tourier.device.virtual.board import VirtualTimer
from tourier.device.virtual.cook import Cook
from tourier.device.virtual.kitchen import KitchenConfig, PlayedKitchen
from tourier.known import Known, Lessons

from shared_schedule import day as D
from shared_schedule import journal as J
from shared_schedule import messages as M
from shared_schedule import plan as P
from shared_schedule.plan_writer import encode_plan

NOW = datetime(2026, 3, 13, 18, tzinfo=ZoneInfo("America/Chicago"))  # a Friday; the batch is for Sunday
LATE_S = 45 * 60


@pytest.fixture(scope="module")
def slipped(tmp_path_factory):
    """Played to a rest, the cook gone for 45 min, planned anew, sent, played on, planned anew once more."""
    text = example_text("home-inches")
    spec = read_batch_text(text, "home-inches", NOW)
    plan = plan_days(spec, work_up(spec, Known()), NOW, chance=False)
    first = to_device(plan)
    seen = {"first": first, "text": text}
    flash = tmp_path_factory.mktemp("slip") / "flash"
    kitchen = PlayedKitchen(KitchenConfig(), 5)
    with VirtualTimer(
        flash, kitchen=kitchen, cook=Cook(first, seed=5), start_at_s=first.steps[0].start_at_s - 600, seed=5
    ) as timer:
        timer.run_for(20)
        with Timer.open(timer.port) as link:
            link.send_plan(encode_plan(first))
        rest = next(s for s in first.steps if s.kind == P.REST)
        timer.run_until(rest.start_at_s + rest.planned_for_s - 60)
        timer.cook = None
        timer.run_for(LATE_S)
        with Timer.open(timer.port) as link:
            seen["before"] = link.state()
            seen["log_before"] = link.collect(M.STREAM_JOURNAL)
            for hour in ("2026-03-01 10:00", "gibberish"):
                with pytest.raises(BadWish, match="^ready time: ") as caught:
                    redesign(link, text, "home-inches", hour, Lessons())
                seen[hour] = str(caught.value)
            seen["design"], seen["replanned"] = redesign(link, text, "home-inches", None, Lessons())
            second = seen["design"].plan
            link.send_plan(seen["design"].data)
            seen["after"] = link.state()
            seen["log_after"] = link.collect(M.STREAM_JOURNAL)
        seen["second"] = second
        timer.cook = Cook(second, seed=6)
        timer.run_for(3600)
        with Timer.open(timer.port) as link:
            seen["on"] = link.state()
            _, seen["again"] = redesign(link, text, "home-inches", None, Lessons())
        end = second.ready_at_s + 6 * 3600
        while timer.glance.screen != "done" and timer.now_s < end:
            timer.run_for(600)
        with Timer.open(timer.port) as link:
            seen["log_end"] = link.collect(M.STREAM_JOURNAL)
            seen["held"] = P.decode(link.collect(M.STREAM_PLAN))
    return seen


def test_an_hour_that_is_past_is_refused_and_nothing_is_planned(slipped):
    assert "2026-03-01 10:00 is already past" in slipped["2026-03-01 10:00"]
    assert "is no moment" in slipped["gibberish"]


def test_the_replan_tells_of_the_delay(slipped):
    found = slipped["replanned"]
    waiting = [m for m in found.moved if m.by_s >= LATE_S - 15 * 60]
    assert waiting, found.sentence
    assert found.broken or found.late_s == 0 or "later than wished" in found.sentence
    assert found.plan.chance is not None and 0.0 <= found.plan.chance.ready_by <= 1.0  # what `tourier replan` tells


def _by_step(plan, past):
    """{step id: (state, started, ended)} of a plan."""
    ids = [step.step_id for step in plan.steps]
    return dict(zip(ids, zip(past.steps, past.started_at_s, past.ended_at_s, strict=True), strict=True))


def test_what_was_done_is_carried_over(slipped):
    """Steps are matched by id: the new plan may list them in another order."""
    old = _by_step(slipped["first"], slipped["before"].past)
    new = _by_step(slipped["second"], slipped["after"].past)
    assert slipped["after"].plan_id != slipped["before"].plan_id
    assert sum(state == D.DONE for state, _, _ in old.values()) >= 5
    for step_id, before in old.items():
        assert new[step_id] == before, step_id


def test_the_log_is_not_lost(slipped):
    assert len(slipped["log_before"]) > 100
    assert slipped["log_after"].startswith(slipped["log_before"])
    assert slipped["log_end"].startswith(slipped["log_after"])
    records = list(J.read(slipped["log_end"]))
    assert [r.seq for r in records] == list(range(len(records)))
    plans = [r.body[0] for r in records if r.type == J.PLAN]
    assert plans == [P.plan_id(encode_plan(slipped["first"])), P.plan_id(encode_plan(slipped["second"]))]


def test_the_day_goes_on_with_the_new_plan_and_can_be_planned_again(slipped):
    done = slipped["on"].past.steps.count(D.DONE)
    assert done > slipped["after"].past.steps.count(D.DONE)
    again = slipped["again"]
    assert again.plan.wished == slipped["replanned"].plan.wished
    moved = max((abs(m.by_s) for m in again.moved), default=0)
    assert moved <= timedelta(minutes=20).total_seconds(), again.sentence  # the day now keeps to its plan
    assert slipped["held"] == slipped["second"]
    records = list(J.read(slipped["log_end"]))
    assert sum(r.type == J.FINISHED for r in records) == 1
