"""Presses and commands on the running firmware: latency, questions, undo, bend test, replacing a plan, the clock."""

from __future__ import annotations

import pytest
from firmware_support import begin_without_clock_chip, collect, day, send, tap, two_days
from tourier.device.client import Timer
from tourier.device.errors import Refused
from tourier.device.virtual.board import VirtualTimer

from shared_schedule import day as D
from shared_schedule import history
from shared_schedule import journal as J
from shared_schedule import messages as m
from shared_schedule import plan as P
from shared_schedule.plan_writer import encode_plan
from shared_schedule.window import shift_window

PLAN = two_days()
START = PLAN.steps[0].start_at_s


@pytest.fixture
def timer(tmp_path):
    with VirtualTimer(tmp_path / "flash", start_at_s=START - 100) as board:
        board.run_for(10)
        send(board, PLAN)
        board.run_until(START + 6)
        yield board


@pytest.mark.parametrize("button", ["left", "middle", "right"])
def test_button_to_screen_within_100_ms(timer, button):
    """From letting go to the new picture, in the board's own time; pressing takes as long as the finger likes."""
    before = timer.screen()
    timer.press(button, 80)
    timer.run_for(0.080)
    let_go = timer.ticks_ms
    while timer.screen() == before and timer.ticks_ms < let_go + 500:
        timer.run_for(0.005)
    assert timer.ticks_ms - let_go <= 100


def test_salt_may_not_be_forgotten(timer):
    tap(timer, "middle")  # seen
    tap(timer, "middle")  # start
    assert timer.glance.step_state == D.RUNNING
    timer.run_for(300)
    tap(timer, "middle")  # done: the question comes first
    assert timer.glance.screen == "question" and "salt" in " ".join(timer.glance.lines)
    tap(timer, "left")  # not yet
    assert timer.glance.screen == "step" and timer.glance.step_state == D.RUNNING
    tap(timer, "middle")
    tap(timer, "middle")  # yes
    assert timer.glance.step_id == 2
    state = history.replay(PLAN, J.read(collect(timer)[0]))
    assert state.steps[0] == D.DONE and state.ticked[0] == 1


def test_undo_within_ten_seconds_by_double_press(timer):
    tap(timer, "middle")
    tap(timer, "middle")
    assert timer.glance.step_state == D.RUNNING
    timer.press("right", 80)
    timer.press("right", 80, after_ms=180)
    timer.run_for(1)
    assert timer.glance.step_state == D.WAITING
    tap(timer, "middle")
    timer.run_for(1)
    if timer.glance.step_state == D.WAITING:  # it was due, so the alarm came again
        tap(timer, "middle")
    timer.run_for(15)
    timer.press("right", 80)
    timer.press("right", 80, after_ms=180)
    timer.run_for(1)
    assert timer.glance.screen == "message"  # too late for that
    journal = list(J.read(collect(timer)[0]))
    assert any(record.type == J.STEP and record.body[3] == D.BY_UNDO for record in journal)


def test_bend_test_moves_the_window_by_the_shared_rule(tmp_path):
    with day(tmp_path / "flash", PLAN) as board:
        board.run_for(20)
        send(board, PLAN)
        while board.glance.word != "ROLL" or board.glance.step_state != 1 or board.glance.alarm:
            board.run_for(10)
        board.cook = None
        tap(board, "right")
        tap(board, "right")
        tap(board, "middle")
        assert board.glance.screen == "bend" and board.glance.lines[board.glance.chosen] == "It bent clean"
        tap(board, "right")  # greasy
        tap(board, "middle")
        assert board.glance.screen == "message"
        journal = list(J.read(collect(board)[0]))
        bend = [record.body for record in journal if record.type == J.BEND]
        assert len(bend) == 1 and bend[0][1] == 3
        board.run_for(10)
        low, high = shift_window(PLAN.butter_low_cdeg, PLAN.butter_high_cdeg, [(bend[0][0], 3)])
        assert (board.glance.low_cdeg, board.glance.high_cdeg) == (low, high) != (600, 1800)


