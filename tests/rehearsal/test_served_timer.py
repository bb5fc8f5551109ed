"""A virtual bench timer served in one process and used from others; cables pulled, ports taken, strangers."""

from __future__ import annotations

import contextlib
import json
import os
import pty
import re
import signal
import subprocess
import threading
import tty

import pytest
from json_document import missing, undocumented
from rehearsal_support import COMMAND, command, environment
from tourier import rehearsal
from tourier.batch.examples import demo_text
from tourier.cli import main
from tourier.device.trace import decode_file
from tourier.device.virtual.board import VirtualTimer

from shared_schedule.units import EPOCH_UNIX_S

AT = "2027-03-12 17:00+01:00"  # the demo's Friday
START_S = int(rehearsal.DEMO_NOW.timestamp()) - EPOCH_UNIX_S


@pytest.fixture
def home(tmp_path, monkeypatch):
    monkeypatch.setenv("TOURIER_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


@pytest.fixture
def demo(tmp_path):
    file = tmp_path / "demo.toml"
    file.write_text(demo_text(), encoding="utf-8")
    return file


@contextlib.contextmanager
def served(home, *options):
    """`tourier virtual` in a process of its own: yields (port, process)."""
    with subprocess.Popen(
        [*COMMAND, "virtual", *options],
        env=environment(home),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        try:
            assert process.stdout is not None
            yield process.stdout.readline().strip(), process
        finally:
            if process.poll() is None:
                process.send_signal(signal.SIGINT)
            process.wait()


def test_send_watch_collect_review_from_other_processes(home, demo, tmp_path):
    flash = tmp_path / "flash.img"
    with served(home, "--speed", "600", "--at", AT, "--flash", str(flash)) as (port, process):
        sent = command(home, "send", demo, "--port", port, "--keep-clock", "--json")
        assert sent.returncode == 0, sent.stderr
        answer = json.loads(sent.stdout)
        assert undocumented(answer) == missing(answer) == []
        assert answer["stored"] and answer["ready_at"].startswith("2027-03-14T08:")
        again = command(home, "send", demo, "--port", port, "--keep-clock", "--replace")
        assert again.returncode == 0, again.stderr
        watched = command(home, "watch", "--port", port, "--json", "--for", 4)
        assert watched.returncode == 0, watched.stderr
        sights = [json.loads(line) for line in watched.stdout.splitlines()]
        assert sights and {sight["schema"] for sight in sights} == {"tourier/watch/1"}
        assert undocumented(sights[-1]) == missing(sights[-1]) == []
        assert sights[-1]["at_s"] > sights[0]["at_s"] > START_S
        assert sights[-1]["word"] == "NEXT" and sights[-1]["left_of"] == "start"
        plain = command(home, "watch", "--port", port, "--plain", "--for", 2)
        assert plain.returncode == 0
        assert "\x1b" not in plain.stdout and "begins in" in plain.stdout and "left in the window" not in plain.stdout
        taken = command(home, "collect", "--port", port, "--json")
        assert taken.returncode == 0, taken.stderr
        assert json.loads(taken.stdout)["batch"] == 1
        assert undocumented(json.loads(taken.stdout)) == missing(json.loads(taken.stdout)) == []
        health = command(home, "device", "check", "--port", port, "--json")
        assert undocumented(json.loads(health.stdout)) == [], health.stderr
        assert json.loads(command(home, "collect", "--port", port, "--json").stdout)["batch"] == 1
        seen = command(home, "review", "--json")
        assert seen.returncode == 0, seen.stderr
        assert json.loads(seen.stdout)["schema"] == "tourier/review/1"
        listed = command(home, "batches", "--json")
        assert len(json.loads(listed.stdout)["batches"]) == 1
        process.send_signal(signal.SIGINT)
        assert process.wait() == 130
        assert process.stderr.read().strip() == "Stopped."
    # The same flash again: the plan is still there.
    with served(home, "--speed", "1", "--at", AT, "--flash", str(flash)) as (port, _):
        held = command(home, "collect", "--port", port, "--json")
        assert json.loads(held.stdout)["batch"] == 1, held.stderr


def test_an_empty_timer_has_nothing_to_collect_or_replan(home, demo):
    with served(home, "--speed", "1") as (port, _):
        for arguments in (("collect",), ("replan", demo)):
            said = command(home, *arguments, "--port", port)
            assert said.returncode == 2, said.stderr
            assert said.stderr.strip().count("\n") == 0 and "holds no plan" in said.stderr
    assert not (home / "data" / "logbook.sqlite").exists()


class Puller:
    """Pulls the cable of a timer once so many octets have gone in one direction."""

    def __init__(self, direction: str) -> None:
        self.direction = direction
        self.after = 1 << 60
        self.seen = 0
        self.fired = threading.Event()

    def __call__(self, direction: str, _ms: int, octets: bytes) -> None:
        if direction == self.direction:
            self.seen += len(octets)
            if self.seen >= self.after:
                self.fired.set()

    def arm(self, timer: VirtualTimer, octets: int) -> threading.Thread:
        self.seen, self.after = 0, octets
        self.fired.clear()

        def wait() -> None:
            self.fired.wait()
            timer.pull_cable()

        thread = threading.Thread(target=wait, daemon=True)
        thread.start()
        return thread


def _slow_timer(tmp_path, puller):
    # 115200 bit/s, so that a transfer lasts long enough to be cut in its middle.
    return VirtualTimer(
        tmp_path / "flash.img", start_at_s=START_S, capture=puller, bridge_options={"bits_per_s": 115200}
    )


def test_a_cable_pulled_while_sending_is_told_and_repeating_completes(home, demo, tmp_path, capsys):
    puller = Puller(">")
    with _slow_timer(tmp_path, puller) as timer:
        thread = puller.arm(timer, 1200)
        code = main(["send", str(demo), "--port", timer.port, "--keep-clock"])
        said = capsys.readouterr()
        assert puller.fired.is_set(), said
        thread.join()
        assert code == 3 and said.out == ""
        assert "cable" in said.err.strip().split("\n")[-1] or "gone" in said.err.strip().split("\n")[-1]
        assert "Traceback" not in said.err
        port = timer.port
        timer.plug_cable()
        assert timer.port == port
        assert main(["send", str(demo), "--port", timer.port, "--keep-clock", "--json"]) == 0
        assert json.loads(capsys.readouterr().out)["steps"] > 20


def test_a_cable_pulled_while_collecting_is_told_and_repeating_completes(home, demo, tmp_path, capsys):
    puller = Puller("<")
    with _slow_timer(tmp_path, puller) as timer:
        assert main(["send", str(demo), "--port", timer.port, "--keep-clock"]) == 0
        timer.run_for(3 * 3600)  # some 6 KB of temperatures
        capsys.readouterr()
        thread = puller.arm(timer, 6000)
        code = main(["collect", "--port", timer.port, "--json"])
        said = capsys.readouterr()
        assert puller.fired.is_set(), said
        thread.join()
        assert code == 3 and said.out == "" and "Traceback" not in said.err
        kept = sum(file.stat().st_size for file in (home / "state" / "collecting").glob("*.part"))
        assert kept > 3000  # what had arrived
        assert not (home / "data" / "logbook.sqlite").exists()  # and nothing half taken in
        timer.plug_cable()
        capture = tmp_path / "again.link"
        assert main(["collect", "--port", timer.port, "--json", "--capture", str(capture)]) == 0
        assert json.loads(capsys.readouterr().out)["sample_bytes"] > 3000
        # Only the rest was asked for: the plan not at all, the temperatures from where they broke off.
        asked = [line for line in decode_file(capture) if "> LOG_READ" in line]
        assert asked, "nothing was asked for"
        assert not [line for line in asked if "stream=3" in line]
        assert not [line for line in asked if "stream=2" in line and " offset=0 " in line]
        assert not list((home / "state" / "collecting").glob("*.part"))
        assert main(["review", "--json"]) == 0


def test_a_port_that_another_program_has(home, demo, tmp_path):
    with VirtualTimer(tmp_path / "flash.img", start_at_s=START_S) as timer:
        with subprocess.Popen(
            [*COMMAND, "watch", "--port", timer.port, "--plain", "--for", "60"], env=environment(home),
            stdout=subprocess.PIPE, text=True,
        ) as other:  # fmt: skip
            try:
                assert other.stdout.readline()  # it has the port
                said = command(home, "collect", "--port", timer.port)
                assert said.returncode == 3
                assert "in use" in said.stderr and said.stderr.count("\n") == 1
            finally:
                other.send_signal(signal.SIGINT)
                other.wait()
        assert other.returncode == 130


def _stranger(answer):
    """A pty on which something else answers: (path, stop)."""
    leader, follower = pty.openpty()
    tty.setraw(follower)
    stop = threading.Event()

    def speak() -> None:
        while not stop.is_set():
            try:
                heard = os.read(leader, 256)
                os.write(leader, answer(heard))
            except OSError:
                return

    threading.Thread(target=speak, daemon=True).start()
    return os.ttyname(follower), lambda: (stop.set(), os.close(follower), os.close(leader))


@pytest.mark.parametrize(
    "answer", [lambda heard: heard, lambda heard: b"\x1b[31mlogin: \x7e\x7d\x7e\xff" * 3, lambda _h: b"\r\n>>> "],
    ids=["echo", "noise", "prompt"],
)  # fmt: skip
def test_strangers_on_the_port(home, demo, answer, capsys):
    path, close = _stranger(answer)
    try:
        assert main(["collect", "--port", path]) == 3
        said = capsys.readouterr()
        assert said.out == "" and "\x1b" not in said.err
        assert said.err.strip().count("\n") == 0 and re.search(r"timer|MicroPython|prompt", said.err)
    finally:
        close()


def test_a_closed_stdout_is_no_fault(home, demo):
    with subprocess.Popen(
        [*COMMAND, "plan", str(demo)], env=environment(home), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        process.stdout.close()
        assert process.wait() == 0
        assert "Traceback" not in process.stderr.read() and process.returncode == 0
