"""Sending to a timer that is busy with a day, or whose log nobody has collected: what the desk says and does."""

from __future__ import annotations

import contextlib

import pytest
from tourier.device.client import Timer
from tourier.device.errors import Refused
from tourier.device.virtual.board import VirtualTimer

from shared_schedule import messages as m
from shared_schedule import plan as wire
from shared_schedule.plan_writer import encode_plan
from shared_schedule.states import DELIBERATE


@pytest.fixture
def board(tmp_path, played):
    with VirtualTimer(tmp_path / "flash.img", start_at_s=played("good").plan.steps[0].start_at_s - 600) as timer:
        yield timer


@pytest.fixture
def timer(board):
    with Timer.open(board.port) as one:
        yield one


def _tell(_done: int, _total: int) -> None:
    """No progress is shown."""


def _begin(timer: Timer) -> None:
    first = wire.decode(timer.collect(m.STREAM_PLAN)).steps[0]
    timer.command(m.ACTION_STEP_START, first.step_id, DELIBERATE)


def _with(plan: wire.Plan, **fields) -> bytes:
    """Return the bytes of a plan with some fields changed."""
    changed = wire.decode(encode_plan(plan))
    for name, value in fields.items():
        setattr(changed, name, value)
    return encode_plan(changed)


def _plans(played) -> tuple[wire.Plan, bytes, bytes, bytes]:
    """Return a plan, its bytes, those of the same batch planned otherwise, and those of another batch."""
    plan = played("good").plan
    later = _with(plan, ready_at_s=plan.ready_at_s + 600)
    return plan, encode_plan(plan), later, _with(plan, name="Other hall")


def test_in_mid_day_the_same_batch_may_take_over(home, board, timer, played):
    from tourier.desk.data import jobs

    _, one, later, _ = _plans(played)
    book = home / "data" / "logbook.sqlite"
    jobs.send(one, "", None, book)(timer, _tell)
    _begin(timer)
    with pytest.raises(jobs.Busy, match="in the middle of this batch.*Replan") as busy:
        jobs.send(later, "", None, book)(timer, _tell)
    assert busy.value.way_out == jobs.SAME_BATCH and "Note" not in str(busy.value)
    next_week = _with(wire.decode(one), ready_at_s=wire.decode(one).ready_at_s + 7 * 86400)
    with pytest.raises(jobs.Busy, match="Note that its hour is 7 days later"):
        jobs.send(next_week, "", None, book)(timer, _tell)
    jobs.send(later, "", None, book, all_the_same=True)(timer, _tell)
    assert timer.hello().plan_id == wire.plan_id(later)
    assert timer.state().past.steps[0] == 1  # what had happened is kept
    assert not book.exists()


@pytest.mark.parametrize("over", [False, True], ids=["runs", "over"])
def test_another_batch_comes_after_the_log_is_home(home, board, timer, played, over):
    from tourier.desk.data import jobs
    from tourier.logbook.record.store import Logbook

    plan, one, _, other = _plans(played)
    book = home / "data" / "logbook.sqlite"
    jobs.send(one, "", None, book)(timer, _tell)
    _begin(timer)
    if over:
        for step in plan.steps:
            with contextlib.suppress(Refused):
                timer.command(m.ACTION_STEP_SKIP, step.step_id, DELIBERATE)
    board.run_for(60)
    said = "was not collected yet" if over else "in the middle of Village hall breakfast"
    with pytest.raises(jobs.Busy, match=said) as busy:
        jobs.send(other, "", None, book)(timer, _tell)
    assert busy.value.way_out == jobs.OTHER_DAY
    assert timer.hello().plan_id == wire.plan_id(one)
    jobs.send(other, "", None, book, all_the_same=True)(timer, _tell)
    assert timer.hello().plan_id == wire.plan_id(other)
    with Logbook(book) as kept:
        (batch,) = kept.batches()
        assert batch.name == plan.name
        assert len(kept.load(batch.id).records) >= 2


async def test_the_dialog_offers_the_one_press_that_helps(make_desk, home, board, timer, played, until):
    from tourier.desk.data import jobs

    timer.close()
    plan = played("good").plan
    desk = make_desk()
    async with desk.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: getattr(desk.screen, "timed", None), "no timetable")
        berth = desk.fleet.follow(board.port)
        await until(pilot, lambda: berth.connected, "not connected")
        berth.follower.do("Give", jobs.send(_with(plan, name="Other hall"), "", None))
        await until(pilot, lambda: berth.plan is not None and berth.sight, "holds no plan")
        first = berth.plan.steps[0].step_id
        berth.follower.do("Go", lambda link, _: link.command(m.ACTION_STEP_START, first, DELIBERATE))
        await until(pilot, lambda: berth.report is not None and berth.report.past.steps[0] == 1, "not begun")
        await pilot.press("ctrl+t")
        await until(pilot, lambda: type(desk.screen).__name__ == "Sending" and desk.screen._data)
        sending = desk.screen
        await until(pilot, lambda: not sending.query_one("#send").disabled)
        await pilot.click("#send")
        button = sending.query_one("#replace")
        await until(pilot, lambda: not button.has_class("hidden"), "no way out")
        assert str(button.label) == jobs.OTHER_DAY
        assert "Other hall" in str(sending.query_one("#sending").content)
        await pilot.pause(0.3)
        assert button.region.bottom <= 24
        await pilot.click("#replace")
        await until(pilot, lambda: desk.current_mode == "bench", "not sent")
        await until(pilot, lambda: berth.plan is not None and berth.plan.name == "Village hall breakfast")
