"""What only a real board has, on a recording `machine`: a bus left busy, a watchdog put to sleep, a sleeping host."""

from __future__ import annotations

import subprocess

import pytest
from tourier.device.files import firmware_dir, shared_dir
from tourier.device.virtual.board import find_micropython

MACHINE = """
import sys, os, select
events = []
held = HELD  # clocks the part on the bus still wants
class Pin:
    IN, OUT, OPEN_DRAIN, PULL_UP = 0, 1, 2, 1
    def __init__(self, number, mode=-1, pull=-1, value=None):
        self.number = number
        events.append(("pin", number, mode, pull))
    def value(self, level=None):
        global held
        if level is None:
            return 0 if self.number == 4 and held > 0 else 1
        if self.number == 5 and level == 1:
            held -= 1
            events.append(("clock",))
class ADC:
    def __init__(self, pin): pass
class I2C:
    def __init__(self, id, sda, scl, freq, timeout):
        events.append(("i2c", freq, timeout))
class PWM:
    def __init__(self, pin, invert=False): pass
    def freq(self, hz): pass
    def duty_u16(self, duty): pass
class Mem:
    # One register and its alias, which clears the bits that are written as ones.
    stuck = False
    value = 0x40000000 | 0x123
    def __getitem__(self, at):
        assert at == CONTROL, hex(at)
        return self.value
    def __setitem__(self, at, value):
        events.append(("mem", at, value))
        assert at == CONTROL + 0x3000, hex(at)
        if not self.stuck:
            self.value &= ~value
class WDT:
    def __init__(self, timeout):
        assert 1 <= timeout <= 8388
        self.fed = 0
    def feed(self): self.fed += 1
class Timer:
    PERIODIC = 1
    def __init__(self, id, period, mode, callback):
        events.append(("timer", period))
class machine: pass
machine = machine()
machine.Pin, machine.ADC, machine.I2C, machine.PWM = Pin, ADC, I2C, PWM
machine.WDT, machine.Timer = WDT, Timer
machine.mem32 = Mem()
sys.modules["machine"] = machine
class Uname:
    machine = "MACHINE_NAME"
class fake_os: pass
fake_os = fake_os()
fake_os.uname = lambda: Uname
fake_os.second = None
def dupterm(stream):
    before, fake_os.second = fake_os.second, stream
    return before
fake_os.dupterm = dupterm
sys.modules["os"] = fake_os
from board_pico import Board
board = Board()
"""
RP2040 = "Raspberry Pi Pico with RP2040", "0x40058000"
RP2350 = "Raspberry Pi Pico 2 W with RP2350", "0x400D8000"


def run(code: str, held: int = 0, chip=RP2040, said: bytes | None = None) -> str:
    program = MACHINE.replace("HELD", str(held)).replace("MACHINE_NAME", chip[0]).replace("CONTROL", chip[1]) + code
    done = subprocess.run(
        [find_micropython(), "-c", program], capture_output=True, input=said or b"",
        env={"MICROPYPATH": f"{firmware_dir()}:{shared_dir()}"},
    )  # fmt: skip
    told = done.stdout.decode() + done.stderr.decode()
    assert done.returncode == 0, told
    return told.strip()


@pytest.mark.parametrize(("held", "clocks"), [(0, 0), (1, 1), (7, 7), (99, 9)])
def test_a_bus_left_busy_by_a_reset_is_clocked_free(held, clocks):
    """Nine clocks free any part (I2C specification UM10204, 3.1.16, from memory); a free bus gets none."""
    told = run("print(sum(1 for e in events if e[0] == 'clock'), [e[0] for e in events].index('i2c') > 0)", held)
    assert told == f"{clocks} True"


def test_a_dead_bus_costs_a_turn_10_ms_at_most():
    freq, timeout = eval(run("print([e[1:] for e in events if e[0] == 'i2c'][0])"))
    page_us = 129 * 9 * 1e6 / freq
    assert page_us * 2 < timeout <= 10_000


@pytest.mark.parametrize("chip", [RP2040, RP2350])
def test_the_watchdog_sleeps_at_the_prompt(chip):
    """The enable bit is bit 30 of the control register on both chips (RP2040 data sheet 4.7.6, from memory)."""
    told = run("board.watchdog_start(8300)\nboard.watchdog_hold()\nprint(machine.mem32[CONTROL], events[-1][0])"
               .replace("CONTROL", chip[1]), chip=chip)  # fmt: skip
    assert told == f"{0x123} mem"


def test_a_watchdog_that_does_not_sleep_is_fed():
    told = run("Mem.stuck = True\nboard.watchdog_start(8300)\nboard.watchdog_hold()\nprint(events[-1])")
    assert told == "('timer', 2000)"


def test_without_a_watchdog_nothing_is_touched():
    assert run("n = len(events)\nboard.watchdog_hold()\nboard.watchdog_feed()\nprint(len(events) - n)") == "0"


