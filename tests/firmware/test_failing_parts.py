"""The Nth operation of a part fails, once or from then on, N rising: degraded and said so, never hung, never stale.

Method after SQLite's I/O error tests: the same short day again and again, the failure moving through it. Each test
asserts that failures fired.
"""

from __future__ import annotations

import os

import pytest
from firmware_support import collect, day, send, two_days
from tourier.device.client import Timer
from tourier.device.errors import LinkError
from tourier.device.virtual.board import VirtualTimer

from shared_schedule import history
from shared_schedule import journal as J
from shared_schedule import plan as P
from shared_schedule.plan_writer import encode_plan
from shared_schedule.units import NO_CDEG

FULL = os.environ.get("TOURIER_SWEEP") == "full"
PLAN = two_days()


def _failed(timer, part: str) -> int:
    """How many operations of a part the virtual board really made fail."""
    return sum(text.startswith(f"failed {part} ") for _at, text in timer.marks)


def _numbers(short: list[int], full: range) -> list[int]:
    return list(full) if FULL else short


@pytest.mark.parametrize("for_ever", [False, True])
def test_every_bus_transfer_fails(tmp_path, for_ever):
    """Display, air sensor and clock chip share the bus; the thermometers and the day do not care."""
    fired = trials = 0
    for n in _numbers([0, 3, 15, 40], range(400)):
        flash = tmp_path / f"flash{n}"
        with VirtualTimer(flash, start_at_s=PLAN.made_at_s, i2c_fail_at=n, fail_for_ever=for_ever) as timer:
            timer.run_for(30)
            send(timer, PLAN)
            timer.run_for(120)
            assert timer.boots == 1 and timer.watchdog_bites == 0, n
            with Timer.open(timer.port) as link:
                assert link.state().plan_id == P.plan_id(encode_plan(PLAN))
                telemetry = next(iter(link.telemetry()))
                assert abs(telemetry["probe_cdeg"] - 2100) < 30
            if not for_ever:
                assert any(timer.screen()), n  # the display came back
            failed = _failed(timer, "i2c")
            assert failed <= 1 or for_ever
            fired += failed > 0
            trials += 1
            if not failed:  # the run has no more transfers than that
                break
    print(f"{fired} of {trials} trials had a failing transfer")
    assert fired >= (60 if FULL else 4)


@pytest.mark.parametrize("for_ever", [False, True])
def test_every_conversion_fails(tmp_path, for_ever):
    """A converter that does not answer reads as "no reading" at once; a single failure passes."""
    for n in _numbers([0, 1, 2, 3, 7, 20], range(60)):
        with day(tmp_path / f"flash{n}", PLAN, adc_fail_at=n, fail_for_ever=for_ever) as timer:
            timer.cook = None
            timer.run_for(4)
            seen_missing = False
            for _ in range(40):
                timer.run_for(5)
                missing = NO_CDEG in (timer.glance.probe_cdeg, timer.glance.bench_cdeg)
                seen_missing = seen_missing or missing
            assert seen_missing and (_failed(timer, "adc") > 10) == for_ever and _failed(timer, "adc"), n
            assert timer.boots == 1
            if for_ever:
                assert timer.glance.probe_cdeg == timer.glance.bench_cdeg == NO_CDEG
            else:
                assert NO_CDEG not in (timer.glance.probe_cdeg, timer.glance.bench_cdeg)


def test_every_flash_operation_fails_once(tmp_path):
    """An I/O error of the flash: the timer goes on, what it acknowledged is there, and what it refused it says."""
    fired = said = 0
    for n in _numbers([0, 5, 14, 26, 30, 34, 38, 44, 60, 95], range(140)):
        flash = tmp_path / f"flash{n}"
        with VirtualTimer(flash, start_at_s=PLAN.made_at_s, flash_fail_at=n) as timer:
            timer.run_for(10)
            try:
                send(timer, PLAN)
            except LinkError:
                said += 1
                send(timer, PLAN)  # repeating the command completes it
            timer.run_until(PLAN.steps[0].start_at_s + 30)
            for _ in range(3):
                timer.press("middle")
                timer.run_for(15)
                if timer.glance.screen == "step" and timer.glance.step_state == 1:
                    break
            state = timer.glance.step_state
            fired += _failed(timer, "flash")
            journal = collect(timer)[0]
            assert timer.watchdog_bites == 0
        assert state == 1, (n, timer.glance)
        assert history.replay(PLAN, J.read(journal)).steps[0] == 1, n
    assert fired >= 9


