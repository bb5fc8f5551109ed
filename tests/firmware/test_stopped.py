"""The day is never silently stopped: who may end it, what the board says then, and how it comes back by itself."""

from __future__ import annotations

import os
import select
import time

import pytest
from firmware_support import on_device, send, two_days
from tourier.device.client import Timer
from tourier.device.virtual.board import VirtualTimer

from shared_schedule import day as D

PLAN = two_days()
START = PLAN.steps[0].start_at_s

_KNOCK = """
from knock import Knock
knock = Knock()
now = (1 << 30) - 300  # the counter wraps in the middle
for data, after in CASES:
    now = (now + after) & ((1 << 30) - 1)
    print(knock.heard(data, now))
"""


@pytest.mark.parametrize(
    ("cases", "last"),
    [
        ([(b"\x03", 0)], "None"),
        ([(b"\x03\x03", 0)], "None"),
        ([(b"\x03", 0), (b"\x03", 200), (b"\x03", 200)], "b''"),
        ([(b"\x03", 0), (b"\x03", 600), (b"\x03", 600)], "None"),  # over more than a second
        ([(b"\x03x\x03\x03", 0)], "None"),
        ([(b"\r\x03\r\x01", 0)], "b'\\r\\x01'"),  # mpremote, in one portion and in several
        ([(b"\r\x03", 0), (b"\r", 10), (b"\x01", 10)], "b'\\r\\x01'"),
        ([(b"\r\x03\x03\r\x01", 0)], "b'\\r\\x01'"),
        ([(b"\r\x03", 0), (b"\r\x01", 1500)], "None"),
        ([(b"~frame\x03frame~", 0), (b"\r\x01", 100)], "None"),
        ([(b"\x01", 0)], "None"),
    ],
)
def test_who_knocks(cases, last):
    told = on_device(_KNOCK.replace("CASES", repr(cases)))
    lines = told.stdout.split("\n")[:-1]
    assert lines[-1] == last and set(lines[:-1]) <= {"None"}, told.stdout + told.stderr


@pytest.fixture
def running(tmp_path):
    with VirtualTimer(tmp_path / "flash", start_at_s=START - 100) as timer:
        timer.run_for(10)
        send(timer, PLAN)
        timer.run_until(START + 6)
        for _ in range(2):
            timer.press("middle")
            timer.run_for(6)
        assert timer.glance.step_state == D.RUNNING
        yield timer


def _type(timer, octets: bytes, wait_s: float = 3.0) -> bytes:
    line = os.open(timer.port, os.O_RDWR | os.O_NOCTTY)
    try:
        os.write(line, octets)
        said, end = b"", time.monotonic() + wait_s
        while time.monotonic() < end and not said.endswith((b">>> ", b"\r\n>")):
            if select.select([line], [], [], 0.1)[0]:
                said += os.read(line, 4096)
        return said
    finally:
        os.close(line)


def test_one_octet_3_ends_no_day(running):
    assert b">>>" not in _type(running, b"\x03", 1.0)
    assert b">>>" not in _type(running, b"abc\x03def\r\n\x03", 1.5)
    with Timer.open(running.port) as link:
        assert link.state().running == D.DAY_RUNNING


@pytest.mark.parametrize("knock", [b"\x03\x03\x03", b"\r\x03\r\x01"])
def test_a_stopped_timer_says_so(running, knock):
    before = running.screen()
    running.lights.clear()
    running.tones.clear()
    assert b">" in _type(running, knock)
    time.sleep(0.3)
    assert running.screen() != before
    assert running.lights[-1][1] == (80, 0, 60)
    assert running.tones[-1][1] == 494
    # Large: the word's ink fills the display from 8 to 120 in letters of 16 by 32.
    ink = running.screen()
    columns = {x for x in range(128) for page in range(5) if ink[page * 128 + x]}
    assert min(columns) < 12 and max(columns) > 115


_TICKS = """
import gc, sys, stopped
class Board:
    events = []
    def every(self, ms, call): pass
    def keep_time(self, runs): pass
    def light(self, *rgb): pass
    def tone(self, hz):
        if hz: self.events.append(("tone", hz))
    def reset(self): self.events.append("reset")
s = stopped.Stopped(Board())
s._draw = lambda word, lines: Board.events.append(word)
HOW
heap = [7]
class Gc:
    mem_alloc = staticmethod(lambda: heap[0])
stopped.gc = Gc
s._heap = 7
for tick in range(TICKS):
    if BUSY and tick % 1000 == 0:
        heap[0] += 16
    s.tick()
    if "reset" in Board.events:
        print("reset at", (tick + 1) // 2)
        break
print([e for e in Board.events if type(e) is str], len([e for e in Board.events if type(e) is tuple]))
"""


def _ticks(how: str, ticks: int, busy: int = 0) -> str:
    program = _TICKS.replace("HOW", how).replace("TICKS", str(ticks)).replace("BUSY", str(busy))
    done = on_device(program)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_a_prompt_left_alone_gives_the_board_back_and_says_so_first():
    said = _ticks("s.show()", 2000)
    assert "reset at 600" in said and "['STOPPED', 'STOPPED', 'reset']" in said
    assert int(said.split()[-1]) >= 10  # a sound each minute


def test_a_prompt_at_work_is_left_in_peace():
    assert "reset" not in _ticks("s.show()", 20_000, busy=1)


def test_a_program_that_does_not_come_is_missed():
    said = _ticks("s.begin()", 60)
    assert "['Tourier', 'STOPPED']" in said


def test_a_program_that_runs_is_not():
    assert "['Tourier']" in _ticks("s.begin(); s.end(); s.tick = lambda: None", 60)
