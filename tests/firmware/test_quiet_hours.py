"""Quiet hours and snooze on the running timer: what sounds, what only shows, and that it sounds when they end."""

from __future__ import annotations

import pytest
from firmware_support import collect, send, two_days
from tourier.device.virtual.board import VirtualTimer

from shared_schedule import journal as J
from shared_schedule import plan as P

START = two_days().steps[0].start_at_s
LENGTH_S = 1800


def quiet_plan(saves: bool) -> P.Plan:
    """The first step falls into half an hour of quiet."""
    plan = two_days()
    plan.quiet = ((START - 600, START + LENGTH_S),)
    plan.steps[0].flags = plan.steps[0].flags | P.SAVES_BATCH if saves else plan.steps[0].flags & ~P.SAVES_BATCH
    return P.validate(plan)


def sounded(timer, for_s: float) -> list[int]:
    timer.tones.clear()
    timer.run_for(for_s)
    return [hz for _at, hz in timer.tones if hz]


@pytest.mark.parametrize("saves", [False, True])
def test_at_night_only_what_saves_the_batch_sounds(tmp_path, saves):
    with VirtualTimer(tmp_path / "flash", start_at_s=START - 100) as timer:
        timer.run_for(10)
        send(timer, quiet_plan(saves))
        timer.run_until(START + 2)
        heard = sounded(timer, 300)
        assert timer.glance.alarm == J.STEP_DUE and timer.glance.word == "MIX"  # the screen shows it all the same
        assert bool(heard) == saves
        timer.run_until(START + LENGTH_S + 1)
        assert sounded(timer, 90), "the night is over and it is still to be done"
        alarms = [record for record in J.read(collect(timer)[0]) if record.type == J.ALARM]
        assert len(alarms) == 1, "one alarm, told again, not raised again"


def test_later_is_five_minutes_of_silence_and_then_it_calls_again(tmp_path):
    with VirtualTimer(tmp_path / "flash", start_at_s=START - 100) as timer:
        timer.run_for(10)
        send(timer, two_days())
        timer.run_until(START + 2)
        assert sounded(timer, 30)
        timer.press("left")
        timer.run_for(1)
        assert "Again in 5 minutes." in timer.glance.lines
        timer.run_for(3)
        assert timer.glance.alarm == J.STEP_DUE and timer.glance.middle_label == "seen"
        assert not sounded(timer, 285)
        assert sounded(timer, 30)
        timer.press("middle")
        timer.run_for(2)
        assert timer.glance.alarm == 0
        assert not sounded(timer, 600)  # seen is for good
