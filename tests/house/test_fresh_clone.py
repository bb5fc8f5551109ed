"""What the README promises a fresh clone: two commands of one line, and a wheel that has everything in it."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def _commands() -> list[str]:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    section = readme.split("## Two commands")[1].split("\n## ")[0]
    return re.findall(r"^    (\S.*)$", section, re.MULTILINE)


def test_two_commands_of_one_line_each():
    first, second = _commands()
    assert first.endswith("tourier rehearse")
    assert second.endswith("-m pytest -n 2 --dist loadfile")
    for command in (first, second):
        assert command.startswith("python3 -m venv .venv && .venv/bin/pip install ")


def test_the_second_is_what_ci_runs():
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    assert _commands()[1] in ci
    assert os.access(ROOT / ".ci" / "run", os.X_OK)


def _copy(target: Path) -> Path:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True)
    if listed.returncode:
        pytest.skip("the wheel is built from a clone")
    for name in listed.stdout.splitlines():
        if (ROOT / name).is_file():
            (target / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, target / name)
    return target


@pytest.mark.slow
@pytest.mark.cpu(600)
def test_the_wheel_works_away_from_the_clone(tmp_path):
    source = _copy(tmp_path / "source")
    subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", tmp_path / "wheel", source], check=True
    )
    (wheel,) = (tmp_path / "wheel").glob("tourier-*.whl")
    site = tmp_path / "site"
    subprocess.run([sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--target", site, wheel], check=True)
    shutil.rmtree(source)
    for name in (
        "tourier/_firmware/main.py", "tourier/_firmware/app.py", "tourier/_firmware/virtual_main.py",
        "shared_schedule/plan.py", "tourier/batch/examples/demo.toml",
    ):  # fmt: skip
        assert (site / name).is_file(), name
    env = {k: v for k, v in os.environ.items() if k != "PYTHONPATH"}
    env |= {"PYTHONPATH": str(site), "TOURIER_HOME": str(tmp_path / "home")}

    def python(code: str, *arguments: str) -> str:
        done = subprocess.run(
            [sys.executable, "-c", code, *arguments], cwd=tmp_path, env=env, capture_output=True, text=True
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    found = python("from tourier.device.files import firmware_dir, shared_dir; print(firmware_dir(), shared_dir())")
    assert found.split() == [str(site / "tourier" / "_firmware"), str(site)]
    # The whole job, with nothing of the clone left.
    text = python("import sys; from tourier.cli import main; sys.exit(main())", "rehearse", "--json", "--keep", "kept")
    import json

    assert json.loads(text)["review"]["findings"][0]["fold"] == 3
