"""A kill and a closed terminal end the desk as Leave does: the edit is kept, the terminal as before, no timer left."""

from __future__ import annotations

import os
import pty
import signal
import subprocess
import sys
import termios
import time

import pytest
from limits import PATIENCE_S
from tourier.batch.examples import demo_text
from tourier.desk.data.virtual import VirtualBench

COLUMNS, LINES = 80, 24


class Terminal:
    """The desk in a terminal of its own; what it writes is read all the time, as terminals do."""

    def __init__(self, home, *arguments):
        self.master, slave = pty.openpty()
        termios.tcsetwinsize(self.master, (LINES, COLUMNS))
        self.slave = slave
        self.before = termios.tcgetattr(slave)
        self.written = b""
        environment = {**os.environ, "TOURIER_HOME": str(home), "TERM": "xterm-256color", "TMPDIR": str(home / "tmp")}
        self.desk = subprocess.Popen(
            [sys.executable, "-m", "tourier.desk", *arguments],
            stdin=slave, stdout=slave, stderr=slave, env=environment, start_new_session=True,
            preexec_fn=lambda: signal.signal(signal.SIGHUP, signal.SIG_DFL),  # also in a run started by nohup
        )  # fmt: skip
        os.set_blocking(self.master, False)

    def read(self):
        try:
            self.written += os.read(self.master, 1 << 16)
        except BlockingIOError:
            time.sleep(0.02)

    def until(self, condition):
        end = time.monotonic() + PATIENCE_S
        while not condition():
            assert time.monotonic() < end, self.written[-400:]
            self.read()

    def type(self, text):
        os.write(self.master, text)


@pytest.fixture
def edited(home):
    """A desk in the middle of an edit."""
    (home / "config").mkdir()
    (home / "tmp").mkdir()
    (home / "config" / "desk.toml").write_text("welcomed = true\n", encoding="utf-8")
    terminal = Terminal(home)
    try:
        terminal.until(lambda: b"time zone" in terminal.written)
        terminal.until(lambda: b"Begins" in terminal.written)  # all is at rest by now
        terminal.type(b"\t")
        end = time.monotonic() + 1.0  # what is typed before the cursor has moved goes where it was
        terminal.until(lambda: time.monotonic() > end)
        terminal.type(b"ZZQ")
        terminal.until(lambda: b"ZZQ" in terminal.written)
        yield terminal
    finally:
        if terminal.desk.poll() is None:
            terminal.desk.kill()
            terminal.desk.wait()
        os.close(terminal.slave)


def test_a_file_and_a_port_are_opened_as_asked(home):
    (home / "config").mkdir()
    (home / "tmp").mkdir()
    (home / "config" / "desk.toml").write_text("welcomed = true\n", encoding="utf-8")
    (home / "mine.toml").write_text(demo_text().replace("Village hall breakfast", "Not the demo"), encoding="utf-8")
    terminal = Terminal(home, str(home / "mine.toml"), "--port", str(home / "port"))
    try:
        terminal.until(lambda: b"Not the demo" in terminal.written)
        terminal.until(lambda: b"timer lost" in terminal.written)  # that port was tried, and is none
    finally:
        terminal.desk.kill()
        terminal.desk.wait(10)
        os.close(terminal.slave)


def _kept(home):
    return any("ZZQ" in file.read_text(encoding="utf-8") for file in (home / "state" / "autosave").glob("*.toml"))


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_kill_leaves_a_sane_terminal_and_keeps_the_edit(home, edited, number):
    edited.desk.send_signal(number)
    edited.until(lambda: edited.desk.poll() is not None)
    for _ in range(5):
        edited.read()
    assert edited.desk.returncode == 128 + number
    assert termios.tcgetattr(edited.slave) == edited.before
    assert b"\x1b[?1049l" in edited.written and b"\x1b[?1000l" in edited.written
    assert _kept(home) and not list((home / "tmp").iterdir())


def test_a_terminal_that_takes_nothing_any_more_does_not_hold_the_desk(home, edited):
    # Nobody reads what it writes: as with a terminal window that hangs or is gone.
    for _ in range(40):
        edited.type(b"\x1b[18~")  # F7 paints everything anew
        time.sleep(0.03)
    edited.desk.send_signal(signal.SIGHUP)
    assert edited.desk.wait() == 128 + signal.SIGHUP
    assert _kept(home)


def test_a_virtual_timer_left_behind_is_forgotten_at_the_end():
    code = "from tourier.desk.data.virtual import VirtualBench as V; print(V()._folder)"
    folder = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip()
    assert folder and not os.path.exists(folder)
    bench = VirtualBench()
    bench.close()
    bench.close()
    assert not bench._folder.exists()
