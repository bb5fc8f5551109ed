"""Several batch files planned as one day: the rules are checked on the printed JSON alone, by arithmetic of its own."""

from __future__ import annotations

import tomllib
from collections import defaultdict
from datetime import datetime, timedelta

import pytest
from tourier.batch.examples import demo_text, example_text

TUESDAY = datetime.fromisoformat("2026-12-01T09:00+01:00")


class Clock(datetime):
    """A clock that stands on a Tuesday, so that Saturday and Sunday are those of one week."""

    @classmethod
    def now(cls, tz=None):
        return TUESDAY.astimezone(tz)


def _kitchen(text: str) -> str:
    return text[text.index("[kitchen]") :]


def _danish() -> str:
    text = demo_text()
    head, rest = text[: text.index("[[pieces]]")], text[text.index("[formula]") :]
    head = head.replace("Village hall breakfast", "Danish").replace("Sunday 08:30", "Sunday 09:15")
    square = '[[pieces]]\nname = "square"\ncount = 6\nshape = "rectangle"\nbase = "9 cm"\nheight = "9 cm"\n'
    return head + square + 'thickness = "5 mm"\n\n' + rest


def _croissants() -> str:
    text = demo_text()
    extra = text[text.index('[[pieces]]\nname = "pain') : text.index("[formula]")]
    return text.replace(extra, "").replace("count = 24", "count = 8")


def _puff(when: str) -> str:
    text = example_text("puff")
    text = text[: text.index("[kitchen]")] + _kitchen(demo_text())
    return text.replace("Saturday 18:30", when).replace("Europe/Vienna", "Europe/Paris").replace("= 20", "= 8")


@pytest.fixture
def files(tmp_path, monkeypatch):
    monkeypatch.setattr("tourier.cli.plan.datetime", Clock)
    made = []
    for name, text in (("a", _croissants()), ("b", _danish()), ("c", _puff("Saturday 18:30"))):
        made.append(tmp_path / f"{name}.toml")
        made[-1].write_text(text, encoding="utf-8")
    return made


def broken(plan: dict, trays: int) -> list[str]:
    """Return what of a printed day cannot be: two jobs for two hands, a full oven, a step before its turn, late."""
    found = []
    spans = [(datetime.fromisoformat(s["start"]), datetime.fromisoformat(s["end"]), s) for s in plan["steps"]]
    hands = sorted((a, a + timedelta(seconds=s["attended_s"]), s["name"]) for a, _, s in spans if s["attended_s"])
    found += [f"{x[2]} and {y[2]}" for x, y in zip(hands, hands[1:], strict=False) if y[0] < x[1]]
    bakes = [(a, b) for a, b, s in spans if s["kind"] == "bake"]
    # Each load of these batches takes one tray.
    found += [f"too full an oven at {a}" for a, _ in bakes if sum(c <= a < d for c, d in bakes) > trays]
    ends = {(s["batch_n"], s["key"]): b for _, b, s in spans}
    found += [f"{s['name']} before {k}" for a, _, s in spans for k in s["after"] if ends[s["batch_n"], k] > a]
    last = defaultdict(list)
    for _, end, step in spans:
        last[step["batch_n"]].append(end)
    found += [
        f"batch {n} late" for n, wish in enumerate(plan["wished_at"], 1) if max(last[n]) > datetime.fromisoformat(wish)
    ]
    for step in plan["away"]:
        low, high = datetime.fromisoformat(step["from"]), datetime.fromisoformat(step["to"])
        found += [f"{name} while away" for a, b, name in hands if a < high and low < b]
    return found


def test_croissants_danish_and_puff_are_one_day(tourier, files, tmp_path):
    said = tourier("plan", *files, "--json", "--ics", tmp_path / "day.ics")
    assert said.code == 0, said.err
    plan = said.json
    names = [tomllib.loads(file.read_text(encoding="utf-8"))["name"] for file in files]
    assert [batch["batch"]["name"] for batch in plan["batches"]] == names
    assert {step["batch_n"] for step in plan["steps"]} == {1, 2, 3}
    assert len({step["id"] for step in plan["steps"]}) == len(plan["steps"])
    assert broken(plan, 2) == []
    worked = [step for step in plan["steps"] if step["attended_s"]]
    moved = {**worked[1], "start": worked[0]["start"]}
    spoilt = {**plan, "steps": [moved if step is worked[1] else step for step in plan["steps"]]}
    assert broken(spoilt, 2)  # the checker sees one pair of hands in two places
    events = (tmp_path / "day.ics").read_text(encoding="utf-8").replace("\r\n ", "")
    assert all(name in events for name in names)


def test_two_kitchens_are_refused_by_what_differs(tourier, files):
    text = files[1].read_text(encoding="utf-8")
    text = text.replace("trays = 2", "trays = 3").replace('room = "26 °C"', 'room = "21 °C"')
    files[1].write_text(text, encoding="utf-8")
    said = tourier("plan", *files[:2])
    assert said.code == 2 and "b.toml" in said.sentence and "a.toml" in said.sentence
    assert "kitchen room, kitchen oven trays differ" in said.sentence and "fridge" not in said.sentence


@pytest.mark.parametrize("option", ["--card", "--cut-map", "--write"])
def test_papers_of_one_batch_are_refused_for_several(tourier, files, tmp_path, option):
    said = tourier("plan", *files[:2], option, tmp_path / "x")
    assert said.code == 2 and option in said.sentence and not (tmp_path / "x").exists()


def test_a_bad_second_file_is_named(tourier, files):
    files[1].write_text("name = 3", encoding="utf-8")
    said = tourier("plan", *files)
    assert said.code == 2 and "b.toml" in said.err and "a.toml" not in said.err
