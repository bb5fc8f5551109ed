"""Rehearsals of the demo batch, and commands as a person starts them."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import UTC
from pathlib import Path

from tourier import rehearsal
from tourier.batch.examples import demo_text
from tourier.known import Lessons

COMMAND = [sys.executable, "-c", "import sys; from tourier.cli import main; sys.exit(main())"]


def environment(home: Path) -> dict[str, str]:
    """The environment of a command with a home of its own, importing what this run of the tests imports."""
    return os.environ | {"TOURIER_HOME": str(home), "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}


def command(home: Path, *arguments: object) -> subprocess.CompletedProcess[str]:
    """Run one command to its end in a process of its own."""
    return subprocess.run(
        [*COMMAND, *map(str, arguments)], env=environment(home), capture_output=True, text=True,
        stdin=subprocess.DEVNULL,
    )  # fmt: skip


def play(folder: Path, scenario: str, seed: int = 1) -> rehearsal.Rehearsal:
    """Rehearse the demo batch, set in its own week."""
    return rehearsal.rehearse(
        demo_text(), "demo", rehearsal.DEMO_NOW.astimezone(UTC), Lessons(), scenario, seed, folder, lambda *_: None
    )
