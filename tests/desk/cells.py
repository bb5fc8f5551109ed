"""Pictures of the desk as text: the letters in their cells, and below them the colours as runs, in a few kilobytes.

They are read out of the screenshot Textual writes, so they hold what a cook sees and nothing of how it is drawn. A
picture that differs fails its test with the lines that differ; TOURIER_PICTURES=update takes the new ones, to be looked
at in `git diff`.
"""

from __future__ import annotations

import asyncio
import difflib
import html
import os
import re
from collections.abc import Awaitable, Callable
from pathlib import Path

from rich.cells import cell_len

STORED = Path(__file__).parent / "pictures"
_WIDE, _HIGH = 12.2, 24.4  # a cell in a screenshot
_RECT = re.compile(r'<rect fill="(#\w+)" x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="24.65" shape')
_TEXT = re.compile(r'<text class="[\w-]+-(r\d+)" x="([\d.]+)" y="([\d.]+)"[^>]*>([^<]*)</text>')
_STYLE = re.compile(r"\.[\w-]+-(r\d+) \{ (.*?) \}")
_SIZE = re.compile(r'<rect x="0" y="0" width="([\d.]+)" height="([\d.]+)"')


def cells(svg: str) -> str:
    """Return a screenshot as text: size, letters, then for each line its runs of colours, then what they are."""
    size = _SIZE.search(svg)
    columns, lines = round(float(size[1]) / _WIDE), round(float(size[2]) / _HIGH)
    looks = {name: re.sub(r"fill: |font-|text-decoration: |weight: ", "", css) for name, css in _STYLE.findall(svg)}
    letters = [[" "] * columns for _ in range(lines)]
    inks = [["" for _ in range(columns)] for _ in range(lines)]
    grounds = [["" for _ in range(columns)] for _ in range(lines)]
    for colour, x, y, width in _RECT.findall(svg):
        line, at = round((float(y) - 1.5) / _HIGH), round(float(x) / _WIDE)
        for column in range(at, min(columns, at + round(float(width) / _WIDE))):
            grounds[line][column] = colour
    for name, x, y, text in _TEXT.findall(svg):
        line, column = round((float(y) - 20) / _HIGH), round(float(x) / _WIDE)
        for letter in html.unescape(text).replace("\xa0", " ").rstrip("\n"):
            for _ in range(cell_len(letter)):
                if column < columns:
                    letters[line][column], inks[line][column] = letter, looks[name]
                    letter, column = "", column + 1
    names: dict[str, str] = {}
    runs = [_runs(*row, names) for row in zip(letters, inks, grounds, strict=True)]
    palette = [f"{short} {look}" for look, short in names.items()]
    return "\n".join([
        f"{columns}x{lines}", *("".join(row).rstrip() for row in letters),
        "-- colours", *_folded(runs), "-- palette", *palette, "",
    ])  # fmt: skip


def _runs(letters: list[str], inks: list[str], grounds: list[str], names: dict[str, str]) -> str:
    """One line's colours, such as a12b4: a blank has the ink of what stands before it, for nobody sees it."""
    found: list[list] = []
    for letter, ink, ground in zip(letters, inks, grounds, strict=True):
        if letter == " " and "underline" not in ink and "line-through" not in ink:
            ink = found[-1][2] if found and found[-1][3] == ground else ""
        if found and found[-1][2:] == [ink, ground]:
            found[-1][1] += 1
        elif found and found[-1][3] == ground and not found[-1][2]:
            found[-1][1:3] = [found[-1][1] + 1, ink]  # blanks before the first letter are written with it
        else:
            found.append([None, 1, ink, ground])
    said = ""
    for _, count, ink, ground in found:
        look = f"{ink or '-'} on {ground}"
        number = len(names)
        short = chr(97 + number) if number < 26 else chr(65 + number - 26) if number < 52 else f"({number})"
        said += names.setdefault(look, short) + str(count)
    return said


def _folded(runs: list[str]) -> list[str]:
    """Lines of the same colours are said once."""
    folded: list[list] = []
    for run in runs:
        if folded and folded[-1][0] == run:
            folded[-1][1] += 1
        else:
            folded.append([run, 1])
    return [run if count == 1 else f"{run} x{count}" for run, count in folded]


def differing(stored: str, drawn: str) -> list[str]:
    """The lines in which two pictures differ, none when they are the same."""
    return list(difflib.unified_diff(stored.splitlines(), drawn.splitlines(), "stored", "drawn", lineterm="", n=0))


def compared(name: str, app, size: tuple[int, int], before: Callable[..., Awaitable[None]]) -> None:
    """Run the application, let `before(pilot)` bring it where it should be, and hold the picture against the stored."""

    async def drawn() -> str:
        async with app.run_test(size=size) as pilot:
            await before(pilot)
            await pilot.pause()
            return app.export_screenshot()

    svg = asyncio.run(drawn())
    picture, path = cells(svg), STORED / f"{name}.txt"
    if os.environ.get("TOURIER_PICTURES") == "update":
        path.parent.mkdir(exist_ok=True)
        path.write_text(picture, encoding="utf-8")
        return
    assert path.is_file(), f"no picture {path.name} yet; TOURIER_PICTURES=update draws it"
    found = differing(path.read_text(encoding="utf-8"), picture)
    assert not found, "\n".join([f"{path.name} differs:", *found[:40]])
