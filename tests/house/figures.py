"""The product in figures: modules, lines and mean cyclomatic complexity, today and at another commit.

    python tests/house/figures.py [COMMIT]
"""

from __future__ import annotations

import io
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PRODUCT = ("companion/tourier", "shared_schedule", "firmware")


def modules(root: Path) -> list[Path]:
    """Every module of the product, in order."""
    return sorted(path for part in PRODUCT for path in (root / part).rglob("*.py"))


def figures(root: Path) -> tuple[int, int, float, int]:
    """Return (modules, lines, mean complexity of functions and methods, lines of the longest module)."""
    from radon.complexity import cc_visit

    sources = [path.read_text(encoding="utf-8") for path in modules(root)]
    lines = [source.count("\n") for source in sources]
    blocks = [block.complexity for source in sources for block in _functions(cc_visit(source))]
    return len(sources), sum(lines), sum(blocks) / len(blocks), max(lines)


def _functions(blocks) -> list:
    """Functions and methods, without the classes around them, which radon gives their methods' mean."""
    return [block for block in blocks if block.letter in "FM"]


def _at(commit: str, folder: Path) -> Path:
    packed = subprocess.run(["git", "archive", commit, *PRODUCT], cwd=ROOT, capture_output=True, check=True).stdout
    with tarfile.open(fileobj=io.BytesIO(packed)) as archive:
        archive.extractall(folder, filter="data")
    return folder


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as scratch:
        rows = [(commit, figures(_at(commit, Path(scratch)))) for commit in sys.argv[1:2]] + [("today", figures(ROOT))]
    for name, (count, lines, complexity, longest) in rows:
        print(f"{name}: {count} modules, {lines} lines, mean complexity {complexity:.2f}, longest {longest} lines")
