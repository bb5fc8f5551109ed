"""`tourier device settings` and `forget` against the real firmware."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest
from firmware_support import on_device, send, two_days
from tourier.device import upkeep
from tourier.device.client import Timer
from tourier.device.virtual.board import VirtualTimer

from shared_schedule import messages as m

PLAN = two_days()


@pytest.fixture
def timer(tmp_path):
    with VirtualTimer(tmp_path / "flash", start_at_s=PLAN.made_at_s, speed=5.0) as board:
        board.run_for(10)
        yield board


def command(timer, tmp_path, *words: str) -> tuple[int, str, str]:
    program = "from tourier.cli import main; raise SystemExit(main())"
    done = subprocess.run(
        [sys.executable, "-c", program, "device", *words, "--port", timer.port], capture_output=True, text=True,
        env={**os.environ, "TOURIER_HOME": str(tmp_path / "home")},
    )  # fmt: skip
    return done.returncode, done.stdout, done.stderr


def test_every_setting_of_the_firmware_can_be_named():
    done = on_device("import config\nprint(' '.join([row[0] for row in config.SETTINGS]))")
    assert done.stdout.split() == list(upkeep.SETTINGS)


def test_settings_are_shown_set_kept_and_refused(timer, tmp_path):
    code, text, _ = command(timer, tmp_path, "settings", "--json")
    assert code == 0
    shown = json.loads(text)["settings"]
    assert shown["curve_probe"] == "103at" and set(shown) == set(upkeep.SETTINGS)
    code, text, _ = command(timer, tmp_path, "settings", "curve_probe=3977")
    assert code == 0 and "3977" in text
    code, _, wrong = command(timer, tmp_path, "settings", "contrast=900")
    assert code == 3 and "1 to 255" in wrong
    code, _, wrong = command(timer, tmp_path, "settings", "colour=blue")
    assert code == 2 and "curve_bench" in wrong
    timer.restart()
    timer.run_for(7)
    with Timer.open(timer.port) as link:
        assert upkeep.settings(link)["curve_probe"] == "3977"
        assert upkeep.settings(link)["contrast"] == shown["contrast"]


def test_a_day_given_up_can_be_forgotten(timer, tmp_path):
    send(timer, PLAN)
    with Timer.open(timer.port) as link:
        link.command(m.ACTION_STEP_START, 1)
    code, _, wrong = command(timer, tmp_path, "forget")
    assert code == 2 and "a day is running" in wrong and "--yes" in wrong
    code, text, _ = command(timer, tmp_path, "forget", "--yes")
    assert code == 0 and "no plan" in text
    other = two_days()
    other.name = "another"
    send(timer, other)
    code, _, wrong = command(timer, tmp_path, "forget")  # nothing has happened under it
    assert code == 0
