"""A flash that fills up in a running day: temperatures end, which is said; steps can still be done; old batches go."""

from __future__ import annotations

from firmware_support import collect, send, two_days
from tourier.device.client import Timer
from tourier.device.prompt import at_prompt
from tourier.device.virtual.board import VirtualTimer

from shared_schedule import day as D
from shared_schedule import journal as J

PLAN = two_days()
START = PLAN.steps[0].start_at_s

FILL = """
import os
f = open('/filler', 'wb')
block = bytes(4096)
while True:
    s = os.statvfs('/')
    if s[0] * s[3] < {left}:
        break
    f.write(block)
    f.flush()
f.close()
"""


def tap(timer, button="middle"):
    timer.press(button)
    timer.run_for(6)


def test_temperatures_end_and_steps_go_on(tmp_path):
    with VirtualTimer(tmp_path / "flash", start_at_s=START - 200) as timer:
        timer.run_for(10)
        send(timer, PLAN)
        with at_prompt(timer.port) as prompt:
            prompt.run(FILL.format(left=28672))
        timer.run_until(START + 6)
        tap(timer)
        tap(timer)
        assert timer.glance.step_state == D.RUNNING
        said = False
        with Timer.open(timer.port) as link:
            octets = link.info.samples_octets
        for _ in range(40):
            timer.run_for(900)
            said = said or timer.glance.line == "log full: collect it"
            if timer.glance.alarm:
                tap(timer)
            with Timer.open(timer.port) as link:
                before, octets = octets, link.info.samples_octets
            if said and octets == before:
                break
        assert said and octets == before
        # A morning of presses finds room all the same: salt, done, next, next ...
        done = set()
        for _ in range(60):
            tap(timer)
            glance = timer.glance
            if glance.step_state == D.RUNNING and glance.screen == "step":
                done.add(glance.step_id)
                timer.run_for(600)
            if len(done) >= 5:
                break
        assert len(done) >= 5 and timer.boots == 2  # the second boot is the prompt's
        journal = list(J.read(collect(timer)[0]))
        lost = [record.body[0] for record in journal if record.type == J.LOST]
        assert lost == [8]  # space for a log, once
        assert "memory" not in " ".join(timer.glance.lines)


def test_a_collected_batch_makes_room_for_the_running_one(tmp_path):
    with VirtualTimer(tmp_path / "flash", start_at_s=START - 4000) as timer:
        timer.run_for(10)
        other = two_days()
        other.name = "yesterday's"
        send(timer, other)
        timer.run_for(1800)
        with Timer.open(timer.port) as link:
            plan_id = link.info.plan_id
            for stream in (1, 2):
                octets = link.collect(stream)
                link.drop(plan_id, stream, len(octets))
        send(timer, PLAN)
        with at_prompt(timer.port) as prompt:
            prompt.run(FILL.format(left=32768))
            assert len(prompt.listing("/b")) == 2
        timer.run_for(3 * 3600)
        with at_prompt(timer.port) as prompt:
            assert [name for name, _folder in prompt.listing("/b")] == ["0002"]
