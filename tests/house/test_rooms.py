"""Every import against rooms.toml, and faults planted one by one into a copy of the house: each must be caught."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import rooms

# What a hasty hand could write, and what must be said about it.
FAULTS = [
    ("companion/tourier/logbook/account/core.py", "from tourier.dayplan import plan", "may not know tourier.dayplan"),
    ("companion/tourier/logbook/record/model.py", "import tourier.batch.workup", "may not know tourier.batch.workup"),
    ("companion/tourier/logbook/record/model.py", "from tourier.logbook.findings import review", "logbook.findings"),
    ("companion/tourier/logbook/learning/learn.py", "import tourier.logbook.findings.marks", "logbook.findings.marks"),
    ("companion/tourier/batch/model.py", "def f():\n    from tourier.logbook.record import store", "tourier.logbook"),
    ("companion/tourier/batch/model.py", "from tourier.dayplan import plan", "may not know tourier.dayplan"),
    ("companion/tourier/device/client.py", "from tourier.dayplan import plan", "may not know tourier.dayplan"),
    ("companion/tourier/device/client.py", "from tourier.device.virtual import board", "may not know tourier.device"),
    ("companion/tourier/dayplan/plan.py", "from tourier import rehearsal", "may not know tourier.rehearsal"),
    ("companion/tourier/known.py", "from tourier import design", "may not know tourier.design"),
    ("companion/tourier/craft/sheets.py", "from tourier.quantities import length", "may not know tourier.quantities"),
    ("companion/tourier/cli/plan.py", "from tourier.desk import app", "may not know tourier.desk.app"),
    ("companion/tourier/cli/plan.py", "import runpy\nrunpy.run_module('tourier.desk')", "only cli.begin launches it"),
    ("companion/tourier/desk/app.py", "from tourier.cli import run", "may not know tourier.cli"),
    ("companion/tourier/desk/data/settings.py", "from tourier.desk.screens import help", "may not know tourier.desk"),
    ("companion/tourier/picture/raster.py", "import tourier.logbook", "may not know tourier.logbook"),
    ("companion/tourier/craft/block.py", "print(1)", "calls print()"),
    ("companion/tourier/design.py", "import sys\nsys.stdout.write('x')", "uses sys.stdout"),
    ("companion/tourier/logbook/findings/review.py", "import textual", "may not use textual"),
    ("companion/tourier/device/client.py", "import pint", "may not use pint"),
    ("companion/tourier/batch/read.py", "import requests", "may not use requests"),
    ("companion/tourier/dayplan/plan.py", "import sqlite3", "may not use sqlite3"),
    ("companion/tourier/newroom.py", "x = 1", "stands in no room"),
    ("companion/tourier/batch/model.py", "import tourier.batch.workup", "circle"),
    ("shared_schedule/plan.py", "import tourier.files", "may not know tourier.files"),
    ("shared_schedule/units.py", "import shared_schedule.day", "circle"),
    ("firmware/ui.py", "def keep():\n    open('/x', 'w')", "opens a file to write it"),
    ("firmware/ui.py", "def keep(mode):\n    open('/x', mode)", "opens a file to write it"),
    ("firmware/ui.py", "import os\ndef forget():\n    os.remove('/b')", "uses os.remove"),
    ("firmware/ui.py", "from os import rename", "takes rename from os"),
    ("firmware/keeper.py", "from files import try_write", "takes what writes from files"),
    ("firmware/main.py", "import files\nfiles.remove_tree('/b')", "uses files.remove_tree"),
]


def _run(*arguments: object, text: str = "") -> str:
    """rooms.py in a process of its own: the tree it reads must not be the one this process runs."""
    command = [sys.executable, str(Path(rooms.__file__)), *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, input=text)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def answers(tmp_path_factory) -> list[list[str]]:
    """What is broken in a copy of the house: as it is, then with each fault."""
    copy = tmp_path_factory.mktemp("house")
    for part in ("companion/tourier", "shared_schedule", "firmware"):
        shutil.copytree(rooms.ROOT / part, copy / part, ignore=shutil.ignore_patterns("__pycache__"))
    faults = [("shared_schedule/units.py", ""), *(fault[:2] for fault in FAULTS)]
    return json.loads(_run("--plant", copy, text=json.dumps(faults)))


def test_the_house_keeps_its_rules(answers) -> None:
    assert answers[0] == [], "\n".join(answers[0])


@pytest.mark.parametrize("number", range(len(FAULTS)), ids=lambda n: f"{Path(FAULTS[n][0]).stem}: {FAULTS[n][2]}")
def test_a_planted_fault_is_caught(answers, number: int) -> None:
    file, _text, said = FAULTS[number]
    assert any(said in line and Path(file).stem in line for line in answers[number + 1]), answers[number + 1]


def test_table_and_index_in_developers_md_are_those_of_today() -> None:
    text = (rooms.ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert rooms.table() in text, "run: python tests/house/rooms.py --write"
    listed = rooms.INDEX.search(text)[0].splitlines()[1:-1]
    assert len(listed) > 50 and set(listed) <= set(rooms.decisions().splitlines()), listed


def test_decisions_have_all_their_parts() -> None:
    """Date, status, context, decision, alternatives; each number once; what is superseded says by what."""
    found = sorted((rooms.ROOT / "companion" / "decisions").glob("*.md"))
    numbers = [path.name[:3] for path in found]
    assert len(found) > 50 and len(set(numbers)) == len(numbers) and all(n.isdigit() for n in numbers)
    for path in found:
        text = path.read_text(encoding="utf-8")
        status = r"\bStatus:? (accepted|(superseded|amended) by \d{3})"
        day = r"^Date:? \d{4}-\d\d-\d\d\b"
        for part in (r"^# \S", day, status, "^## Context", "^## Decision", "^## Alternatives"):
            assert re.search(part, text, re.MULTILINE), f"{path.name} lacks {part}"


def test_every_room_is_there() -> None:
    """A line for a room that went would allow what nobody does."""
    for room, about in rooms.contracts()["rooms"].items():
        for place in about.get("also", [room]):
            path = rooms.ROOT / "companion" / "tourier" / Path(*place.split("."))
            elsewhere = room in {"shared_schedule", "firmware", "tourier", "device.tools"}
            assert path.is_dir() or path.with_suffix(".py").is_file() or elsewhere, place
        assert set(about["may"]) <= rooms.contracts()["rooms"].keys()
