"""The clock set by three buttons alone: no clock chip, no desk, power gone in the night."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from firmware_support import begin_without_clock_chip, collect, day, on_device, send, tap, two_days
from tourier.device.client import Timer
from tourier.device.virtual.board import VirtualTimer

from shared_schedule import day as D
from shared_schedule import history
from shared_schedule import journal as J
from shared_schedule import plan as P

PLAN = two_days()
START = PLAN.steps[0].start_at_s
EPOCH = datetime(2020, 1, 1, tzinfo=UTC)


def wall(at_s: float) -> str:
    """What the kitchen's clock on the wall shows, by CPython's own calendar."""
    return (EPOCH + timedelta(seconds=at_s, minutes=P.offset_min_at(PLAN, int(at_s)))).strftime("%H:%M")


@pytest.fixture
def dark(tmp_path):
    """A running first step, power gone for some minutes, back, and no clock chip to ask."""
    with VirtualTimer(tmp_path / "flash", start_at_s=START - 100, parts=("display",)) as board:
        board.run_for(10)
        begin_without_clock_chip(board, PLAN)
        assert board.glance.step_state == D.RUNNING
        board.run_for(300)
        board.power_cut()
        board.run_for(3 * 3600 + 25 * 60)
        board.restart()
        board.run_for(7)
        assert board.glance.alarm == J.CLOCK_UNKNOWN and board.glance.middle_label == "set"
        yield board


def test_it_begins_at_the_last_time_that_was_written_down(dark):
    went_at_s = START + 306
    tap(dark, "middle")
    assert dark.glance.screen == "set clock" and dark.glance.chosen == 0
    shown = dark.glance.lines[0]
    assert wall(went_at_s - 90) <= shown <= wall(went_at_s + 30), (shown, wall(went_at_s))
    tap(dark, "left")  # an hour less: that has been already
    assert dark.glance.lines[0] == shown


def test_set_by_taps_the_day_goes_on_rightly(dark):
    tap(dark, "middle")
    for _ in range(3):
        tap(dark, "right")
    tap(dark, "middle")
    for _ in range(2):
        tap(dark, "right")
    tap(dark, "middle")
    for _ in range(12):
        if dark.glance.lines[0] == wall(dark.now_s):
            break
        tap(dark, "right")
    tap(dark, "middle")
    assert dark.glance.middle_label == "set" and dark.glance.chosen == 3
    tap(dark, "middle")
    assert dark.glance.screen == "message" and "set" in dark.glance.lines[0]
    dark.run_for(6)
    assert dark.glance.alarm == 0 and dark.glance.screen == "step"
    with Timer.open(dark.port) as link:
        assert link.info.clock_ok == 1
        report = link.state()
        assert abs(report.at_s - dark.now_s) <= 60
        past = report.past
    assert past.steps[0] == D.RUNNING and abs(past.started_at_s[0] - START) < 20
    records = list(J.read(collect(dark)[0]))
    assert [record.type for record in records if record.type == J.CLOCK] == [J.CLOCK]
    # A second cut: the time that was set is where the next setting begins, and the step is the same.
    dark.restart()
    dark.run_for(7)
    assert dark.glance.step_state == D.RUNNING and dark.glance.alarm == J.CLOCK_UNKNOWN
    tap(dark, "middle")
    assert wall(dark.now_s - 90) <= dark.glance.lines[0] <= wall(dark.now_s + 30)


def test_left_held_leaves_it_unset_and_so_does_time(dark):
    tap(dark, "middle")
    tap(dark, "left", 1200)
    assert dark.glance.screen == "step"
    tap(dark, "right")
    for _ in range(5):
        tap(dark, "right")
    tap(dark, "middle")
    assert dark.glance.screen == "set clock"
    dark.run_for(100)
    assert dark.glance.screen == "step"
    with Timer.open(dark.port) as link:
        assert link.info.clock_ok == 0


def test_middle_held_sets_it_at_once(dark):
    tap(dark, "middle")
    tap(dark, "right")
    tap(dark, "middle", 1200)
    assert dark.glance.screen == "message"
    with Timer.open(dark.port) as link:
        assert link.info.clock_ok == 1


def test_a_known_clock_can_be_set_back_and_alarms_still_sound(tmp_path):
    with VirtualTimer(tmp_path / "flash", start_at_s=START - 100) as board:
        board.run_for(10)
        send(board, PLAN)
        board.run_until(START + 6)
        assert board.glance.alarm == J.STEP_DUE
        for _ in range(6):
            tap(board, "right")
        tap(board, "middle")
        assert board.glance.screen == "set clock"
        tap(board, "left")
        for _ in range(4):
            tap(board, "middle")
        assert wall(board.now_s - 3600) in board.glance.lines[1]
        tones = len(board.tones)
        board.run_for(70)
        assert len(board.tones) > tones + 2
        assert board.glance.alarm == J.STEP_DUE


def test_without_a_plan_it_sends_to_the_desk(tmp_path):
    with VirtualTimer(tmp_path / "flash", start_at_s=START - 100, parts=("display",)) as board:
        board.run_for(10)
        assert board.glance.word == "SET CLOCK" and board.glance.line == "connect it to the desk"
        tap(board, "middle")
        assert board.glance.screen == "message" and "desk" in board.glance.lines[0]


def test_a_cook_without_clock_chip_and_desk_goes_on_with_his_day(tmp_path):
    """Power is cut in the first rest and comes back late: the scripted cook reads the wall, taps, and goes on."""
    with day(tmp_path / "flash", PLAN, seed=4, parts=("display",)) as board:
        board.run_for(20)
        with Timer.open(board.port) as link:
            link.set_clock(lambda: board.start_at_s + board.ticks_ms / 1000, 60)
        send(board, PLAN)
        while board.glance.step_id < 3 and board.now_s < START + 6 * 3600:
            board.run_for(60)
        at = PLAN.index_of(board.glance.step_id)
        board.power_cut()
        board.run_for(2700)
        board.restart()
        board.run_for(3 * 3600)
        records = list(J.read(collect(board)[0]))
        now_s = board.now_s
    clocks = [record for record in records if record.type == J.CLOCK]
    assert len(clocks) == 1 and clocks[0].body[1] == clocks[0].at_s
    after = [record for record in records[records.index(clocks[0]) :] if record.type == J.STEP]
    assert len(after) >= 2, "the day goes on"
    assert all(START + 2700 < record.at_s <= now_s for record in after)
    state = history.replay(PLAN, records)
    assert state.clock_ok and sum(step == D.DONE for step in state.steps) > at


def test_the_dates_are_the_calendars():
    """Against CPython's calendar, every day of the twenties and some beyond."""
    code = (
        "from clockset import date_text\n"
        "for day in range(0, 12000, 7): print(date_text(day * 86400 + 3600))\n"
        "for day in range(2190, 2560): print(date_text(day * 86400))\n"
    )
    told = on_device(code).stdout.splitlines()
    days = [*range(0, 12000, 7), *range(2190, 2560)]
    for number, text in zip(days, told, strict=True):
        then = EPOCH + timedelta(days=number)
        assert text == f"{then:%a} {then.day} {then:%b}"
