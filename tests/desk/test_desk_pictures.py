"""Pictures of every room, small and dark, large and light; look at `git diff` after taking new ones.

New ones: TOURIER_PICTURES=update pytest tests/desk/test_desk_pictures.py
"""

from __future__ import annotations

from io import StringIO

import pytest
from cells import cells, differing
from pictured import _still, batch_ready, views  # noqa: F401
from rich.console import Console
from rich.text import Text
from textual.widgets import Input
from tourier.desk.screens.welcome import Welcome

ROOMS = {"bench": "f2", "lookback": "f3", "kitchen": "f4", "timer": "f5"}


async def _ready(desk, pilot, until):
    await batch_ready(desk, pilot, until)
    await until(pilot, lambda: len(str(desk.screen_stack[0].query_one("#worked-page").content)) > 50)
    for entry in desk.screen_stack[0].query(Input):
        entry.cursor_blink = False


async def _settled(desk, pilot, until):
    """Wait until nothing is being worked on and the picture has stopped changing, however slow the machine."""
    seen = [""]

    def still() -> bool:
        before, seen[0] = seen[0], desk.export_screenshot()
        return all(worker.is_finished for worker in desk.workers) and _same(before, seen[0])

    for _ in range(3):  # three times in a row: a thread may hand its result over between two looks
        await until(pilot, still)


def _same(one: str, other: str) -> bool:
    return bool(one) and cells(one) == cells(other)


@views
def test_batch(picture, make_desk, until, size, theme):
    desk = make_desk(theme=theme)

    async def before(pilot):
        await _ready(desk, pilot, until)
        await _settled(desk, pilot, until)

    picture(desk, size, before)


@views
@pytest.mark.parametrize("room", ROOMS)
def test_room(picture, make_desk, until, room, size, theme):
    desk = make_desk(theme=theme)

    async def before(pilot):
        await _ready(desk, pilot, until)
        await pilot.press(ROOMS[room])
        await until(pilot, lambda: desk.current_mode == room and desk.screen.query("Footer FooterKey"))
        if room == "kitchen":
            await until(pilot, lambda: len(str(desk.screen.query_one("#mine-text").content)) > 50)
        await _settled(desk, pilot, until)

    picture(desk, size, before)


@pytest.mark.parametrize("room", ["batch", "kitchen"])
@pytest.mark.parametrize("theme", ["high-contrast", "terminal"])
def test_other_themes(picture, make_desk, until, theme, room):
    """The themes for those who need contrast, and for those who have chosen their terminal's colours."""
    desk = make_desk(theme=theme)

    async def before(pilot):
        await _ready(desk, pilot, until)
        if room == "kitchen":  # with a question in front of it
            await pilot.press("f4")
            await until(pilot, lambda: desk.current_mode == "kitchen" and desk.screen.query("Footer FooterKey"))
            await until(pilot, lambda: len(str(desk.screen.query_one("#mine-text").content)) > 50)
            await pilot.press("k")
            await until(pilot, lambda: isinstance(desk.focused, Input), what="no questions")
            for entry in desk.screen.query(Input):
                entry.cursor_blink = False
        await _settled(desk, pilot, until)

    picture(desk, (80, 24), before)


@pytest.mark.parametrize("size", [(60, 20), (80, 24)], ids=["60x20", "80x24"])
def test_welcome_small(picture, make_desk, until, size):
    desk = make_desk(welcomed=False)

    async def before(pilot):
        await _ready(desk, pilot, until)
        await until(pilot, lambda: isinstance(desk.screen, Welcome), what="no welcome")
        await until(pilot, lambda: desk.focused is not None and desk.focused.id == "demo", what="no focus")
        await _settled(desk, pilot, until)

    picture(desk, size, before)


def test_batch_without_colour(picture, make_desk, until, monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")
    desk = make_desk()

    async def before(pilot):
        await _ready(desk, pilot, until)
        await _settled(desk, pilot, until)

    picture(desk, (80, 24), before)


def test_smallest_window(picture, make_desk, until):
    desk = make_desk()

    async def before(pilot):
        await _ready(desk, pilot, until)
        await _settled(desk, pilot, until)

    picture(desk, (60, 20), before)


@pytest.mark.parametrize(
    ("text", "style", "seen"),
    [("block 8 mm", "red on white", False), ("block 9 mm", "red on white", True), ("block 8 mm", "blue on white", True),
     ("block 8 mm", "red on black", True), ("block 8 mm", "bold red on white", True),
     ("block 8 mn", "red on white", True)],
)  # fmt: skip
def test_a_changed_letter_or_colour_is_seen(text, style, seen):
    def drawn(text: str, style: str) -> str:
        console = Console(record=True, width=20, file=StringIO(), force_terminal=True, color_system="truecolor")
        console.print(Text(text, style))
        return cells(console.export_svg())

    assert bool(differing(drawn("block 8 mm", "red on white"), drawn(text, style))) is seen
