"""The row of keys: whole keys from the front as far as they fit, Help and Commands always."""

import pytest
from tourier.desk.widgets.keyrow import FooterKey


@pytest.mark.parametrize("width", [60, 80, 100, 112, 160])
async def test_keys_are_whole_and_the_most_needed(make_desk, until, width):
    desk = make_desk()
    async with desk.run_test(size=(width, 30)) as pilot:
        await until(pilot, lambda: desk.screen.query("#pinned, .pinned FooterKey"))
        await pilot.press("f2")
        await until(pilot, lambda: desk.current_mode == "bench" and desk.screen.query(".pinned FooterKey"))
        await pilot.pause(0.2)
        keys = list(desk.screen.query(FooterKey))
        pinned = [key for key in keys if key.parent.has_class("pinned")]
        free = [key for key in keys if key not in pinned]
        assert [key.description for key in pinned] == ["Help", "Commands"]
        edge = min(key.region.x for key in pinned)
        for key in free:
            assert key.region.right <= edge
            assert key.region.width >= len(f"{key.key_display} {key.description}")
        usual = ["Acknowledge", "Go / done", "Bend test", "Note", "Replan", "Collect", "Connect", "Quit", "Theme"]
        shown = [key.description for key in free]
        assert shown == usual[: len(shown)] and len(shown) >= {60: 2, 80: 5, 100: 7, 112: 7, 160: 9}[width]


async def test_a_wider_window_shows_more_keys(make_desk, until):
    desk = make_desk()
    async with desk.run_test(size=(70, 30)) as pilot:
        await until(pilot, lambda: desk.screen.query(".pinned FooterKey"))
        await pilot.pause(0.2)
        few = len(desk.screen.query(FooterKey))
        await pilot.resize_terminal(140, 30)
        await until(pilot, lambda: len(desk.screen.query(FooterKey)) > few)
