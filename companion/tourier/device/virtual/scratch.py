"""Folders of a virtual timer that last as long as it does, and go even when the program that made them was killed.

Each carries the number of its process in its name; whoever makes the next one takes away those whose process is gone.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import tempfile
from pathlib import Path

_NAME = re.compile(r"tourier-timer-(\d{1,10})-\w+")


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
                if entry.stat(follow_symlinks=False).st_uid == os.getuid() and not _alive(int(found[1])):
                    shutil.rmtree(entry.path, ignore_errors=True)


def _alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):  # another user's, or no number of a process: not ours to judge
        return True
    return True
