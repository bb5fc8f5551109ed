"""`tourier thaw`: from a batch file, and from a batch in the logbook that says itself when its pieces were frozen."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from tourier.batch.examples import demo_text
from tourier.dayplan.model import to_at_s

from shared_schedule import day as D
from shared_schedule import journal as J
from shared_schedule import plan as wire
from shared_schedule.plan_writer import encode_plan

PARIS = ZoneInfo("Europe/Paris")
TEXT = demo_text().replace("count = 24", "count = 24\nfreeze = 12", 1)


@pytest.fixture
def frozen(tmp_path):
    file = tmp_path / "frozen.toml"
    file.write_text(TEXT, encoding="utf-8")
    return file


def hour(days, at="09:00"):
    return f"{(datetime.now(PARIS) + timedelta(days=days)):%Y-%m-%d} {at}"


def test_week_three_from_the_batch_file(tourier, frozen, tmp_path):
    said = tourier("thaw", frozen, "--frozen", hour(-18, "15:00"), "--ready", hour(2), "--json",
                   "--write", tmp_path / "p.bin", "--ics", tmp_path / "p.ics")  # fmt: skip
    assert said.code == 0, said.err
    assert [step["kind"] for step in said.json["steps"]][:2] == ["thaw", "proof"]
    ready = datetime.fromisoformat(said.json["ready_at"])
    assert ready.astimezone(PARIS).strftime("%Y-%m-%d %H:%M") <= hour(2) and said.json["sent"] is None
    assert wire.decode((tmp_path / "p.bin").read_bytes()).steps[0].kind == wire.THAW
    assert b"Thaw 12 pieces" in (tmp_path / "p.ics").read_bytes()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--ready", hour(2)), "Say when the pieces were frozen"),
        (("--ready", hour(2), "--frozen", hour(1)), "still to come"),
        (("--ready", hour(2), "--frozen", hour(-40)), "keep a month"),
        (("--ready", "soon", "--frozen", hour(-2)), "is no moment"),
    ],
)
def test_what_cannot_be_thawed_is_said_in_a_sentence(tourier, frozen, arguments, words):
    said = tourier("thaw", frozen, *arguments)
    assert said.code == 2 and words in said.sentence


def test_a_batch_that_froze_nothing(tourier, demo):
    said = tourier("thaw", demo, "--ready", hour(2), "--frozen", hour(-2))
    assert said.code == 2 and "nothing to thaw" in said.sentence


def test_the_logbook_knows_when_they_were_frozen(tourier, home, tmp_path):
    from tourier import places
    from tourier.logbook.record.store import Logbook

    at = to_at_s(datetime.now(UTC) - timedelta(days=6)) // 60 * 60
    plan = wire.validate(wire.Plan(
        [wire.Step(step_id=1, kind=wire.FREEZE, name="Freeze 12 pieces raw", place=wire.FREEZER, start_at_s=at,
                   planned_for_s=300, attended_s=300, min_s=300, ideal_s=300, max_s=900)],
        name="Hall", made_at_s=at - 600, ready_at_s=at + 300,
    ))  # fmt: skip
    data = encode_plan(plan)
    journal = b"".join([
        J.encode(J.PLAN, 0, at - 300, wire.plan_id(data), len(data)),
        J.encode(J.STEP, 1, at, 1, D.WAITING, D.RUNNING, 1),
        J.encode(J.STEP, 2, at + 300, 1, D.RUNNING, D.DONE, 1),
    ])  # fmt: skip
    book = places.logbook_file()
    book.parent.mkdir(parents=True, exist_ok=True)
    with Logbook(book) as logbook:
        number = logbook.collect("board", data, journal, b"", TEXT)
    said = tourier("thaw", number, "--ready", hour(2), "--json")
    assert said.code == 0, said.err
    late = tourier("thaw", number, "--ready", hour(26))
    assert late.code == 2 and "keep a month" in late.sentence
