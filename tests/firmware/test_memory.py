"""Memory on the 64-bit interpreter with a 384 KB heap, about what a Pico has: no growth, no garbage."""

from __future__ import annotations

import os

import pytest
from firmware_support import collect, day, on_device, send, two_days
from tourier.device.client import Timer
from tourier.device.files import build
from tourier.device.virtual.board import VirtualTimer, find_micropython

from shared_schedule.plan_writer import encode_plan

# Octets of .mpy, all device files together, and the largest single one: a Pico's file system has 1408 KB, and what is
# loaded lies on its heap of 241 KB.
MPY_TOTAL_MAX = 130_000
MPY_LARGEST_MAX = 12_500


def run_device(code: str, heap: str = "384k") -> str:
    done = on_device(code, heap)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_a_sample_allocates_nothing_but_its_two_floats():
    """The heap is locked while both channels are read and logged; only the conversion itself makes floats.

    On this interpreter floats are objects of one block, as on the RP2 chips. So the reading of codes, the mean, the
    window, the rate and the log are locked; the one call in between that is not is thermistor.read.
    """
    code = """
import micropython
from array import array
from sampler import mean_of_middle
from shared_schedule.samples import SampleWriter
from shared_schedule.window import Window, Rate
codes = [0] * 64
writer = SampleWriter(5)
window = Window(900, 1600)
rate = Rate()
readings = [0, 0]
mean = fits = 0
for i in range(64):
    codes[i] = 30000 + (i * 37) % 100
done = 0
at_s = 200000000
while done < 200:
    micropython.heap_lock()
    codes.sort()
    mean = mean_of_middle(codes)
    window.judge(1000 + done)
    rate.add(at_s, 1000 + done)
    readings[0] = 2000 + done % 5
    readings[1] = 1000 + done % 7
    fits = writer.add(at_s, readings)
    micropython.heap_unlock()
    if not fits:
        writer.block()
    at_s += 5
    done += 1
print(done, mean)
"""
    assert run_device(code).split()[0] == "200"


def test_heap_lock_does_catch_an_allocation():
    """The test above can fail: the same lock stops a list."""
    code = "import micropython\nmicropython.heap_lock()\ntry:\n x=[0]*50\n r='no'\nexcept MemoryError:\n r='caught'\n"
    assert run_device(code + "micropython.heap_unlock()\nprint(r)").strip() == "caught"


def test_budget_of_compiled_files():
    files = build()
    sizes = sorted(((len(file.data), file.path) for file in files), reverse=True)
    total = sum(size for size, _path in sizes)
    print(f"{total} octets in {len(files)} files; largest: " + ", ".join(f"{path} {size}" for size, path in sizes[:5]))
    assert total <= MPY_TOTAL_MAX
    assert sizes[0][0] <= MPY_LARGEST_MAX


@pytest.mark.slow
def test_no_growth_from_first_to_second_day_with_a_large_plan(tmp_path, record_property):
    """48 steps or more, two pâtons, a full log transfer at the end of each day."""
    plan = two_days(2, (4, 3, 3, 3, 3, 3, 3, 3))
    assert len(plan.steps) >= 48
    free = []
    with day(tmp_path / "flash", plan, seed=2) as timer:
        timer.run_for(20)
        send(timer, plan)
        start = plan.steps[0].start_at_s
        for at_s in (start + 8 * 3600, start + 22 * 3600, start + 34 * 3600):
            timer.run_until(at_s)
            journal, samples, data = collect(timer)
            assert data == encode_plan(plan) and journal and samples
            timer.run_for(310)  # past the next measurement, which collects garbage first
            with Timer.open(timer.port) as link:
                counters = link.device_counters()
            free.append(counters["heap_free"])
        assert timer.boots == 1
    print(f"heap free after garbage collection, 8 h, 22 h, 34 h: {free}; least ever {counters['heap_low']}")
    record_property("heap_free", free)
    # The first day fills what is kept for good (answered alarms, segment sizes); after that nothing may grow.
    assert free[2] >= free[1] - 1024 and free[2] >= free[0] - 4096
    assert counters["heap_low"] > 24_576


@pytest.mark.slow
def test_no_growth_over_thirty_days(tmp_path):
    """A month on the shelf with a plan that nobody begins: samples, air and screens go on."""
    plan = two_days()
    free = []
    with VirtualTimer(tmp_path / "flash", start_at_s=plan.steps[0].start_at_s - 600) as timer:
        timer.run_for(20)
        send(timer, plan)
        for _ in range(6):
            timer.run_for(5 * 86400)
            with Timer.open(timer.port) as link:
                free.append(link.device_counters()["heap_free"])
    print(free)
    assert free[-1] >= free[0] - 1024


def test_interpreter_is_the_64_bit_one():
    """The figures above are for 8-octet words: a Pico needs about half."""
    assert run_device("import sys\nprint(sys.maxsize > 2**32)").strip() == "True"
    assert os.path.exists(find_micropython())


def test_the_size_of_the_plan_is_told_where_no_memory_in_one_piece_is_left(tmp_path):
    """Asked before every collecting. Memory is cut into pieces shorter than the plan; reading it whole cannot work."""
    code = f"""
import os
os.chdir({str(tmp_path)!r})
import binascii, gc
import files, store as S
class Held(S.Store):
    def __init__(self, plan_id):
        self.number = 1
        self.plan_id = plan_id
    def _dir(self, number):
        return "."
data = bytes(range(256)) * 13
held = Held(binascii.crc32(data))
files.write_file("./plan", data)
size = len(data)
del data
gc.collect()
def fill(held_by, octets):
    count = 0
    try:
        while True:
            held_by[count] = bytearray(octets)
            count += 1
    except MemoryError:
        return count
pieces = [None] * 400
longer = [None] * 400
count = fill(pieces, 1024)
for i in range(0, count, 2):
    pieces[i] = None
gc.collect()
fill(longer, 1536)
gc.collect()
whole = 0
try:
    files.read_file("./plan")
except MemoryError:
    whole = 1
print(gc.mem_free() > size, whole, held.plan_size() == size)
held.plan_id ^= 1
print(held.plan_size())
"""
    assert run_device(code).split() == ["True", "1", "True", "0"]
