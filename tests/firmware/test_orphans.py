"""The interpreter of a virtual timer ends when the program that plays its world is killed: nothing spins for ever."""

from __future__ import annotations

import os
import signal
import subprocess
import sys

import pytest
from limits import wait_for

# In each state the program prints the interpreter's process id, then hangs until it is killed.
_PARENT = """
import os, sys, time
from pathlib import Path
from tourier.device.virtual import board, sidechannel
state = sys.argv[2]
options = {"cut_at": 5} if state == "cut" else {}
timer = board.VirtualTimer(Path(sys.argv[1]) / "flash", start_at_s=217400400, **options)
if state in ("cut", "reset"):  # the host dies before it has ended the interpreter
    known = timer._message
    def deaf(kind, payload):
        if kind in (sidechannel.CUT, sidechannel.RESET):
            print(timer._process.pid, flush=True)
            time.sleep(600)
        known(kind, payload)
    timer._message = deaf
timer.__enter__()
if state == "prompt":
    timer.run_for(5)
    line = os.open(timer.port, os.O_RDWR | os.O_NOCTTY)
    os.write(line, b"\\r\\x03\\r\\x01")
    while b"raw REPL" not in os.read(line, 1000):
        pass
if state == "reset":
    timer.run_for(5)
    line = os.open(timer.port, os.O_RDWR | os.O_NOCTTY)
    os.write(line, b"\\x03\\x03\\x03")
    while b">>> " not in os.read(line, 1000):
        pass
    os.write(line, b"main.board.reset()\\r")
if state in ("idle", "prompt"):
    print(timer._process.pid, flush=True)
if state == "playing":
    print(timer._process.pid, flush=True)
    while True:
        timer.run_for(3600)
time.sleep(600)
"""


def _gone(pid: int) -> bool:
    try:
        with open(f"/proc/{pid}/stat") as file:
            return file.read().rsplit(")", 1)[1].split()[0] == "Z"  # ended; whoever inherited it has not looked yet
    except FileNotFoundError:
        return True


@pytest.mark.parametrize("state", ["idle", "playing", "prompt", "cut", "reset"])
@pytest.mark.skipif(not os.path.isdir("/proc/self"), reason="looks for processes in /proc")
def test_it_ends_with_its_parent(tmp_path, state):
    parent = subprocess.Popen(
        [sys.executable, "-c", _PARENT, str(tmp_path), state], stdout=subprocess.PIPE, text=True, env=os.environ
    )
    try:
        child = int(parent.stdout.readline())
        assert not _gone(child)
    finally:
        parent.send_signal(signal.SIGKILL)
        parent.wait()
    try:
        wait_for(lambda: _gone(child), "the interpreter outlived its parent")
    finally:
        if not _gone(child):
            os.kill(child, signal.SIGKILL)
