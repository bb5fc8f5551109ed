"""Text that came over a wire or out of a file: capped, and without control characters."""

from __future__ import annotations

import unicodedata

# Cc control, Cf format (bidirectional overrides hide what a line says), Cs surrogates, Co private use, Zl/Zp breaks.
_DROPPED = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def clean(text: str, cap: int = 200, lines: bool = False) -> str:
    """Return text with control characters replaced by spaces, at most cap characters; `lines` keeps newlines."""
    kept = []
    for char in text[: cap + 1]:
        if lines and char == "\n":
            kept.append(char)
        else:
            kept.append(" " if unicodedata.category(char) in _DROPPED else char)
    if len(kept) > cap:
        kept[cap - 1 :] = ["…"]
    return "".join(kept)