def test_plan_replaced_in_the_middle_of_the_day(timer):
    tap(timer, "middle")
    tap(timer, "middle")
    timer.run_for(60)
    later = two_days()
    for step in later.steps[6:]:
        step.start_at_s += 1800
    later.ready_at_s += 1800
    send(timer, P.validate(later))
    assert timer.glance.step_id == 1 and timer.glance.step_state == D.RUNNING
    timer.power_cut()
    timer.restart()
    timer.run_for(6)
    assert timer.glance.step_state == D.RUNNING
    journal, _samples, data = collect(timer)
    assert data == encode_plan(later)
    assert history.replay(later, J.read(journal)).steps[0] == D.RUNNING


def test_another_batch_is_refused_while_a_day_runs(timer):
    tap(timer, "middle")
    tap(timer, "middle")
    other = two_days()
    other.name = "something else"
    with pytest.raises(Refused, match="a day is running"):
        send(timer, P.validate(other))


def test_clock_unknown_is_said_and_asked_for(tmp_path):
    """No clock chip, power lost in a rest: the timer does not count on, it asks; set, it goes on rightly."""
    with VirtualTimer(tmp_path / "flash", start_at_s=START - 100, parts=("display",)) as board:
        board.run_for(10)
        assert board.glance.word == "SET CLOCK"
        begin_without_clock_chip(board, PLAN)
        board.run_for(120)
        board.restart()
        board.run_for(6)
        assert board.glance.alarm == J.CLOCK_UNKNOWN and board.glance.word == "SET CLOCK"
        assert board.glance.step_id == 1
        with Timer.open(board.port) as link:
            assert link.info.clock_ok == 0
            link.set_clock(lambda: board.start_at_s + board.ticks_ms / 1000, 60)
            past = link.state().past
        assert past.steps[0] == D.RUNNING and abs(past.started_at_s[0] - START) < 20
        board.run_for(6)
        assert board.glance.alarm == 0


def test_commands_over_the_link_are_journaled_before_they_are_answered(timer):
    with Timer.open(timer.port) as link:
        link.command(m.ACTION_STEP_START, 1)
        link.note("pâton à part\x1b[31m")
    timer.power_cut()
    timer.restart()
    timer.run_for(6)
    records = list(J.read(collect(timer)[0]))
    assert [r.body[3] for r in records if r.type == J.STEP] == [D.BY_LINK]
    notes = [r.body[0] for r in records if r.type == J.NOTE]
    assert len(notes) == 1 and "\x1b" not in notes[0]


def test_ice_point_is_kept_over_a_restart(tmp_path):
    with VirtualTimer(tmp_path / "flash", start_at_s=START - 100) as board:
        from tourier.device import upkeep
        from tourier.device.virtual.ntc import code16

        board.probe_counts = code16(0.8)
        board.run_for(60)
        with Timer.open(board.port) as link:
            assert upkeep.ice_point(link, "probe") == pytest.approx(-80, abs=8)
        board.run_for(6)
        assert abs(board.glance.probe_cdeg) <= 8
        board.restart()
        board.run_for(12)
        assert abs(board.glance.probe_cdeg) <= 8
        board.probe_counts = code16(12.0)
        board.run_for(60)
        with Timer.open(board.port) as link, pytest.raises(Refused, match="within 3"):
            upkeep.ice_point(link, "probe")


def test_watchdog_restarts_a_hung_loop(tmp_path):
    """The loop stops feeding (it asks for a sleep longer than the watchdog bears): the board restarts and says why."""
    with VirtualTimer(tmp_path / "flash", start_at_s=START - 100) as board:
        board.run_for(10)
        send(board, PLAN)
        board.run_until(START + 6)
        tap(board, "middle")
        board._fed_ms = board.ticks_ms - 20_000  # as if nothing had been fed for twenty seconds
        board.run_for(10)
        assert board.watchdog_bites == 1 and board.boots == 2
        boot = [r for r in J.read(collect(board)[0]) if r.type == J.BOOT]
        assert boot[-1].body[0] == 3
