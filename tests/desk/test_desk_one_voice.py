"""Every letter on the desk's screens for a cook in °F and inches, and for a metric one."""

from __future__ import annotations

import re
import sys
from pathlib import Path

from pictured import _still, batch_ready, on_the_bench  # noqa: F401

sys.path.insert(0, str(Path(__file__).parent.parent / "voice"))
from strays import UNITS, batch_text, strays  # noqa: E402


def seen(desk) -> str:
    """Return every letter that stands on the screen."""
    lines = [strip.text for strip in desk.screen._compositor.render_strips()]
    return "\n".join(line for line in lines if "In which measures" not in line)  # the question names both


def kitchen_text(units: str) -> str:
    """Return the example's kitchen as the cook's own."""
    kitchen = re.search(r"\[kitchen\].*?(?=\n\[\[|\Z)", batch_text(units), re.DOTALL)
    return kitchen.group().replace("[kitchen]\n", f'[kitchen]\nunits = "{units}"\n', 1)


@UNITS
async def test_batch_and_kitchen(units, make_desk, until, tmp_path):
    file = tmp_path / "batch.toml"
    file.write_text(batch_text(units), encoding="utf-8")
    desk = make_desk(file)
    (tmp_path / "config" / "kitchen.toml").write_text(kitchen_text(units), encoding="utf-8")
    async with desk.run_test(size=(120, 40)) as pilot:
        await until(pilot, lambda: "block" in str(desk.screen_stack[0].query_one("#figures").content))
        room = desk.screen_stack[0]
        for page in ("sheets", "masses", "mind"):
            room.query_one("#worked-pages").choose(page)
            await pilot.pause()
            text = seen(desk)
            assert len(text.split()) > 60, page
            assert strays(units, text) == [], page
        for page in ("pieces", "butter", "folds", "kitchen"):
            room.query_one("#form-pages").choose(page)
            await pilot.pause()
            assert strays(units, seen(desk)) == [], page
        await pilot.press("f4")
        await until(pilot, lambda: "room" in seen(desk) and ("375 °F" if units == "inch" else "190 °C") in seen(desk))
        assert strays(units, seen(desk)) == []
        desk.screen.query_one("#kitchen-pages").choose("butters")
        await pilot.pause()
        assert ("°F" if units == "inch" else "°C") in seen(desk) and strays(units, seen(desk)) == []


@UNITS
async def test_the_bench(units, make_desk, until, played):
    log = played("warm-third-fold")
    log.plan.units = int(units == "inch")
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        await batch_ready(desk, pilot, until)
        await on_the_bench(desk, pilot, until, log, left_s=300)
        await pilot.press("f2")
        await until(pilot, lambda: desk.screen.query("DaySteps") and desk.screen.query_one("DaySteps").row_count)
        await until(pilot, lambda: "to spare" in seen(desk))
        assert strays(units, seen(desk)) == []
        assert ("°F" if units == "inch" else "°C") in seen(desk)
