"""The sampling path allocates nothing: the firmware's own Sampler, window, rate and log, with the heap locked."""

from __future__ import annotations

from firmware_support import on_device

PROGRAM = """
import micropython
from sampler import Channel, Sampler, OPEN
from shared_schedule import thermistor
from shared_schedule.samples import SampleWriter
from shared_schedule.units import NO_CDEG
from shared_schedule.window import Rate, Window

class Board:
    # As a converter does it: a list of 64 is filled with whole numbers; `open_` = the needle's plug is out.
    ADC_READS = 64
    turn = 0
    open_ = False
    def read_codes(self, channel, into):
        self.turn += 1
        if self.open_ and channel == 1:
            for i in range(len(into)):
                into[i] = 65500 + (i & 15)
            return
        for i in range(len(into)):
            into[i] = (38000 + self.turn * 3 + (i * 37 + self.turn) % 100) & ~15

board = Board()
curve = thermistor.curve("103at")
sampler = Sampler(board, (Channel(0, curve, 18000, 5), Channel(1, curve, 18000, -12)))
window, rate, writer = Window(900, 1600), Rate(), SampleWriter(5)
def play():
    at_s = 200000000
    good = missing = blocks = 0
    for turn in range(600):
        board.open_ = 200 <= turn < 260
        micropython.heap_lock()
        sampler.turn(2150)
        probe_cdeg = sampler.probe.cdeg
        window.judge(probe_cdeg)
        rate.add(at_s, probe_cdeg)
        fits = writer.add(at_s, sampler.readings)
        micropython.heap_unlock()
        if not fits:
            writer.block()
            writer.add(at_s, sampler.readings)
            blocks += 1
        if probe_cdeg == NO_CDEG:
            missing += 1
            assert 200 <= turn <= 260, turn
        else:
            good += 1
        at_s += 5
    return good, missing, blocks
print(*play())
"""


def test_six_hundred_turns_with_the_heap_locked():
    done = on_device(PROGRAM)
    assert done.returncode == 0, done.stdout + done.stderr
    good, missing, blocks = map(int, done.stdout.split())
    # Unplugged for 60 turns, and one more until it is trusted again.
    assert (good, missing) == (539, 61) and blocks >= 4


def test_the_lock_would_notice_one_float():
    """The same loop with the curve's own formula, which works in floats, is stopped by the lock."""
    call = "sampler.turn(2150)"
    done = on_device(PROGRAM.replace(call, call + "; thermistor.read(30000, 65535, 18000, curve)"))
    assert done.returncode != 0 and "MemoryError" in done.stdout + done.stderr
