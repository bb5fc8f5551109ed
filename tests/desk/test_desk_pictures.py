"""Snapshots of every room at 80x24 and 120x40, light and dark; look at the report before updating them.

Update: pytest tests/desk/test_desk_pictures.py --snapshot-update
"""

from __future__ import annotations

import pytest
from pictured import _still, batch_ready, looks, sizes  # noqa: F401
from pytest_textual_snapshot import normalize_svg
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
    return normalize_svg(one) == normalize_svg(other)


@looks
@sizes
def test_batch(snap_compare, make_desk, until, size, theme):
    desk = make_desk(theme=theme)

    async def before(pilot):
        await _ready(desk, pilot, until)
        await _settled(desk, pilot, until)

    assert snap_compare(desk, terminal_size=size, run_before=before)


@looks
@sizes
@pytest.mark.parametrize("room", ROOMS)
def test_room(snap_compare, make_desk, until, room, size, theme):
    desk = make_desk(theme=theme)

    async def before(pilot):
        await _ready(desk, pilot, until)
        await pilot.press(ROOMS[room])
        await until(pilot, lambda: desk.current_mode == room and desk.screen.query("Footer FooterKey"))
        if room == "kitchen":
            await until(pilot, lambda: len(str(desk.screen.query_one("#mine-text").content)) > 50)
        await _settled(desk, pilot, until)

    assert snap_compare(desk, terminal_size=size, run_before=before)


@pytest.mark.parametrize("room", ["batch", "kitchen"])
@pytest.mark.parametrize("theme", ["high-contrast", "terminal"])
def test_other_themes(snap_compare, make_desk, until, theme, room):
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

    assert snap_compare(desk, terminal_size=(80, 24), run_before=before)


@pytest.mark.parametrize("size", [(60, 20), (80, 24)], ids=["60x20", "80x24"])
def test_welcome_small(snap_compare, make_desk, until, size):
    desk = make_desk(welcomed=False)

    async def before(pilot):
        await _ready(desk, pilot, until)
        await until(pilot, lambda: isinstance(desk.screen, Welcome), what="no welcome")
        await until(pilot, lambda: desk.focused is not None and desk.focused.id == "demo", what="no focus")
        await _settled(desk, pilot, until)

    assert snap_compare(desk, terminal_size=size, run_before=before)


def test_batch_without_colour(snap_compare, make_desk, until, monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")
    desk = make_desk()

    async def before(pilot):
        await _ready(desk, pilot, until)
        await _settled(desk, pilot, until)

    assert snap_compare(desk, terminal_size=(80, 24), run_before=before)


def test_smallest_window(snap_compare, make_desk, until):
    desk = make_desk()

    async def before(pilot):
        await _ready(desk, pilot, until)
        await _settled(desk, pilot, until)

    assert snap_compare(desk, terminal_size=(60, 20), run_before=before)
