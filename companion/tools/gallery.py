"""Pictures of every screen of the bench timer, drawn by its own code under MicroPython.

`python companion/tools/gallery.py FOLDER` writes one PNG a screen and a sheet of them all. Dots are square on
the display (0.43 mm on a 2.42 inch one), so they are square here.
"""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from tourier.device.files import firmware_dir, shared_dir
from tourier.device.virtual.board import find_micropython

WIDTH, HEIGHT = 128, 64
SCALE = 4
_BORDER = 6
INK = (225, 240, 255)
GROUND = (8, 10, 16)


@dataclass(frozen=True)
class Shot:
    """One screen: its name, the display's memory, and every text on it as (x, y, width, height, text)."""

    name: str
    memory: bytes
    marks: tuple[tuple[int, int, int, int, str], ...]


def shots(heap: str = "384k", us: bool = False) -> tuple[list[Shot], list[str]]:
    """Run the showcase (`us`: °F and inches); return the screens, and the words too wide for the display."""
    done = subprocess.run(
        [find_micropython(), "-X", f"heapsize={heap}", str(Path(__file__).with_name("showcase.py")), *["us"] * us],
        capture_output=True, text=True, timeout=60,
        env={"MICROPYPATH": f"{firmware_dir()}:{shared_dir()}", "PATH": os.environ.get("PATH", "")},
    )  # fmt: skip
    if done.returncode != 0:
        raise RuntimeError(f"the showcase failed: {(done.stdout + done.stderr)[-800:]}")
    found, wide = [], []
    for line in done.stdout.splitlines():
        parts = line.split("\t")
        if parts[0] == "wide":
            wide = [word for word in parts[1].split(",") if word]
            continue
        marks = []
        for mark in parts[2].split("|"):
            x, y, width, height, text = mark.split(",", 4)
            marks.append((int(x), int(y), int(width), int(height), text))
        found.append(Shot(parts[0], bytes.fromhex(parts[1]), tuple(marks)))
    return found, wide


def image(memory: bytes, scale: int = SCALE):
    """The display's memory as a Pillow image with a dark border."""
    from PIL import Image

    dots = Image.new("RGB", (WIDTH + 2 * _BORDER, HEIGHT + 2 * _BORDER), GROUND)
    pixels = dots.load()
    for y in range(HEIGHT):
        for x in range(WIDTH):
            if memory[x + WIDTH * (y // 8)] >> (y % 8) & 1:
                pixels[x + _BORDER, y + _BORDER] = INK
    return dots.resize((dots.width * scale, dots.height * scale), Image.Resampling.NEAREST)


def sheet(found: list[Shot], columns: int = 4, scale: int = 2):
    """All screens on one sheet, each with its name below."""
    from PIL import Image, ImageDraw

    cell_w, cell_h = (WIDTH + 2 * _BORDER) * scale + 8, (HEIGHT + 2 * _BORDER) * scale + 22
    rows = -(-len(found) // columns)
    page = Image.new("RGB", (columns * cell_w, rows * cell_h), (245, 245, 245))
    pen = ImageDraw.Draw(page)
    for number, shot in enumerate(found):
        x, y = number % columns * cell_w + 4, number // columns * cell_h + 2
        page.paste(image(shot.memory, scale), (x, y))
        pen.text((x + 2, y + (HEIGHT + 2 * _BORDER) * scale + 2), shot.name, fill=(30, 30, 30))
    return page


def write(folder: Path) -> list[Path]:
    """Write all pictures; return their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    found, _wide = shots()
    paths = []
    for shot in found:
        path = folder / f"{shot.name}.png"
        image(shot.memory, 3).quantize(2).save(path, optimize=True)
        paths.append(path)
    path = folder / "all-screens.png"
    sheet(found).quantize(8).save(path, optimize=True)
    return [*paths, path]


def main() -> int:
    if len(sys.argv) != 2:
        sys.stderr.write("usage: python companion/tools/gallery.py FOLDER\n")
        return 2
    for path in write(Path(sys.argv[1])):
        sys.stdout.write(f"{path}\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
