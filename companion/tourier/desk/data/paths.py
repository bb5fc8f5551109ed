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


def is_file(path: Path) -> bool:
    """Whether a file is there; a name no file system takes, or a folder one may not look into, is none."""
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def batch_path(text: str) -> Path | None:
    """Return the path to write a batch to, with .toml where no ending is typed; None when the text names no file."""
    path = typed_path(text)
    if path.name in ("", ".."):
        return None
    return path if path.suffix else path.with_suffix(".toml")
