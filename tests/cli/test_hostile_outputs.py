"""Outputs that take no more, files that would be lost, terminals that show little: one sentence and an exit code."""

from __future__ import annotations

import os
import secrets
import stat
import subprocess
import sys

import pytest
from tourier.files import keep, save, told_apart
from tourier.logbook.record.store import Logbook

FULL = "/dev/full"
needs_full = pytest.mark.skipif(not os.path.exists(FULL), reason="no /dev/full on this system")
posix = pytest.mark.skipif(os.name != "posix", reason="needs a POSIX shell")


def shell(command: str, home, **environment: str) -> subprocess.CompletedProcess:
    """Run a shell line in which `tourier` is the program."""
    line = command.replace("tourier", f"{sys.executable} -m tourier")
    kept = {k: v for k, v in os.environ.items() if k not in ("PYTHONIOENCODING", "PYTHONUTF8", "TOURIER_DEBUG")}
    return subprocess.run(["sh", "-c", line], capture_output=True, check=False,
                          env={**kept, "TOURIER_HOME": str(home), **environment})  # fmt: skip


@needs_full
@posix
def test_a_full_disk_behind_stdout_is_one_sentence(home):
    done = shell("tourier where > /dev/full", home)
    assert done.returncode == 2
    assert done.stderr.decode().strip() == (
        "The output cannot be written (No space left on device); make room there, or send it elsewhere."
    )


@posix
@pytest.mark.parametrize(("command", "code"), [
    ("tourier where >&-", 0), ("tourier plan none.toml 2>&-", 2), ("tourier plan none.toml <&- >&- 2>&-", 2),
    ("tourier where 2>&-", 0),
])  # fmt: skip
def test_closed_streams_change_no_exit_code(home, command, code):
    done = shell(command, home)
    assert done.returncode == code
    assert b"Error" not in done.stderr + done.stdout


@posix
def test_a_narrow_encoding_loses_signs_but_not_the_output(home):
    asked = shell("tourier example", home, PYTHONIOENCODING="ascii")
    assert asked.returncode == 0
    assert b"\xc3" not in asked.stdout and asked.stdout.count(b"?C") > 3
    # A file gets UTF-8 whatever the locale: it is read back as a batch file.
    by_locale = shell("tourier example", home, PYTHONUTF8="0", LC_ALL="C", PYTHONCOERCECLOCALE="0")
    assert by_locale.returncode == 0
    assert "°C" in by_locale.stdout.decode("utf-8")


def test_a_file_is_written_whole_or_stays_as_it_was(tmp_path, monkeypatch):
    file = tmp_path / "card.html"
    file.write_text("the old card")
    file.chmod(0o600)
    assert save(file, "the new card") == file
    assert file.read_text() == "the new card"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600

    tried = []

    def full(number):
        tried.extend(one.name for one in tmp_path.iterdir() if one != file)
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError) as caught:
        save(file, "x" * 100)
    assert caught.value.filename == str(file)
    assert file.read_text() == "the new card"
    assert [one.name for one in tmp_path.iterdir()] == ["card.html"]
    assert len(tried) == 1  # the new text had been begun under another name


def test_what_tells_of_a_person_s_hours_is_for_that_person_alone(tmp_path):
    old = os.umask(0o022)
    try:
        keep(tmp_path / "state" / "sent" / "1.toml", "ready Sunday at eight")
        save(tmp_path / "card.html", "for all to read")
        with Logbook(tmp_path / "data" / "logbook.sqlite"):
            pass
    finally:
        os.umask(old)
    modes = {str(one.relative_to(tmp_path)): stat.S_IMODE(one.stat().st_mode) for one in tmp_path.rglob("*")}
    assert modes["state/sent"] == modes["data"] == 0o700
    assert modes["state/sent/1.toml"] == modes["data/logbook.sqlite"] == 0o600
    assert modes["card.html"] == 0o644


def test_no_link_laid_beforehand_is_written_through(tmp_path, monkeypatch):
    """Were the name of the fresh file foreseen, a link under it must stop the writing, not be followed."""
    victim = tmp_path / "victim"
    victim.write_text("mine")
    monkeypatch.setattr(secrets, "token_hex", lambda octets: "0" * 2 * octets)
    (tmp_path / f".card.html.{'0' * 16}.new").symlink_to(victim)
    with pytest.raises(FileExistsError):
        save(tmp_path / "card.html", "theirs")
    assert victim.read_text() == "mine"
    assert (tmp_path / f".card.html.{'0' * 16}.new").is_symlink()
    assert not (tmp_path / "card.html").exists()


def test_a_link_is_followed(tmp_path):
    (tmp_path / "real.ics").write_text("old")
    (tmp_path / "link.ics").symlink_to(tmp_path / "real.ics")
    save(tmp_path / "link.ics", b"new")
    assert (tmp_path / "link.ics").is_symlink()
    assert (tmp_path / "real.ics").read_text() == "new"


def test_the_batch_file_is_not_written_over(tourier, demo):
    before = demo.read_bytes()
    said = tourier("plan", demo, "--ics", demo.parent / "." / demo.name)
    assert said.code == 2
    assert "is the file that is read" in said.sentence
    assert demo.read_bytes() == before
    assert told_apart(["a"], ["b", None, "c"]) == ""


def test_what_takes_no_file_says_so(tourier, tmp_path):
    said = tourier("logbook", "check", tmp_path / "other.sqlite")
    assert said.code == 2 and "takes no file" in said.sentence
    said = tourier("device", "list", "x")
    assert said.code == 2 and "takes no x" in said.sentence
    said = tourier("collect", "--port", " ")
    assert said.code == 2 and "empty" in said.sentence


@pytest.mark.parametrize("wish", [("--altitude", "99999999 m"), ("--pressure", "0 hPa"), ("--pressure", "-5 hPa"),
                                  ("--altitude", "high"), ("--pressure", "99999999 hPa")])  # fmt: skip
def test_water_boils_nowhere_like_that(tourier, wish):
    said = tourier("device", "boil-point", *wish, "--port", "/nonexistent")
    assert said.code == 2
    assert "inside Tourier" not in said.err


@posix
def test_a_disk_too_small_for_a_flash_image_leaves_no_half_of_one(home, tmp_path):
    flash = tmp_path / "flash.img"
    done = shell(f"ulimit -f 64; tourier virtual --for 1 --flash {flash}", home)
    assert done.returncode == 2 and done.stderr.count(b"\n") == 1 and b"flash.img cannot be used" in done.stderr
    assert list(tmp_path.glob("*flash*")) == []
    assert shell(f"tourier virtual --for 1 --flash {flash}", home).returncode == 0