def test_a_host_that_does_not_read_costs_nothing():
    code = """
class Busy:
    def poll(self, ms): return []
board._out_poll = Busy()
class Out:
    def write(self, data): raise AssertionError("would wait half a second")
board._stdout = Out()
print(board.link_write(b"x" * 100))
"""
    assert run(code) == "0"


def test_reading_the_link_takes_what_came_and_leaves_no_garbage():
    """A turn takes 512 octets at most; a poll() and a read(1) an octet left 160 octets of garbage each here."""
    said = bytes(range(256)) * 6
    code = """
import gc, binascii
got = [board.link_read(9999), board.link_read(100)]
gc.collect()
gc.disable()
before = gc.mem_alloc()
third = board.link_read(512)
print(gc.mem_alloc() - before)
print([len(part) for part in got], binascii.hexlify(got[0] + got[1] + third).decode())
"""
    garbage, lengths, octets = run(code, said=said).replace("[512, 64]", "512:64").split()
    assert int(garbage) < 3 * 512
    assert lengths == "512:64" and bytes.fromhex(octets) == said[:1088]


# A console as MicroPython's rp2 port has it: a read waits for every octet, and asks the second terminal for those the
# line has not. "." = the line is empty just then.
CONSOLE = """
class Console:
    def __init__(self, line): self.line = list(line)
    def ipoll(self, ms):
        return iter((1,) if self.line else ())
    def readinto(self, into):
        for i in range(len(into)):
            if self.line and self.line[0] != ord("."):
                into[i] = self.line.pop(0)
                continue
            if self.line:
                self.line.pop(0)
            one = bytearray(1)
            assert fake_os.second is not None, "hangs for ever"
            assert fake_os.second.readinto(one) == 1, "a second terminal that ends is put away"
            into[i] = one[0]
        return len(into)
board._poll = board._stdin = Console(LINE)
print(board.link_read(512), fake_os.second)
"""


@pytest.mark.parametrize(
    ("line", "read"),
    [
        (b"x", b"x"),  # one stray letter
        (b"abc" * 30, b"abc" * 30),  # more than a block
        (b"ab.cd", b"abcd"),  # came in the middle of the reading
        (b"\r\x03\r\x01", b"\r\x03\r\x01"),
        (b"\x03\x03", b"\x03\x03"),
        (b"ab.\r\x03\r\x01", b"ab\r\r\x03\r\x01"[:3] + b"\x03\r\x01"),
        (b"~ab~.\x03.", b"~ab~\x03"),
    ],
)
def test_a_read_of_a_block_waits_for_nothing(line, read):
    told = run(CONSOLE.replace("LINE", repr(line)))
    assert told == f"{read!r} None"


def test_what_was_read_is_read_again_by_the_prompt():
    code = """
board.again(b"\\r\\x01")
one = bytearray(1)
got = []
while fake_os.second is not None and fake_os.second.readinto(one):
    got.append(one[0])
print(got, fake_os.second)
"""
    assert run(code) == "[13, 1] None"


def test_nothing_to_read_is_nothing():
    code = """
class Silent:
    def ipoll(self, ms): return iter(())
board._poll = Silent()
print(board.link_read(512))
"""
    assert run(code) == "b''"


def test_the_chip_keeps_the_time_over_a_reset_but_not_over_a_cut():
    """rp2's RTC starts in 2021 at power-up, and a reset leaves it alone (MicroPython ports/rp2/main.c)."""
    code = """
import time as real, clock, ds3231
class Rtc:
    now = 1609459201  # 2021-01-01 00:00:01
    def datetime(self, fields):
        year, month, day, _, hour, minute, second, _ = fields
        Rtc.now = real.mktime((year, month, day, hour, minute, second, 0, 0))
machine.RTC = Rtc
class Registers(dict):
    def __getitem__(self, at): return self.get(at, 0)
machine.mem32 = Registers()
class Time:
    gmtime = real.gmtime
    time = staticmethod(lambda: Rtc.now)
import board_pico
board_pico.time = Time
first = clock.Clock(0, board.own_clock())
first.set(218000000)
Rtc.now += 50
print(clock.Clock(0, board.own_clock()).ok, clock.Clock(0, board.own_clock()).now_s)
board.keep_time(True)
Rtc.now = 1609459201  # set back: by the watchdog
print(clock.Clock(0, board.own_clock()).now_s)
board.keep_time(False)
Rtc.now = 1609459201  # by machine.reset()
print(clock.Clock(0, board.own_clock()).now_s)
Rtc.now = 1609459201  # by loss of power
machine.mem32 = Registers()
print(clock.Clock(0, board.own_clock()).ok)
"""
    before = run(code.replace("first.set(218000000)", "print(first.ok)").replace("\nprint(clock", "\n#"))
    assert before == "False"
    assert run(code).split() == ["True", "218000050", "218000059", "218000060", "False"]
