"""Pictures of the running application for the README: `python companion/tools/desk_pictures.py FOLDER`.

The program really runs: the demo is planned, played on the virtual bench timer for a while, collected and looked back
on, in a home folder of its own that is thrown away. Pictures are SVG, so they stay sharp and small.
"""

from __future__ import annotations

import asyncio
import os
import sys
import tempfile
import time
from pathlib import Path

_SIZE = (112, 34)


async def _until(pilot, condition, seconds: float = 120.0) -> None:
    end = time.monotonic() + seconds
    while not condition():
        if time.monotonic() > end:
            raise TimeoutError("the application did not get there")
        await pilot.pause()
        await asyncio.sleep(0.05)


async def take(folder: Path) -> list[Path]:
    """Run the application through the three moments and write a picture of each; return the files."""
    from tourier.desk.app import Desk
    from tourier.rehearsal import DEMO_NOW

    folder.mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    desk = Desk(now=lambda: DEMO_NOW)
    desk.settings.silent = True
    async with desk.run_test(size=_SIZE) as pilot:

        def shoot(name: str) -> None:
            file = folder / f"{name}.svg"
            file.write_text(_slim(desk.export_screenshot(title="tourier")), encoding="utf-8")
            written.append(file)

        await _until(pilot, lambda: desk.screen.__class__.__name__ == "Welcome")
        await pilot.pause(0.5)
        shoot("welcome")
        await pilot.press("escape")
        await _until(pilot, lambda: getattr(desk.screen, "doc", None) is not None)
        room = desk.screen
        await room.query_one("#form").open_page("pieces")
        await _until(pilot, lambda: room.timed is not None and room.timed.planned is not None)
        await pilot.pause(0.5)
        shoot("batch")
        for page in ("cuts", "times"):
            room.query_one("#worked-pages").choose(page)
            await pilot.pause(1.0)
            shoot(f"batch-{page}")
        await desk.play_demo()
        await _until(pilot, lambda: desk.current_mode == "bench")
        berth = desk.fleet.berth
        await _until(pilot, lambda: berth.sight is not None and berth.plan is not None)
        # On to the second fold, then a little at the demo's own pace, so that the picture has a forecast.
        fold = [step for step in berth.plan.steps if step.fold_n == 2][0]
        await asyncio.to_thread(desk.virtual.skip, fold.start_at_s - desk.virtual.clock() - 1800)
        while desk.virtual.clock() < fold.start_at_s - 30:
            await asyncio.to_thread(desk.virtual.skip, 30)
            now_s = desk.virtual.clock()
            await _until(pilot, lambda now_s=now_s: berth.sight.at_s >= now_s - 10)  # a look of each half minute
        await _until(pilot, lambda: berth.sight.low_cdeg is not None and berth.sight.left_s is not None, 60)
        await pilot.pause(4.0)
        desk.clear_notifications()
        await pilot.pause(0.3)
        shoot("bench")
        end = max(step.start_at_s + step.planned_for_s for step in berth.plan.steps)
        await asyncio.to_thread(desk.virtual.play_on, end, lambda _done, _total: None)
        await pilot.press("l")
        await _until(pilot, lambda: any("in the logbook" in n.message for n in desk._notifications))
        desk.clear_notifications()
        await pilot.press("f3")
        await _until(pilot, lambda: getattr(desk.screen, "shown", None) is not None)
        await pilot.pause(1.0)
        desk.clear_notifications()
        await pilot.pause(0.3)
        shoot("lookback")
        await pilot.press("f4")
        desk.screen.query_one("#kitchen-pages").choose("butters")
        await pilot.pause(1.5)
        shoot("kitchen")
        await pilot.press("f5")
        await pilot.pause(0.5)
        await pilot.press("k")
        await _until(pilot, lambda: "self-test" in str(desk.screen.query_one("#health").content))
        desk.clear_notifications()
        await pilot.pause(0.3)
        shoot("timer")
    return written


def _slim(svg: str) -> str:
    """Take the web fonts out: a reader's own monospaced font does, and no picture calls home."""
    import re

    return re.sub(r"@font-face \{.*?\}\s*", "", svg, flags=re.S)


def main() -> int:
    """Write the pictures into the folder named, or into ./pictures."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path("pictures")
    with tempfile.TemporaryDirectory(prefix="tourier-pictures-") as home:
        os.environ["TOURIER_HOME"] = home
        for file in asyncio.run(take(folder)):
            print(f"{file}  {file.stat().st_size // 1024} KB")
    return 0


if __name__ == "__main__":
    sys.exit(main())
