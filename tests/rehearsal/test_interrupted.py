"""Ctrl-C and a kill at any moment: one word, an exit code, no folder and no interpreter left behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from importlib import metadata
from pathlib import Path

import pytest
from limits import cpu_of, cpu_used_s
from ortools.sat.python import cp_model
from rehearsal_support import COMMAND, command, environment
from tourier import rehearsal
from tourier.batch.examples import demo_text
from tourier.cli import main
from tourier.dayplan.search import new_solver, run_search
from tourier.device.virtual.board import VirtualTimer

from shared_schedule.units import EPOCH_UNIX_S

START_S = int(rehearsal.DEMO_NOW.timestamp()) - EPOCH_UNIX_S


def _pigeons(count: int) -> cp_model.CpModel:
    """One bird more than there are holes: no search ends on this soon."""
    model = cp_model.CpModel()
    holes = [[model.new_bool_var("") for _ in range(count - 1)] for _ in range(count)]
    for bird in holes:
        model.add(sum(bird) >= 1)
    for hole in zip(*holes, strict=True):
        for i, one in enumerate(hole):
            for other in hole[:i]:
                model.add(one + other <= 1)
    return model


def _running_in(folder: Path) -> list[str]:
    """The processes whose folder is below `folder`."""
    found = []
    for process in Path("/proc").glob("[0-9]*"):
        try:
            if (process / "cwd").resolve().is_relative_to(folder):
                found.append(process.name)
        except OSError:
            pass
    return found


@pytest.mark.parametrize("stop", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize("moment", ["Working out", "Sending the plan", "Playing the days"])
def test_a_rehearsal_that_is_stopped_leaves_nothing_running(tmp_path, stop, moment):
    scratch = tmp_path / "tmp"
    scratch.mkdir()
    begun_s = cpu_used_s()
    with subprocess.Popen(
        [*COMMAND, "rehearse"], env=environment(tmp_path / "home") | {"TMPDIR": str(scratch)},
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as process:  # fmt: skip
        assert process.stderr is not None and process.stdout is not None
        while moment not in (line := process.stderr.readline()):
            assert line, "ended before it came to that"
        time.sleep(0.7)  # into the midst of it
        before_s = cpu_of(process.pid)
        process.send_signal(stop)
        said = process.stderr.read()
        assert process.wait() == 130
        assert cpu_used_s() - begun_s - before_s < 5  # it, and the interpreter it had started, did not go on for long
        assert said.endswith("Stopped.\n") and "Traceback" not in said
    assert list(scratch.iterdir()) == []
    if os.path.exists("/proc/self/cwd"):
        assert _running_in(scratch) == []


def test_a_search_leaves_ctrl_c_to_the_program(tmp_path):
    """The solver takes the signal for the whole process unless told not to, and gives it back to nobody."""
    program = """
import os, signal, time
from ortools.sat.python import cp_model
from tourier.dayplan.search import new_solver, run_search
from tourier.device.virtual.board import VirtualTimer

from shared_schedule.units import EPOCH_UNIX_S
new_solver(1.0).solve(cp_model.CpModel())
try:
    os.kill(os.getpid(), signal.SIGINT)
    time.sleep(5)
except KeyboardInterrupt:
    print("told")
"""
    done = subprocess.run([sys.executable, "-c", program], env=environment(tmp_path), capture_output=True)
    assert done.stdout.strip() == b"told"


def test_a_long_search_ends_at_ctrl_c():
    threading.Timer(1.0, lambda: os.kill(os.getpid(), signal.SIGINT)).start()
    begun_s = time.process_time()
    with pytest.raises(KeyboardInterrupt):
        run_search(new_solver(1e6), _pigeons(60))
    assert time.process_time() - begun_s < 6


def test_ctrl_c_before_the_command_has_begun(monkeypatch, capsys):
    def interrupted(_name: str) -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr(metadata, "version", interrupted)
    assert main(["where"]) == 130
    assert capsys.readouterr().err == "Stopped.\n"


def test_collecting_goes_on_after_ctrl_c_where_it_stood(tmp_path):
    demo, home = tmp_path / "demo.toml", tmp_path / "home"
    demo.write_text(demo_text(), encoding="utf-8")
    victim: list[subprocess.Popen] = []
    heard = 0

    def hear(direction: str, _ms: int, octets: bytes) -> None:
        nonlocal heard
        if victim and direction == "<":
            heard += len(octets)
            if heard > 7000:  # the plan has 3 KB, the rest is temperatures
                victim.pop().send_signal(signal.SIGINT)

    with VirtualTimer(
        tmp_path / "flash.img", start_at_s=START_S, capture=hear, bridge_options={"bits_per_s": 115200}
    ) as timer:
        assert command(home, "send", demo, "--port", timer.port, "--keep-clock").returncode == 0
        timer.run_for(5 * 3600)
        with subprocess.Popen(
            [*COMMAND, "collect", "--port", timer.port], env=environment(home), stderr=subprocess.PIPE, text=True
        ) as process:
            victim.append(process)
            assert process.stderr is not None
            said = process.stderr.read()
            assert process.wait() == 130 and said.endswith("Stopped.\n")
        parts = {file.name.split("-")[-1]: file.stat().st_size for file in (home / "state" / "collecting").iterdir()}
        assert parts["samples.part"] > 1000
        assert not (home / "data" / "logbook.sqlite").exists()
        assert command(home, "collect", "--port", timer.port).returncode == 0
        assert not list((home / "state" / "collecting").iterdir())
