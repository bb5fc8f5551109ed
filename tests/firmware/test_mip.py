"""`mpremote mip install`: the package file is current, and the stock program installs a timer from it that starts."""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys

import pytest
from package_json import package_json
from tourier.device.files import device_files, firmware_dir
from tourier.device.prompt import at_prompt
from tourier.device.virtual.board import VirtualTimer


def test_the_package_file_is_current():
    written = json.loads((firmware_dir() / "package.json").read_text(encoding="utf-8"))
    wanted = json.loads(package_json())
    if written["urls"] != wanted["urls"]:
        pytest.fail("write it anew: see companion/tools/package_json.py")
    assert written["version"] == wanted["version"]


@pytest.mark.slow
def test_mpremote_installs_a_timer_that_starts(tmp_path):
    """Into /lib, where the virtual board looks; a Pico takes `--target /`, so that main.py starts at power-up."""
    with VirtualTimer(tmp_path / "flash") as timer:
        timer.run_for(3)
        done = subprocess.run(
            [sys.executable, "-m", "mpremote", "connect", timer.port, "resume", "mip", "install", "--target", "/lib",
             str(firmware_dir() / "package.json")], capture_output=True, text=True,
        )  # fmt: skip
        assert done.returncode == 0, done.stdout + done.stderr
        with at_prompt(timer.port, reset=False) as prompt:
            for path, source in device_files().items():
                there = "/lib/" + path.removeprefix("lib/")
                assert prompt.sha256(there) == hashlib.sha256(source.read_bytes()).hexdigest(), there
        timer.run_from_flash = True
        timer.restart()
        timer.run_for(6)
        assert timer.glance.word in ("NO PLAN", "SET CLOCK")
        with at_prompt(timer.port, reset=False) as prompt:
            assert prompt.run("import app\nprint(app.__file__)").strip() == "/lib/app.py"
