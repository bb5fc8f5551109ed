"""The table of outside checks: what we compute beside what others publish, with the difference.

    python tests/outside/table.py            prints it as Markdown
    python tests/outside/table.py --write    brings TABLE.md up to date

Each area brings rows in ``rows_<area>.py`` as ``ROWS``, a list of dicts: ``what``, ``ours`` (a callable), ``theirs``
(a number or a callable), ``tolerance`` (absolute), ``unit``, ``source``, ``label``. Labels: *published* (printed
somewhere), *independent* (computed by someone else's library or formula), *common practice* (trade, no source).
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

HERE = Path(__file__).parent
TABLE = HERE / "TABLE.md"
LABELS = ("published", "independent", "from memory", "common practice")


def rows() -> list[dict]:
    """Every row of every area with ``area``, ``ours_value`` and ``theirs_value`` filled in, files in name order."""
    out = []
    for path in sorted(HERE.glob("rows_*.py")):
        spec = importlib.util.spec_from_file_location(path.stem, path)
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        for row in module.ROWS:
            theirs = row["theirs"]
            out.append(
                {
                    **row,
                    "area": path.stem.removeprefix("rows_"),
                    "ours_value": float(row["ours"]()),
                    "theirs_value": float(theirs() if callable(theirs) else theirs),
                }
            )
    return out


def _number(value: float) -> str:
    text = f"{value:.6g}"
    return "0" if text in ("-0", "0") else text


def _cell(text: str) -> str:
    return str(text).replace("|", "\\|").replace("\n", " ")


def markdown() -> str:
    """The whole table as Markdown."""
    lines = [
        "# Outside checks",
        "",
        "Made by `python tests/outside/table.py --write`; a test keeps it current. Tolerances are absolute.",
        "",
        "| area | what | ours | theirs | difference | tolerance | unit | label | source |",
        "|---|---|---:|---:|---:|---:|---|---|---|",
    ]
    for row in rows():
        # Differences at rounding level would change from machine to machine and say nothing.
        gap = row["ours_value"] - row["theirs_value"]
        shown = "0" if abs(gap) < 1e-9 * max(1.0, abs(row["theirs_value"])) else f"{gap:+.2g}"
        lines.append(
            "| "
            + " | ".join(
                (
                    _cell(row["area"]),
                    _cell(row["what"]),
                    _number(row["ours_value"]),
                    _number(row["theirs_value"]),
                    shown,
                    _number(row["tolerance"]),
                    _cell(row["unit"]),
                    row["label"],
                    _cell(row["source"]),
                )
            )
            + " |"
        )
    return "\n".join(lines) + "\n"


def main(arguments: list[str]) -> int:
    """Print or write the table; 1 when a row is out of tolerance."""
    text = markdown()
    if "--write" in arguments:
        TABLE.write_text(text, encoding="utf-8")
    else:
        print(text, end="")
    bad = [row for row in rows() if not abs(row["ours_value"] - row["theirs_value"]) <= row["tolerance"]]
    for row in bad:
        print(f"out of tolerance: {row['area']}: {row['what']}", file=sys.stderr)
    return 1 if bad else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
