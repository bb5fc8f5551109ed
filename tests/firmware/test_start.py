"""Failures at start: whatever is missing, the timer comes up, works as far as it can, and says what is not there."""

from __future__ import annotations

import pytest
from firmware_support import collect, send, two_days
from tourier.device.client import Timer
from tourier.device.virtual.board import VirtualTimer
from tourier.device.virtual.ntc import code16

from shared_schedule import day as D
from shared_schedule import history
from shared_schedule import journal as J
from shared_schedule.units import NO_CDEG

PLAN = two_days()
START = PLAN.steps[0].start_at_s


def self_test(timer) -> tuple[bool, str]:
    with Timer.open(timer.port) as link:
        passed, lines = link.self_test()
        return passed, "\n".join(lines)


@pytest.fixture(scope="module")
def running(tmp_path_factory):
    """An image in its first step."""
    path = tmp_path_factory.mktemp("running") / "flash"
    with VirtualTimer(path, start_at_s=START - 100) as timer:
        timer.run_for(10)
        send(timer, PLAN)
        timer.run_until(START + 6)
        for _ in range(2):
            timer.press("middle")
            timer.run_for(6)
        assert timer.glance.step_state == D.RUNNING
        timer.run_for(60)
    return path.read_bytes()


def test_no_display(tmp_path, running):
    """Sound, light, buttons and link go on; the self-test names the part and its wires."""
    (tmp_path / "flash").write_bytes(running)
    with VirtualTimer(tmp_path / "flash", start_at_s=START + 120, parts=("air", "clock")) as timer:
        timer.run_for(7)
        assert timer.glance.step_state == D.RUNNING and not any(timer.screen())
        passed, text = self_test(timer)
        assert not passed and "display: no answer at 0x3C" in text
        timer.parts = ("display", "air", "clock")  # put on while it runs
        timer.restart()
        timer.run_for(7)
        assert any(timer.screen())


@pytest.mark.parametrize(("code", "word"), [(65500, "open"), (10, "short")])
def test_no_probe(tmp_path, running, code, word):
    (tmp_path / "flash").write_bytes(running)
    with VirtualTimer(tmp_path / "flash", start_at_s=START + 120) as timer:
        timer.probe_counts = code
        timer.run_for(7)
        assert timer.glance.step_state == D.RUNNING and timer.glance.probe_cdeg == NO_CDEG
        assert timer.glance.bench_cdeg != NO_CDEG
        passed, text = self_test(timer)
        assert not passed and f"probe thermometer: {word}" in text
        timer.probe_counts = code16(20.0)
        timer.run_for(12)
        assert abs(timer.glance.probe_cdeg - 2000) < 15


def test_no_clock_chip(tmp_path, running):
    (tmp_path / "flash").write_bytes(running)
    with VirtualTimer(tmp_path / "flash", start_at_s=START + 120, parts=("display",)) as timer:
        timer.run_for(7)
        assert timer.glance.alarm == J.CLOCK_UNKNOWN and timer.glance.word == "SET CLOCK"
        passed, text = self_test(timer)
        assert passed
        assert all(said in text for said in ("clock chip: not fitted", "clock: not set", "air sensor: not fitted"))


def test_a_clock_chip_whose_battery_was_empty(tmp_path, running):
    (tmp_path / "flash").write_bytes(running)
    with VirtualTimer(tmp_path / "flash", start_at_s=START + 120, clock_known=False) as timer:
        timer.run_for(7)
        assert timer.glance.alarm == J.CLOCK_UNKNOWN
        assert "clock chip: ok" in self_test(timer)[1]
        with Timer.open(timer.port) as link:
            link.set_clock(lambda: timer.start_at_s + timer.ticks_ms / 1000, 60)
        timer.restart()
        timer.run_for(7)
        assert timer.glance.alarm != J.CLOCK_UNKNOWN  # the chip keeps it now


def test_a_flash_that_cannot_be_written_from_the_first_moment(tmp_path, running):
    """Readable, but worn out: the step is shown, it says so within two minutes, no press is taken."""
    (tmp_path / "flash").write_bytes(running)
    with VirtualTimer(tmp_path / "flash", start_at_s=START + 120, flash_fail_at=0, fail_for_ever=True) as timer:
        timer.run_for(7)
        assert timer.glance.step_id == 1 and timer.glance.step_state == D.RUNNING
        timer.run_for(120)
        assert timer.glance.alarm == J.LOW_MEMORY and timer.glance.line == "flash failed: see desk"
        timer.press("middle")  # seen
        timer.run_for(3)
        timer.press("middle", 1200)  # done, deliberately
        timer.run_for(3)
        assert "memory failed" in " ".join(timer.glance.lines)
        timer.run_for(6)
        assert timer.glance.step_state == D.RUNNING
        assert history.replay(PLAN, J.read(collect(timer)[0])).steps[0] == D.RUNNING
        assert timer.boots == 1 and timer.watchdog_bites == 0
        assert any(text.startswith("failed flash") for _at, text in timer.marks)


def test_nothing_fitted_at_all(tmp_path):
    """A bare board: no display, no sensors, no probes. It waits for the desk, and the self-test has a line for each."""
    with VirtualTimer(tmp_path / "flash", start_at_s=START - 100, parts=()) as timer:
        timer.probe_counts = timer.bench_counts = 65500
        timer.run_for(7)
        assert timer.glance.screen in ("clock", "no plan")
        passed, text = self_test(timer)
        assert not passed
        lines = text.splitlines()
        assert len(lines) >= 9
        wanted = "display, bench thermometer, probe thermometer, air sensor, clock chip, clock, buttons, flash, memory"
        for part in wanted.split(", "):
            assert any(line.startswith(part + ":") for line in lines), part


def test_a_button_that_sticks_is_found(tmp_path):
    with VirtualTimer(tmp_path / "flash", start_at_s=START - 100) as timer:
        timer.run_for(3)
        timer.press("left", 60_000)
        timer.run_for(2)
        passed, text = self_test(timer)
        assert not passed and "buttons: down: 1 (stuck?)" in text
