"""Installing through mpremote's own transport onto the virtual board, whose file system is the flash image."""

from __future__ import annotations

import subprocess
import sys
import zipfile

import pytest
from firmware_support import collect, send, two_days
from installed import verify
from tourier.device import install as I
from tourier.device.client import Timer
from tourier.device.files import build, firmware_dir
from tourier.device.virtual.board import VirtualTimer

from shared_schedule import journal as J
from shared_schedule.plan_writer import encode_plan


@pytest.fixture
def flash(tmp_path):
    return tmp_path / "flash"


PLAN = two_days()


@pytest.fixture(scope="module")
def installed(tmp_path_factory):
    """An image that holds a plan and an installation broken off once: (path, what the second run did)."""

    class Enough(Exception):
        pass

    def stop(_path, number, _of):
        if number == 9:
            raise Enough

    path = tmp_path_factory.mktemp("installed") / "flash"
    with VirtualTimer(path, start_at_s=PLAN.made_at_s) as timer:
        timer.run_for(10)
        send(timer, PLAN)
        with pytest.raises(Enough):
            I.install(timer.port, stop)
    with VirtualTimer(path, start_at_s=PLAN.made_at_s, run_from_flash=True) as timer:
        done = I.install(timer.port)  # the program cannot start from the flash, the prompt is there
    return path, done


def copy_of(installed, flash):
    flash.write_bytes(installed[0].read_bytes())
    return flash


def test_a_broken_install_is_taken_up_where_it_stopped(installed):
    assert installed[1].unchanged == 9
    assert installed[1].written == len(build()) - 9


def test_what_was_installed_runs_and_the_plan_is_still_there(installed, flash):
    with VirtualTimer(copy_of(installed, flash), start_at_s=PLAN.made_at_s, run_from_flash=True) as timer:
        timer.run_for(10)
        assert timer.glance.screen == "step"
        assert collect(timer)[2] == encode_plan(PLAN)
        assert verify(timer.port).current


def test_sources_that_would_win_over_ours_are_removed(installed, flash):
    with VirtualTimer(copy_of(installed, flash), run_from_flash=True) as timer:
        timer.run_for(5)
        with I.at_prompt(timer.port) as prompt:
            prompt.write("/lib/app.py", b"raise SystemExit\n")
        again = I.install(timer.port)
        assert (again.removed, again.written, again.unchanged) == (1, 0, len(build()))


def test_backup_and_restore(flash, tmp_path):
    plan = two_days()
    saved = tmp_path / "saved.zip"
    with VirtualTimer(flash, start_at_s=plan.made_at_s) as timer:
        timer.run_for(10)
        send(timer, plan)
        with Timer.open(timer.port) as link:
            link.set_setting("contrast", b"77")
        timer.run_for(100)
        count = I.backup(timer.port, saved)
        journal, samples, _plan = collect(timer)
    assert count == len(zipfile.ZipFile(saved).namelist()) >= 5
    with VirtualTimer(tmp_path / "other", start_at_s=plan.made_at_s) as timer:
        timer.run_for(10)
        assert I.restore(timer.port, saved) == count
        timer.run_for(10)
        with Timer.open(timer.port) as link:
            assert link.setting("contrast") == b"77"
        after, later, data = collect(timer)
        begun = list(J.read(journal))[:2]
        assert [record.type for record in begun] == [J.FORMAT, J.PLAN] and begun == list(J.read(after))[:2]
        assert samples and later.startswith(samples[: len(samples) // 2])
        assert data == encode_plan(plan)


def test_restore_refuses_what_is_no_backup(flash, tmp_path):
    bad = tmp_path / "bad.zip"
    with zipfile.ZipFile(bad, "w") as archive:
        archive.writestr("main.py", "print('mine now')")
    with VirtualTimer(flash) as timer:
        with pytest.raises(I.InstallError, match="no backup"):
            I.restore(timer.port, bad)
        with pytest.raises(I.InstallError, match="cannot be read"):
            I.restore(timer.port, tmp_path / "missing.zip")


def test_safe_mode_leaves_the_prompt(flash):
    with VirtualTimer(flash, held_at_boot=2) as timer:
        with I.at_prompt(timer.port, reset=False) as prompt:
            assert prompt.run("print(6*7)").strip() == "42"


def test_mpremote_itself_lists_the_board(flash):
    """The stock mpremote program, as a cook with other MicroPython boards has it."""
    with VirtualTimer(flash) as timer:
        timer.run_for(5)
        done = subprocess.run(
            [sys.executable, "-m", "mpremote", "connect", timer.port, "resume", "fs", "ls", ":/"],
            capture_output=True, text=True,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        assert "boots" in done.stdout


def test_mip_package_names_every_file(flash):
    import json

    package = json.loads((firmware_dir() / "package.json").read_text())
    named = {entry[0] for entry in package["urls"]}
    wanted = {file.path.lstrip("/").removeprefix("lib/").replace(".mpy", ".py") for file in build()}
    assert named == wanted
    for _dest, source in package["urls"]:
        assert (firmware_dir() / source).is_file()