def test_a_flash_that_dies_is_said_and_never_hangs(tmp_path):
    """From some operation on every program and erase fails: no press is taken that could not be kept."""
    fired = 0
    for n in _numbers([70, 90, 110], range(60, 140, 2)):
        with VirtualTimer(tmp_path / f"f{n}", start_at_s=PLAN.made_at_s, flash_fail_at=n, fail_for_ever=True) as timer:
            timer.run_for(10)
            try:
                send(timer, PLAN)
            except LinkError:
                pass
            timer.run_until(PLAN.steps[0].start_at_s + 30)
            said = False
            states = set()
            for _ in range(8):
                timer.press("middle")
                timer.run_for(2)
                words = " ".join([timer.glance.line, *timer.glance.lines])
                said = said or "memory failed" in words or "flash failed" in words
                timer.run_for(40)
                states.add(timer.glance.step_state)
                assert abs(timer.glance.probe_cdeg - 2100) < 30, n
            failed = _failed(timer, "flash")
            assert timer.boots == 1 and timer.watchdog_bites == 0, n
            if failed > 8 and timer.glance.word != "NO PLAN":
                assert said, (n, timer.glance)
            if failed:
                # What the screen says is what came to flash before it died.
                journal = collect(timer)[0]
                if timer.glance.word != "NO PLAN":
                    assert history.replay(PLAN, J.read(journal)).steps[0] == timer.glance.step_state, n
            fired += failed > 0
    assert fired >= (30 if FULL else 3)


FAULTS = [("open", 65500), ("short", 10), ("out of range", 1000)]


def test_a_probe_fault_shows_within_five_seconds_and_is_told(tmp_path):
    with day(tmp_path / "flash", PLAN) as timer:
        timer.run_for(20)
        send(timer, PLAN)
        end = PLAN.ready_at_s
        while not (timer.glance.word in ("ROLL", "LOCK IN") and timer.glance.step_state == 1) and timer.now_s < end:
            timer.run_for(60)
        timer.cook = None
        for name, code in FAULTS:
            assert timer.glance.probe_cdeg != NO_CDEG
            timer.probe_counts = code
            timer.run_for(5.1)
            assert timer.glance.probe_cdeg == NO_CDEG, name
            assert timer.glance.word == "NO READING"
            timer.run_for(15)
            assert timer.glance.alarm == J.SENSOR_FAULT, name
            timer.probe_counts = None
            timer.run_for(11)
            assert timer.glance.probe_cdeg != NO_CDEG  # two good readings
        journal = collect(timer)[0]
        faults = [record.body for record in J.read(journal) if record.type == J.FAULT and record.body[0] == 1]
        assert [fault for _channel, fault in faults if fault] == [1, 2, 3] and faults[-1][1] == 0


def test_a_converter_that_stands_still_is_found(tmp_path):
    """Readings equal to the last bit are no measurement: a real converter has noise."""
    with VirtualTimer(tmp_path / "flash", start_at_s=PLAN.made_at_s) as timer:
        timer.run_for(30)
        assert timer.glance.probe_cdeg != NO_CDEG
        timer.converter_still = True
        timer.run_for(5.1)
        assert timer.glance.probe_cdeg == timer.glance.bench_cdeg == NO_CDEG
        assert timer.glance.fault & 15 == 4
        timer.converter_still = False
        timer.run_for(11)
        assert timer.glance.probe_cdeg != NO_CDEG


def test_a_needle_pulled_out_of_the_dough_is_found(tmp_path):
    """Pulled out, it runs to the room's 22 degrees within seconds: no dough does."""
    with day(tmp_path / "flash", PLAN) as timer:
        timer.run_for(20)
        send(timer, PLAN)
        while timer.glance.step_id != 8 and timer.now_s < PLAN.ready_at_s:  # the first rest, in the fridge
            timer.run_for(60)
        timer.run_for(2400)  # cold enough: within 5 K of the room a needle of 25 s runs no faster than dough may
        assert timer.glance.probe_cdeg < 1650
        timer.cook = None
        timer.kitchen.probe_out()
        timer.run_for(5.1)
        assert timer.glance.probe_cdeg == NO_CDEG
        assert timer.glance.fault & 15 == 5
        timer.run_for(240)
        assert timer.glance.probe_cdeg == NO_CDEG  # it hangs in the room
        timer.kitchen.probe_in()
        timer.run_for(120)
        assert NO_CDEG < timer.glance.probe_cdeg < 1800


def test_without_display_air_and_clock_the_day_still_runs(tmp_path):
    with VirtualTimer(tmp_path / "flash", start_at_s=PLAN.made_at_s, parts=()) as timer:
        timer.run_for(20)
        with Timer.open(timer.port) as link:
            assert link.info.clock_ok == 0
            passed, lines = link.self_test()
            assert not passed and any("display: no answer" in line for line in lines)
            link.set_clock(lambda: float(timer.now_s), 60)
        send(timer, PLAN)
        timer.run_until(PLAN.steps[0].start_at_s + 10)
        for _ in range(2):  # seen, start
            timer.press("middle")
            timer.run_for(10)
        with Timer.open(timer.port) as link:
            assert link.state().past.steps[0] == 1
