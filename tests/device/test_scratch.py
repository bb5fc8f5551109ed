"""What a killed virtual timer leaves behind goes with the next one; what lives or is not ours stays."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile

import pytest
from tourier.device.virtual.interpreter import scratch_folder


@pytest.fixture
def temporary(tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    return tmp_path


def test_folders_of_dead_processes_go_and_others_stay(temporary):
    dead = subprocess.Popen([sys.executable, "-c", "pass"])
    dead.wait()
    left = temporary / f"tourier-timer-{dead.pid}-abc"
    mine = temporary / f"tourier-timer-{os.getpid()}-abc"
    kept = [mine, temporary / "tourier-timer-x-abc", temporary / "other"]
    for folder in (left, *kept):
        folder.mkdir()
        (folder / "flash.img").write_bytes(b"x")
    linked = temporary / f"tourier-timer-{dead.pid}-link"
    linked.symlink_to(kept[2])
    new = scratch_folder()
    assert new.is_dir() and new.name.startswith(f"tourier-timer-{os.getpid()}-")
    assert not left.exists()
    assert all((folder / "flash.img").exists() for folder in kept)
    assert linked.is_symlink() and (kept[2] / "flash.img").exists()


def test_a_killed_program_leaves_nothing_for_long(temporary):
    code = (
        "import time; from tourier.device.virtual.interpreter import scratch_folder; "
        "print(scratch_folder(), flush=True); time.sleep(60)"
    )
    environment = {**os.environ, "TMPDIR": str(temporary)}
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True, env=environment) as program:
        made = program.stdout.readline().strip()
        assert os.path.isdir(made)
        program.kill()
    scratch_folder()
    assert not os.path.exists(made)
