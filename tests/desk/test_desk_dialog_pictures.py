"""Snapshots of every dialog that has none among the rooms', at 80x24 and 120x40, light and dark.

New ones: TOURIER_PICTURES=update pytest tests/desk/test_desk_dialog_pictures.py
"""

from __future__ import annotations

import pytest
from pictured import NOON, _still, batch_ready, on_the_bench, views  # noqa: F401
from textual.widgets import Input
from tourier.desk.data.follow import Seen
from tourier.desk.screens.dialogs import Ask, Choose, Confirm
from tourier.desk.screens.welcome import Welcome


async def _shown(desk, pilot, until) -> None:
    await until(pilot, lambda: len(desk.screen_stack) > 1 and desk.focused is not None, what="no dialog")
    for entry in desk.screen.query(Input):
        entry.cursor_blink = False
    await pilot.pause(0.3)


@views
def test_welcome(picture, make_desk, until, size, theme):
    desk = make_desk(welcomed=False, theme=theme)

    async def before(pilot):
        await batch_ready(desk, pilot, until)
        await until(pilot, lambda: isinstance(desk.screen, Welcome), what="no welcome")
        await _shown(desk, pilot, until)

    picture(desk, size, before)


_DIALOGS = {
    "note": lambda: Ask("Note, kept with its time:", "butter feels hard"),
    "ingredient": lambda: Choose("Of which one?", [(name, name) for name in ("bread flour", "whole milk", "sugar")]),
    "take-out": lambda: Confirm("Take batch 2, Village hall breakfast, out of the logbook?", "Take it out"),
}


@views
@pytest.mark.parametrize("dialog", _DIALOGS)
def test_questions_in_one_line(picture, make_desk, until, size, theme, dialog):
    desk = make_desk(theme=theme)

    async def before(pilot):
        await batch_ready(desk, pilot, until)
        await desk.push_screen(_DIALOGS[dialog]())
        await _shown(desk, pilot, until)

    picture(desk, size, before)


@views
@pytest.mark.parametrize("key", {"help": "f10", "keys": "f9"}.items(), ids=lambda pair: pair[0])
def test_help_and_keys(picture, make_desk, until, size, theme, key):
    desk = make_desk(theme=theme)

    async def before(pilot):
        await batch_ready(desk, pilot, until)
        await pilot.press(key[1])
        await _shown(desk, pilot, until)

    picture(desk, size, before)


@views
def test_kitchen_questions(picture, make_desk, until, size, theme):
    desk = make_desk(theme=theme)

    async def before(pilot):
        await batch_ready(desk, pilot, until)
        await pilot.press("f4")
        await until(pilot, lambda: desk.current_mode == "kitchen" and desk.screen.query("Footer FooterKey"))
        await until(pilot, lambda: len(str(desk.screen.query_one("#mine-text").content)) > 50)
        await pilot.press("k")
        await until(pilot, lambda: isinstance(desk.focused, Input), what="no questions")
        await _shown(desk, pilot, until)

    picture(desk, size, before)


@views
def test_what_changed_since_the_last_good_batch(picture, make_desk, until, played, home, size, theme):
    from tourier.logbook.record.model import Outcome

    played("good").into(home / "data" / "logbook.sqlite", Outcome(rating=5))
    desk = make_desk(theme=theme)

    async def before(pilot):
        await batch_ready(desk, pilot, until)
        await pilot.press("ctrl+g")
        await until(pilot, lambda: len(desk.screen_stack) > 1, what="no dialog")
        title = desk.screen.query_one("#changed-title")
        await until(pilot, lambda: "Looking" not in str(title.content))
        await _shown(desk, pilot, until)

    picture(desk, size, before)


@views
@pytest.mark.parametrize("kind", ["ice", "boil"])
def test_calibration(picture, make_desk, until, played, size, theme, kind):
    from tourier.desk.screens.calibrate import Calibrate

    desk, log = make_desk(theme=theme), played("good")

    async def before(pilot):
        await batch_ready(desk, pilot, until)
        await on_the_bench(desk, pilot, until, log)
        (berth,) = desk.fleet.berths.values()
        await desk.push_screen(Calibrate(berth, kind))
        desk.post_message(desk.Happened(berth.port, Seen(log.looks(NOON)[-1], None)))
        await until(pilot, lambda: "watched" in str(desk.screen.query_one("#steady").content), what="no reading")
        await _shown(desk, pilot, until)

    picture(desk, size, before)
