"""What the tests of pictures share: sizes, themes, a still application, and a timer heard at noon of a kept log."""

from __future__ import annotations

import pytest
from textual.widgets import Input

THEMES = ["flour", "night-oven"]  # light, dark
PORT = "/dev/ttyACM0"
NOON = 227_098_940  # Saturday 12:02 of the warm third fold: the window is about to be left

looks = pytest.mark.parametrize("theme", THEMES)
# A theme moves no letter, and a size changes no colour: two pictures show what four would.
views = pytest.mark.parametrize(
    ("size", "theme"), [((80, 24), "night-oven"), ((120, 40), "flour")], ids=["80x24-night-oven", "120x40-flour"]
)


@pytest.fixture(autouse=True)
def _still(monkeypatch):
    """No timetable (how long the solver takes must not decide what is in a picture), no blinking, no port opened."""
    monkeypatch.setattr("tourier.desk.data.workbench.TIMES_AFTER_S", 3600)
    monkeypatch.setattr(Input, "cursor_blink", False, raising=False)
    monkeypatch.setattr("tourier.desk.data.fleet.Fleet._begin", lambda self, berth: None)


async def batch_ready(desk, pilot, until):
    """Wait until the batch is sized and its figures stand at the bottom."""
    await until(pilot, lambda: getattr(desk.screen_stack[0], "sized", None) is not None)
    await until(pilot, lambda: "block" in str(desk.screen_stack[0].query_one("#figures").content))


async def on_the_bench(desk, pilot, until, log, port=PORT, board="0011223344556677", **telemetry):
    """Let the application hear what a timer said up to noon."""
    from tourier.desk.data.follow import Found, Seen

    desk.fleet.follow(port)
    sights = log.looks(NOON, **telemetry)
    desk.post_message(desk.Happened(port, Found(board, "1.0.0", log.plan, log.report(NOON), False)))
    for sight in sights:
        desk.post_message(desk.Happened(port, Seen(sight, None)))
    desk.post_message(desk.Happened(port, Seen(sights[-1], log.report(NOON))))
    await until(pilot, lambda: desk.fleet.berths[port].report is not None and desk.fleet.berths[port].sight)
