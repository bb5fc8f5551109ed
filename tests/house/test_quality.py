"""What tools and a ruler find in the code: ruff's rules, and no module longer than one can keep in mind."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import figures

LONGEST = 500


def _ruff(*arguments: object, text: str | None = None) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "ruff", "check", "-q", *map(str, arguments)]
    return subprocess.run(command, cwd=figures.ROOT, capture_output=True, text=True, input=text)


def test_ruff_finds_nothing() -> None:
    done = _ruff(".")
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-1000:]


def test_ruff_would_find_something() -> None:
    done = _ruff("--stdin-filename", "companion/tourier/planted.py", "-", text="import os\n")
    assert done.returncode == 1 and "F401" in done.stdout


def too_long(paths: list[Path]) -> list[str]:
    counted = ((path, path.read_text(encoding="utf-8").count("\n")) for path in paths)
    return [f"{path.name}: {lines} lines" for path, lines in counted if lines > LONGEST]


def test_no_module_is_too_long(tmp_path: Path) -> None:
    long = tmp_path / "long.py"
    long.write_text("x = 1\n" * (LONGEST + 1))
    assert too_long([long]) == ["long.py: 501 lines"]
    assert len(figures.modules(figures.ROOT)) > 100
    assert too_long(figures.modules(figures.ROOT)) == []
