"""Snapshots of every room at 80x24 and 120x40, light and dark; look at the report before updating them.

Update: pytest tests/desk/test_desk_pictures.py --snapshot-update
"""

from __future__ import annotations

import pytest
from textual.widgets import Input

SIZES = [(80, 24), (120, 40)]
THEMES = ["flour", "night-oven"]
ROOMS = {"bench": "f2", "lookback": "f3", "kitchen": "f4", "timer": "f5"}

looks = pytest.mark.parametrize("theme", THEMES)
sizes = pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")


@pytest.fixture(autouse=True)
def _still(monkeypatch):
    """No timetable: how long the solver takes must not decide what is in a picture. No blinking cursor."""
    monkeypatch.setattr("tourier.desk.data.workbench.TIMES_AFTER_S", 3600)
    monkeypatch.setattr(Input, "cursor_blink", False, raising=False)


async def _ready(desk, pilot, until):
    await until(pilot, lambda: getattr(desk.screen_stack[0], "sized", None) is not None)
    await until(pilot, lambda: "pieces" in str(desk.screen_stack[0].query_one("#figures").content))
    await until(pilot, lambda: len(str(desk.screen_stack[0].query_one("#worked-page").content)) > 50)
    for entry in desk.screen_stack[0].query(Input):
        entry.cursor_blink = False


@looks
@sizes
def test_batch(snap_compare, make_desk, until, size, theme):
    desk = make_desk(theme=theme)

    async def before(pilot):
        await _ready(desk, pilot, until)

    assert snap_compare(desk, terminal_size=size, run_before=before)


@looks
@sizes
@pytest.mark.parametrize("room", ROOMS)
def test_room(snap_compare, make_desk, until, room, size, theme):
    desk = make_desk(theme=theme)

    async def before(pilot):
        await _ready(desk, pilot, until)
        await pilot.press(ROOMS[room])
        await until(pilot, lambda: desk.current_mode == room)
        if room == "kitchen":
            await until(pilot, lambda: len(str(desk.screen.query_one("#mine-text").content)) > 50)
        await pilot.pause(0.2)

    assert snap_compare(desk, terminal_size=size, run_before=before)


def test_welcome_small(snap_compare, make_desk, until):
    desk = make_desk(welcomed=False)

    async def before(pilot):
        await _ready(desk, pilot, until)

    assert snap_compare(desk, terminal_size=(80, 24), run_before=before)


def test_batch_without_colour(snap_compare, make_desk, until, monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")
    desk = make_desk()

    async def before(pilot):
        await _ready(desk, pilot, until)

    assert snap_compare(desk, terminal_size=(80, 24), run_before=before)


def test_smallest_window(snap_compare, make_desk, until):
    desk = make_desk()

    async def before(pilot):
        await _ready(desk, pilot, until)

    assert snap_compare(desk, terminal_size=(60, 20), run_before=before)
