"""Corrupt anything on the flash and the timer still boots to a usable state, and says what it lost."""

from __future__ import annotations

import random

import pytest
from firmware_support import collect, send, two_days
from tourier.device.client import Timer
from tourier.device.errors import Refused
from tourier.device.prompt import at_prompt
from tourier.device.virtual.board import VirtualTimer
from tourier.device.virtual.flash import BLOCK, BLOCKS

from shared_schedule import day as D
from shared_schedule import history
from shared_schedule import journal as J
from shared_schedule import messages as m
from shared_schedule import plan as P
from shared_schedule.plan_writer import encode_plan

PLAN = two_days()


@pytest.fixture(scope="module")
def image(tmp_path_factory):
    """A timer in its first step, with settings and calibration saved."""
    path = tmp_path_factory.mktemp("whole") / "flash"
    with VirtualTimer(path, start_at_s=PLAN.made_at_s, seed=4) as timer:
        timer.run_for(10)
        send(timer, PLAN)
        with Timer.open(timer.port) as link:
            link.set_setting("contrast", b"99")
        timer.run_until(PLAN.steps[0].start_at_s + 30)
        for _ in range(2):
            timer.press("middle")
            timer.run_for(40)
        assert timer.glance.step_state == 1
    return path.read_bytes()


DAMAGE = {
    "/set": b"TS\x01\x04\x00\x00\x00\x00\x00\xde\xad\xbe\xef",
    "/cal": b"not a record",
    "/boots": b"\xff" * 13,
    "/b/0001/plan": b"TPL\x01garbage",
    "/b/0001/head": b"\x00" * 18,
    "/b/0001/j000": b"\x03\x0c" + b"\xaa" * 40,
    "/b/0001/o": b"S" * 200,
    "/crash": bytes(range(256)),
}


@pytest.mark.parametrize("path", sorted(DAMAGE))
def test_one_damaged_file(image, tmp_path, path):
    flash = tmp_path / "flash"
    flash.write_bytes(image)
    with VirtualTimer(flash, start_at_s=PLAN.steps[0].start_at_s + 200, seed=4) as timer:
        timer.run_for(6)
        with at_prompt(timer.port) as prompt:
            prompt.write(path, DAMAGE[path])
        timer.run_for(6)
        message = " ".join(timer.glance.lines) if timer.glance.screen == "message" else ""
        told = {"/set": "settings", "/cal": "calibration", "/b/0001/plan": "plan", "/b/0001/head": "batch",
                "/b/0001/j000": "journal"}.get(path)  # fmt: skip
        if told:
            assert told in message, timer.glance
        timer.press("middle")
        timer.run_for(10)
        if path == "/b/0001/plan":
            send(timer, PLAN)  # another can be taken at once
        with Timer.open(timer.port) as link:
            assert link.state().plan_id == P.plan_id(encode_plan(PLAN))
            contrast = link.setting("contrast")
        assert contrast == (b"140" if path == "/set" else b"99")
        if path not in ("/b/0001/plan", "/b/0001/j000"):
            assert history.replay(PLAN, J.read(collect(timer)[0])).steps[0] == 1
        assert timer.watchdog_bites == 0


def test_random_octets_anywhere(image, tmp_path):
    """Blocks of noise over the image: littlefs may give up a file or all of them; the timer always comes up."""
    random_ = random.Random(11)
    boots = 0
    for trial in range(12):
        data = bytearray(image)
        for _ in range(1 + trial):
            at = random_.randrange(12 if trial % 2 else BLOCKS) * BLOCK + random_.randrange(BLOCK - 64)
            data[at : at + 64] = random_.randbytes(64)
        flash = tmp_path / f"flash{trial}"
        flash.write_bytes(data)
        with VirtualTimer(flash, start_at_s=PLAN.steps[0].start_at_s + 200, seed=4) as timer:
            timer.run_for(20)
            send(timer, PLAN)
            timer.run_for(20)
            assert timer.glance.screen == "step", (trial, timer.glance)
            boots += timer.boots
    assert boots >= 12


def test_a_new_board_has_lost_nothing(tmp_path):
    with VirtualTimer(tmp_path / "flash", start_at_s=PLAN.made_at_s) as timer:
        timer.run_for(1)
        assert timer.glance.word == "NO PLAN"


def test_a_file_system_gone_is_said(image, tmp_path):
    flash = tmp_path / "flash"
    flash.write_bytes(b"\x5a" * (2 * BLOCK) + image[2 * BLOCK :])
    with VirtualTimer(flash, seed=4) as timer:
        timer.run_for(1)
        assert "everything" in timer.glance.lines


def test_a_batch_that_vanished_is_said(image, tmp_path):
    """Nothing is left to see that it was there, but for the record of what was begun."""
    flash = tmp_path / "flash"
    flash.write_bytes(image)
    with VirtualTimer(flash, start_at_s=PLAN.steps[0].start_at_s + 200, seed=4) as timer:
        timer.run_for(6)
        with at_prompt(timer.port) as prompt:
            for name, _folder in prompt.listing("/b/0001"):
                prompt.remove(f"/b/0001/{name}")
            prompt.run("import os\nos.rmdir('/b/0001')")
        timer.run_for(6)
        assert "a batch" in timer.glance.lines
        timer.press("middle")
        timer.run_for(10)
        send(timer, PLAN)
        timer.restart()
        timer.run_for(6)
        assert timer.glance.screen == "step"


def test_a_plan_that_was_forgotten_does_not_come_back(image, tmp_path):
    flash = tmp_path / "flash"
    flash.write_bytes(image)
    with VirtualTimer(flash, start_at_s=PLAN.steps[0].start_at_s + 200, seed=4) as timer:
        timer.run_for(6)
        with Timer.open(timer.port) as link:
            with pytest.raises(Refused, match="a day is running"):
                link.command(m.ACTION_FORGET_PLAN)
            link.command(m.ACTION_FORGET_PLAN, 0, D.DELIBERATE)
        timer.run_for(6)
        assert timer.glance.word == "NO PLAN"
        timer.restart()
        timer.run_for(6)
        assert timer.glance.word == "NO PLAN" and timer.glance.screen == "no plan"
        send(timer, PLAN)
        timer.run_for(6)
        timer.restart()
        timer.run_for(6)
        assert timer.glance.screen == "step"
        assert len(collect(timer)[2]) == len(encode_plan(PLAN))
