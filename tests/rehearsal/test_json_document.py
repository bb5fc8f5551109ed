"""companion/tourier/cli/JSON.md against what the commands print, and against every schema the code names."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from json_document import DOCUMENT, missing, tables, undocumented
from tourier.cli import main

SOMETIMES = {"plan": {"batches", "chance", "later"}, "logbook": {"done", "file"}, "learn": {"taken_back"}}


def test_every_schema_of_the_code_is_documented_and_the_other_way_round():
    code = "\n".join(file.read_text(encoding="utf-8") for file in Path(DOCUMENT).parents[1].rglob("*.py"))
    assert set(re.findall(r'"(tourier[/.][a-z]+/\d+)"', code)) == set(tables())


def printed(capsys, *arguments: str) -> dict:
    capsys.readouterr()
    assert main([*arguments, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


@pytest.mark.parametrize(
    "arguments",
    [
        ("where",), ("batches",), ("review",), ("outcome", "1", "--saw", "bready", "--rating", "3"), ("learn",),
        ("logbook", "check"), ("device", "list"), ("plan",),
    ],
    ids=lambda arguments: arguments[0],
)  # fmt: skip
def test_printed_keys_are_the_documented_ones(rehearsed, capsys, tmp_path, monkeypatch, arguments):
    """All that is printed is documented; all that is documented is printed, but for keys that say "missing when"."""
    from tourier.batch.examples import demo_text
    from tourier.device import upkeep

    done, _ = rehearsed
    monkeypatch.setenv("TOURIER_HOME", str(tmp_path))
    monkeypatch.setattr(upkeep, "candidates", lambda: [])
    if arguments[0] == "plan":
        (tmp_path / "demo.toml").write_text(demo_text(), encoding="utf-8")
        arguments = ("plan", str(tmp_path / "demo.toml"))
    elif arguments[0] not in ("where", "device"):
        book = tmp_path / "logbook.sqlite"
        book.write_bytes((done.kept / "logbook.sqlite").read_bytes())
        arguments = (*arguments, "--logbook", str(book))
    value = printed(capsys, *arguments)
    assert undocumented(value) == []
    kind = value["schema"].split("/")[1]
    if kind != "device":
        assert set(missing(value)) <= SOMETIMES.get(kind, set())


def test_the_rehearsals_own_object(rehearsed):
    from tourier.cli import rehearse

    done, _ = rehearsed
    value = rehearse._json(done, done.kept / "report.html")
    for one in (value, value["plan"], value["review"]):
        assert undocumented(one) == []
    assert missing(value) == [] and set(missing(value["plan"])) <= SOMETIMES["plan"]


def test_the_comparison_notices_what_it_should():
    """The check can fail: an unknown key, a renamed inner key and a key left out are all named."""
    good = {"schema": "tourier/batches/1", "batches": [{"batch": 1, "name": "x"}]}
    assert undocumented(good) == [] and missing(good) == []
    assert undocumented(good | {"more": 1}) == ["more"]
    assert undocumented({"schema": "tourier/batches/1", "batches": [{"number": 1}]}) == ["batches.number"]
    assert missing({"schema": "tourier/batches/1"}) == ["batches"]
