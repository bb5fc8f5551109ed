"""Batches on flash: none is dropped or put out of reach before it was collected or the cook agreed; two weeks fit."""

from __future__ import annotations

import pytest
from firmware_support import collect, on_device, send, two_days
from tourier.device.client import Timer
from tourier.device.errors import LinkError
from tourier.device.prompt import at_prompt
from tourier.device.virtual.board import VirtualTimer

from shared_schedule import day as D
from shared_schedule import messages as m
from shared_schedule import plan as P

PLAN = two_days()
START = PLAN.steps[0].start_at_s


def named(name: str) -> P.Plan:
    plan = two_days()
    plan.name = name
    return P.validate(plan)


def play_through(timer) -> None:
    """The whole day in a minute: every step skipped by command."""
    with Timer.open(timer.port) as link:
        for step in PLAN.steps:
            link.command(m.ACTION_STEP_SKIP, step.step_id, D.DELIBERATE)
    timer.run_for(6)
    assert timer.glance.screen == "done"


def tell_collected(timer) -> None:
    journal, log, _plan = collect(timer)
    with Timer.open(timer.port) as link:
        link.drop(link.info.plan_id, m.STREAM_JOURNAL, len(journal))
        link.drop(link.info.plan_id, m.STREAM_SAMPLES, len(log))


def held(timer) -> list[str]:
    with at_prompt(timer.port) as prompt:
        return [name for name, _folder in prompt.listing("/b")]


def test_a_finished_batch_is_not_put_out_of_reach(tmp_path):
    with VirtualTimer(tmp_path / "flash", start_at_s=START) as timer:
        timer.run_for(10)
        send(timer, named("first"))
        timer.run_for(60)
        play_through(timer)
        with pytest.raises(LinkError, match="the log of first was not collected"):
            send(timer, named("second"))
        journal, log, _plan = collect(timer)  # it is all still there
        assert journal and log
        tell_collected(timer)
        send(timer, named("second"))
        timer.run_for(6)
        assert timer.glance.screen == "step"


def test_the_cook_may_forget_a_finished_batch_deliberately(tmp_path):
    with VirtualTimer(tmp_path / "flash", start_at_s=START) as timer:
        timer.run_for(10)
        send(timer, named("first"))
        play_through(timer)
        with Timer.open(timer.port) as link:
            with pytest.raises(LinkError, match="was not collected"):
                link.command(m.ACTION_FORGET_PLAN)
            link.command(m.ACTION_FORGET_PLAN, 0, D.DELIBERATE)
        send(timer, named("second"))


def test_at_most_eight_are_kept_and_the_oldest_goes(tmp_path):
    """Collected batches stay as long as there is room and number for them, then the oldest goes first."""
    with VirtualTimer(tmp_path / "flash", start_at_s=START) as timer:
        timer.run_for(10)
        for number in range(10):
            send(timer, named(f"batch {number}"))
            timer.run_for(30)
            play_through(timer)
            tell_collected(timer)
        timer.run_for(6)
        assert held(timer) == [f"{number:04d}" for number in range(3, 11)]


FORTNIGHT = """
import os, sys, vfs, random
import files
import store as S
from shared_schedule.samples import SampleWriter, read_blocks
class Flash:
    # RAM in the Pico's geometry.
    def __init__(self):
        self.data = bytearray(b"\\xff" * (352 * 4096))
        self.erases = self.programs = 0
    def readblocks(self, n, buf, off=0):
        at = n * 4096 + off
        buf[:] = memoryview(self.data)[at : at + len(buf)]
    def writeblocks(self, n, buf, off=0):
        at = n * 4096 + off
        self.data[at : at + len(buf)] = buf
        self.programs += 1
    def ioctl(self, op, arg):
        if op == 4: return 352
        if op == 5: return 4096
        if op == 6:
            self.data[arg * 4096 : arg * 4096 + 4096] = b"\\xff" * 4096
            self.erases += 1
        return 0
flash = Flash()
vfs.VfsLfs2.mkfs(flash, progsize=256, readsize=32, lookahead=32)
fs = vfs.VfsLfs2(flash, progsize=256, readsize=32, lookahead=32, mtime=False)
vfs.umount("/")
vfs.mount(fs, "/")
files.write_file("/installed", b"\\x00" * 131072)  # the firmware itself
store = S.Store(len)
store.open()
store.begin(1, b"plan" * 800, 200000000)
random.seed(5)
writer = SampleWriter(5)
bench, probe = 2000, 900
at_s = 200000000
pairs = full = 0
for n in range(14 * 86400 // 5):
    # A probe in dough: slow drift, 3 cdeg rms of noise, a plug pulled now and then, a press in the journal.
    bench += random.randint(-3, 3)
    probe = max(-2000, min(6000, probe + random.randint(-5, 5) + (300 if n % 2000 == 0 else 0)))
    reading = -32768 if n % 5000 < 20 else probe
    at_s += 5
    if not writer.add(at_s, (bench, reading)):
        if not store.append_samples(writer.block()): full += 1
        writer.add(at_s, (bench, reading))
    if n % 6 == 5:
        if not store.append_samples(writer.block()): full += 1
    if n % 1000 == 0: store.append(b"x" * 20)
    pairs += 1
if writer.count: store.append_samples(writer.block())
octets = store.samples_octets()
buffer = bytearray(octets)
assert store.read_samples(0, octets, memoryview(buffer)) == octets
back = 0
for pair in read_blocks(buffer): back += 1
print(pairs, back, octets, full, store.free(), flash.erases, flash.programs)
"""


@pytest.mark.slow
def test_two_weeks_of_temperatures_fit_and_wear_little():
    """14 days at one pair in 5 s, written each 30 s through the real littlefs beside the firmware: all comes back."""
    done = on_device(FORTNIGHT, "16m", 580)
    assert done.returncode == 0, done.stdout + done.stderr
    pairs, back, octets, full, free, erases, programs = (int(part) for part in done.stdout.split())
    years = 352 * 100_000 / (erases / 14) / 365.25
    print(f"{pairs} pairs in {octets} octets, {octets / pairs:.2f} a pair; {free} octets free; {erases} erases, "
          f"{programs} programs: {years:.0f} years at 100,000 erases a block")  # fmt: skip
    assert back == pairs and full == 0
    assert octets / pairs <= 3.0 and octets <= 1_000_000
    assert free > 24_576
    assert years > 10


