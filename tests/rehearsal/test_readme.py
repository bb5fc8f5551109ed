"""What the README tells one to type, typed in order into an empty shell."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def commands() -> list[str]:
    """Every indented line of the README, in order, without the remarks behind them."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    return [re.sub(r"\s{2,}#.*", "", line) for line in re.findall(r"^    (\S.*)$", text, re.MULTILINE)]


def typed(lines: list[str], folder: Path) -> tuple[int, str]:
    """Type lines into a shell with nothing in its home and no path but the system's; stop at the first that fails."""
    (folder / "home").mkdir()
    script = "set -e\n" + "\n".join(f"echo '$ {n}' >&2\n{line}" for n, line in enumerate(lines)) + "\nkill %1 || true\n"
    done = subprocess.run(
        ["bash"], input=script, cwd=folder, capture_output=True, text=True,
        env={"HOME": str(folder / "home"), "PATH": "/usr/local/bin:/usr/bin:/bin", "LANG": "C.UTF-8"},
    )  # fmt: skip
    return done.returncode, done.stdout + done.stderr


@pytest.mark.skipif(os.name != "posix", reason="types into a shell")
def test_all_but_the_two_commands_work_as_they_stand(tmp_path):
    """The two that install are typed by CI and by hand; here the environment that runs the tests takes their place."""
    first, second, *others = commands()
    assert "pip install" in first and "pip install" in second and len(others) >= 8
    assert others[0] == ". .venv/bin/activate"
    if not (Path(sys.prefix) / "bin" / "activate").is_file():
        pytest.skip("no virtual environment to activate")
    (tmp_path / ".venv").symlink_to(sys.prefix)
    code, said = typed(others, tmp_path)
    assert code == 0, said[-3000:]
    assert "command not found" not in said
    assert "fat layers" in said or "layers" in said


def test_a_command_that_does_not_work_is_noticed(tmp_path):
    code, said = typed(["tourier-that-is-not-there", "true"], tmp_path)
    assert code == 127 and "not found" in said
