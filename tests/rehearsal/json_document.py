"""The tables of companion/tourier/cli/JSON.md, to compare what commands print with."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

DOCUMENT = Path(__file__).parents[2] / "companion/tourier/cli/JSON.md"
_NAME = re.compile(r"`([a-z_0-9]+)(?:\[\])?`")


def tables() -> dict[str, dict[str, str]]:
    """Return {schema: {key: what it is}}."""
    found: dict[str, dict[str, str]] = {}
    for part in re.split(r"^## ", DOCUMENT.read_text(encoding="utf-8"), flags=re.M)[1:]:
        rows = [line.split("|") for line in part.splitlines() if line.startswith("| `")]
        found[part.split("\n", 1)[0]] = {key: row[2] for row in rows for key in _NAME.findall(row[1])}
    return found


def undocumented(printed: dict[str, Any]) -> list[str]:
    """Return the keys of an object a command printed, and of the objects right inside, that the document lacks."""
    table = tables()[printed["schema"]]
    lacking = [key for key in printed if key != "schema" and key not in table]
    for key, value in printed.items():
        inner = value[0] if isinstance(value, list) and value else value
        described = table.get(key, "")
        named = _NAME.findall(described) if "{" in described or "object:" in described else []
        if named and isinstance(inner, dict):
            lacking += [f"{key}.{name}" for name in inner if name not in named]
    return lacking


def missing(printed: dict[str, Any]) -> list[str]:
    """Return the keys the document promises and the object lacks."""
    return [key for key in tables()[printed["schema"]] if key not in printed]
