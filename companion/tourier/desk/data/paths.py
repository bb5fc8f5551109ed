"""File names as a cook types them."""

from __future__ import annotations

from pathlib import Path


def typed_path(text: str) -> Path:
    """Return the path of a typed name; `~` is the home folder where there is one."""
    text = text.strip().replace("\0", "")
    try:
        return Path(text).expanduser()
    except RuntimeError:  # no such user
        return Path(text)
