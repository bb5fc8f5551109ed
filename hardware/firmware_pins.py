"""Read the firmware's pin names without running or importing it."""

from __future__ import annotations

import ast
import hashlib
import json
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PINS_FILE = ROOT / "firmware" / "pins.py"


def firmware_pins(path: Path = PINS_FILE) -> dict[str, int | str]:
    """Return every `NAME = literal` of the firmware's pin module.

    Raises ValueError, naming the line, when the module holds anything but plain names and literals: the file is read
    by MicroPython and by this reader, and both must see the same values.
    """
    found: dict[str, int | str] = {}
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            continue  # the docstring
        if not (
            isinstance(node, ast.Assign)
            and len(node.targets) == 1
            and isinstance(node.targets[0], ast.Name)
            and isinstance(node.value, ast.Constant)
        ):
            raise ValueError(f"{path.name} line {node.lineno}: only NAME = number or text is allowed here")
        name = node.targets[0].id
        if name in found:
            raise ValueError(f"{path.name} line {node.lineno}: {name} is set twice")
        found[name] = node.value.value  # type: ignore[assignment]
    return found


def pins_fingerprint(pins: dict[str, int | str] | None = None) -> str:
    """SHA-256 of the names and values alone, so that a reworded comment does not make products stale."""
    text = json.dumps(pins if pins is not None else firmware_pins(), sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()
