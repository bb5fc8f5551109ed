"""What a virtual bench timer needs of this computer: a MicroPython interpreter, and a folder that goes with it.

Folders last as long as their timer and go even when the program that made them was killed: each carries the number of
its process in its name, and whoever makes the next one takes away those whose process is gone.
"""

from __future__ import annotations

import contextlib
import os
import platform
import re
import shutil
import socket
import subprocess
import sys
import tempfile
from pathlib import Path

from tourier.device.files import firmware_dir, shared_dir

_NAME = re.compile(r"tourier-timer-(\d{1,10})-\w+")

class VirtualTimerError(RuntimeError):
    """The interpreter ended, hung or is not where it was expected; the text says which and what it last printed."""


def find_micropython() -> str:
    """Path of the MicroPython interpreter installed beside this Python, or on PATH."""
    beside = Path(sys.executable).parent / "micropython"
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if not found:
        raise VirtualTimerError(
            "The virtual timer needs a MicroPython interpreter, and none is installed here "
            f"({platform.system()} on {platform.machine()}): a real timer works without it."
        )
    return found


def ready() -> None:
    """Raise VirtualTimerError where this computer cannot run a virtual timer, before anything else is tried."""
    if not hasattr(os, "openpty"):
        raise VirtualTimerError(
            f"The virtual timer needs a Linux or macOS computer, and this is {platform.system() or 'another'}: "
            "a real timer works here too."
        )
    find_micropython()


def launch(
    line: int, flash: Path, heap: str, scratch: Path, errors: Path, channels: str = ""
) -> tuple[subprocess.Popen, socket.socket]:
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
        "TOURIER_CHANNELS": channels,
        "HOME": str(scratch),
    }
    command = [find_micropython(), "-X", f"heapsize={heap}", "-i", str(firmware_dir() / "virtual_main.py")]
    with open(errors, "ab") as stderr, theirs:
        process = subprocess.Popen(
            command, stdin=line, stdout=line, stderr=stderr, env=env, pass_fds=[theirs.fileno()],
            start_new_session=True, cwd=scratch,
        )  # fmt: skip
    return process, ours


def scratch_folder() -> Path:
    """Return a new, empty folder for this process. Raises OSError where the temporary folder takes nothing."""
    _sweep(Path(tempfile.gettempdir()))
    return Path(tempfile.mkdtemp(prefix=f"tourier-timer-{os.getpid()}-"))


def _sweep(parent: Path) -> None:
    """Take away what killed programs of this user left; what cannot be looked at stays."""
    with contextlib.suppress(OSError):
        for entry in os.scandir(parent):
            found = _NAME.fullmatch(entry.name)
            if found is None or not entry.is_dir(follow_symlinks=False):
                continue
            with contextlib.suppress(OSError):
                if entry.stat(follow_symlinks=False).st_uid == _user() and not _alive(int(found[1])):
                    shutil.rmtree(entry.path, ignore_errors=True)


def _user() -> int:
    return os.getuid() if hasattr(os, "getuid") else 0  # Windows gives every file the owner 0


def _alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):  # another user's, or no number of a process: not ours to judge
        return True
    return True
