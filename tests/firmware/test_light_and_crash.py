"""The light's patterns go with word and sound; a crash is kept, told and does not become a loop of restarts."""

from __future__ import annotations

import time

import pytest
from firmware_support import collect, day, send, two_days
from limits import wait_for
from tourier.device import install as I
from tourier.device.client import Timer
from tourier.device.prompt import at_prompt
from tourier.device.virtual.board import VirtualTimer

from shared_schedule import journal as J

PLAN = two_days()
START = PLAN.steps[0].start_at_s
BLACK = (0, 0, 0)


def pattern(timer, for_s=6.0):
    """(colours seen, changes a second) of the light over the next seconds."""
    timer.lights.clear()
    timer.run_for(for_s)
    return {colour for _at, colour in timer.lights}, len(timer.lights) / for_s


def test_each_occasion_has_its_own_rhythm_as_well_as_its_colour(tmp_path):
    with day(tmp_path / "flash", PLAN) as timer:
        timer.run_for(20)
        send(timer, PLAN)
        timer.cook, cook = None, timer.cook
        timer.run_until(START + 2)
        calls, calls_rate = pattern(timer)
        assert timer.glance.alarm == J.STEP_DUE and timer.glance.word == "MIX"
        timer.press("middle")  # seen: the light stands still
        timer.run_for(2)
        assert pattern(timer)[1] == 0 and timer.lights.maxlen
        timer.cook = cook
        while not (timer.glance.word == "ROLL" and timer.glance.step_state == 1 and not timer.glance.alarm):
            timer.run_for(20)
        timer.cook = None
        timer.kitchen.probe_fault("open")
        timer.run_for(20)
        fault, fault_rate = pattern(timer)
        assert timer.glance.alarm == J.SENSOR_FAULT and timer.glance.word == "NO READING"
        timer.kitchen.probe_fault(None)
        timer.run_for(12)
        from tourier.device.virtual.ntc import code16

        timer.probe_counts = code16(19.5)
        timer.run_for(60)
        left, left_rate = pattern(timer)
        assert timer.glance.alarm == J.WINDOW_LEFT_WARM and timer.glance.word == "TOO WARM"
    # Differences that need no eye for colour: changes a second are 2, 4/3 and 4, and never over 3 flashes a second.
    assert calls_rate == pytest.approx(2, abs=0.4) and left_rate == pytest.approx(4, abs=0.5)
    assert fault_rate == pytest.approx(4 / 3, abs=0.4)
    assert all(BLACK in seen and len(seen) == 2 for seen in (calls, fault, left))
    assert len({frozenset(seen) for seen in (calls, fault, left)}) == 3


@pytest.fixture(scope="module")
def installed(tmp_path_factory):
    path = tmp_path_factory.mktemp("crash") / "flash"
    with VirtualTimer(path) as timer:
        timer.run_for(2)
        I.install(timer.port)
    return path.read_bytes()


def test_a_crash_is_kept_and_told_and_a_second_one_leaves_the_prompt(installed, tmp_path):
    flash = tmp_path / "flash"
    flash.write_bytes(installed)
    with VirtualTimer(flash, start_at_s=START - 100, run_from_flash=True) as timer:
        timer.run_for(5)
        send(timer, PLAN)
        with at_prompt(timer.port, reset=False) as prompt:
            prompt.write("/lib/lines.py", b"def day(ui, g, now_s):\n    raise RuntimeError('butter everywhere')\n")
            prompt.remove("/lib/lines.mpy")
        boots = timer.boots
        timer.restart()
        wait_for(lambda: timer.boots == boots + 2 and any(timer.screen()))  # crashes, restarts, crashes again
        time.sleep(1.0)
        assert timer.boots == boots + 2  # not a loop
        assert any(timer.screen())  # TIMER STOPPED
        assert timer.lights[-1][1] != BLACK
        with at_prompt(timer.port, reset=False) as prompt:
            assert b"butter everywhere" in prompt.read("/crash")
            prompt.remove("/lib/lines.py")
        I.install(timer.port)
        timer.restart()
        timer.run_for(6)
        assert timer.glance.word != "NO PLAN"
        with Timer.open(timer.port) as link:
            assert b"butter everywhere" in link.collect(4)
        records = list(J.read(collect(timer)[0]))
        assert sum(record.type == J.BOOT for record in records) >= 2
        assert any(record.type == J.CRASH for record in records)


def test_alone_for_half_an_hour_it_flashes_with_each_sound_only(tmp_path):
    with VirtualTimer(tmp_path / "flash", start_at_s=START - 60) as timer:
        timer.run_for(5)
        send(timer, PLAN)
        timer.run_until(START + 1700)
        assert pattern(timer, 60)[1] == pytest.approx(2, abs=0.2)
        timer.run_until(START + 2400)
        assert pattern(timer, 60)[1] == pytest.approx(2 * 10 / 60, abs=0.15)
        assert timer.glance.alarm == J.STEP_DUE and timer.lights[-1][1] != BLACK
