"""Snapshots of rooms and dialogs with a day in them: logs that were played and kept, so no clock is in the picture.

New ones: TOURIER_PICTURES=update pytest tests/desk/test_desk_logged_pictures.py
"""

from __future__ import annotations

from datetime import datetime
from types import SimpleNamespace

import pytest
from pictured import _still, batch_ready, looks, on_the_bench, views  # noqa: F401
from textual.widgets import TextArea

NOW_DAY = datetime(2027, 3, 14, 8, 0)


@views
def test_bench_with_a_day(picture, make_desk, until, played, size, theme):
    desk, log = make_desk(theme=theme), played("warm-third-fold")

    async def before(pilot):
        await batch_ready(desk, pilot, until)
        await on_the_bench(desk, pilot, until, log, left_s=170)
        await pilot.press("f2")
        await until(pilot, lambda: desk.screen.query("DaySteps") and desk.screen.query_one("DaySteps").row_count)
        await pilot.pause(0.2)

    picture(desk, size, before)


@views
def test_bench_with_two_timers_and_an_alarm(picture, make_desk, until, played, size, theme):
    desk, log, other = make_desk(theme=theme), played("warm-third-fold"), played("good")

    async def before(pilot):
        await batch_ready(desk, pilot, until)
        await on_the_bench(desk, pilot, until, log, left_s=0, alarm=3, slack_s=-900)
        await on_the_bench(desk, pilot, until, other, "/dev/ttyACM1", "00112233445599AA")
        desk.clear_notifications()
        await pilot.press("f2")
        await until(pilot, lambda: desk.screen.query("DaySteps") and desk.screen.query_one("DaySteps").row_count)
        desk.clear_notifications()
        await pilot.pause(0.3)

    picture(desk, size, before)


async def _look_back(desk, pilot, until):
    await batch_ready(desk, pilot, until)
    await pilot.press("f3")
    await until(pilot, lambda: getattr(desk.screen, "shown", None) is not None, what="no batch shown")
    await pilot.pause(0.2)


@looks
@pytest.mark.parametrize(
    ("size", "tab"),
    [((80, 24), "findings"), ((80, 24), "steps"), *(((120, 40), tab) for tab in ("findings", "excursions", "marks"))],
)
def test_look_back_with_a_day(picture, make_desk, until, played, home, size, tab, theme):
    from tourier.logbook.record.model import Outcome

    desk = make_desk(theme=theme)
    played("good").into(home / "data" / "logbook.sqlite", Outcome(rating=5), "00112233445599aa")
    played("warm-third-fold").into(home / "data" / "logbook.sqlite", Outcome(symptoms=("leak",), rating=2))

    async def before(pilot):
        await _look_back(desk, pilot, until)
        desk.screen.query_one("#lookback-tabs").active = f"tab-{tab}"
        await pilot.pause(0.3)

    picture(desk, size, before)


@views
def test_two_batches_side_by_side(picture, make_desk, until, played, home, size, theme):
    desk = make_desk(theme=theme)
    played("good").into(home / "data" / "logbook.sqlite", board="00112233445599aa")
    played("warm-third-fold").into(home / "data" / "logbook.sqlite")

    async def before(pilot):
        await _look_back(desk, pilot, until)
        await pilot.press("s")
        await pilot.press("down", "enter")
        await until(pilot, lambda: desk.screen.beside.batch is not None)
        desk.clear_notifications()
        await pilot.pause(0.3)

    picture(desk, size, before)


@views
@pytest.mark.parametrize("dialog", ["outcome", "export"])
def test_dialogs_of_the_look_back(picture, make_desk, until, played, home, size, dialog, monkeypatch, theme):
    monkeypatch.setattr("pathlib.Path.home", lambda: type(home)("/home/cook"))
    desk = make_desk(theme=theme)
    played("warm-third-fold").into(home / "data" / "logbook.sqlite")

    async def before(pilot):
        await _look_back(desk, pilot, until)
        await pilot.press({"outcome": "o", "export": "x"}[dialog])
        await until(pilot, lambda: len(desk.screen_stack) > 1)
        await pilot.pause(0.3)

    picture(desk, size, before)


@views
def test_what_a_new_plan_would_move(picture, make_desk, until, size, theme):
    from tourier.desk.data.jobs import Proposal
    from tourier.desk.screens.sending import Replanned

    desk = make_desk(theme=theme)
    moved = tuple((f"Fold {n} of 3: 3-fold", f"Sat 1{n}:10", f"Sat 1{n}:45", "35 min later") for n in range(1, 4))
    proposal = Proposal("Still ready by the hour (Sun 08:00). 3 steps move; Fold 1 of 3: 3-fold most, 35 min later.",
                        moved, (), b"", "")  # fmt: skip

    async def before(pilot):
        await batch_ready(desk, pilot, until)
        await desk.push_screen(Replanned(proposal))
        await pilot.pause(0.2)

    picture(desk, size, before)


@views
def test_sending(picture, make_desk, until, played, size, monkeypatch, theme):
    from tourier.desk.screens.sending import Sending

    monkeypatch.setattr(Sending, "_encode", lambda self: self._encoded(b"a plan"))
    desk, log = make_desk(theme=theme), played("good")
    day = SimpleNamespace(name="Sunday", steps=[SimpleNamespace(start=NOW_DAY)] * 46, planned_at=NOW_DAY)

    async def before(pilot):
        await batch_ready(desk, pilot, until)
        await on_the_bench(desk, pilot, until, log)
        await desk.push_screen(Sending(SimpleNamespace(day=day)))
        await pilot.pause(0.2)

    picture(desk, size, before)


@views
def test_a_file_to_be_mended(picture, make_desk, until, size, theme):
    from tourier.batch.examples import demo_text
    from tourier.desk.screens.batchdialogs import Mend

    desk = make_desk(theme=theme)

    async def before(pilot):
        await batch_ready(desk, pilot, until)
        broken = demo_text().replace('room = "26 °C"', "room = 26 °C")
        await desk.push_screen(Mend("sunday.toml is no TOML yet; it can be mended here.", broken))
        desk.screen.query_one(TextArea).cursor_blink = False
        await pilot.pause(0.2)

    picture(desk, size, before)


@views
def test_batch_files(picture, make_desk, until, size, theme):
    desk = make_desk(theme=theme)
    desk.settings.recent = ["/home/cook/batches/sunday.toml", "/home/cook/batches/easter.toml"]

    async def before(pilot):
        await batch_ready(desk, pilot, until)
        await pilot.press("ctrl+o")
        await until(pilot, lambda: len(desk.screen_stack) > 1)
        await pilot.pause(0.2)

    picture(desk, size, before)
