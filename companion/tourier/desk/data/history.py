"""Undo and redo of a text, and its autosave: no edit is lost by a crash."""

from __future__ import annotations

import hashlib
from pathlib import Path

_DEEPEST = 500  # snapshots kept: a long evening of edits, well under a megabyte


class History:
    """Snapshots of one text with the field that was edited; `now` is the text in force."""

    def __init__(self, text: str) -> None:
        self._past: list[str] = []
        self._future: list[str] = []
        self.now = text
        self._key = ""

    def edit(self, text: str, key: str = "") -> None:
        """Put a new text in force. Edits of the same `key` in a row are one step of undo."""
        if text == self.now:
            return
        if not key or key != self._key or not self._past:
            self._past.append(self.now)
            del self._past[:-_DEEPEST]
        self._key = key
        self._future.clear()
        self.now = text

    def undo(self) -> bool:
        """Take back one step; False when there is none."""
        if not self._past:
            return False
        self._future.append(self.now)
        self.now = self._past.pop()
        self._key = ""
        return True

    def redo(self) -> bool:
        """Do one step again; False when there is none."""
        if not self._future:
            return False
        self._past.append(self.now)
        self.now = self._future.pop()
        self._key = ""
        return True


class Autosave:
    """Keeps the unsaved text of one batch file beside the program's state, until it is saved or thrown away."""

    def __init__(self, folder: Path, batch_file: Path | None) -> None:
        name = str(batch_file.resolve()) if batch_file else "unnamed"
        self.file = folder / (hashlib.sha256(name.encode()).hexdigest()[:16] + ".toml")

    def keep(self, text: str) -> None:
        """Write the text whole: through a neighbour, so that a crash leaves the one before."""
        self.file.parent.mkdir(parents=True, exist_ok=True)
        fresh = self.file.with_suffix(".new")
        fresh.write_text(text, encoding="utf-8")
        fresh.replace(self.file)

    def found(self) -> str | None:
        """Return a text that was left over, None when there is none."""
        try:
            return self.file.read_text(encoding="utf-8")
        except (FileNotFoundError, UnicodeDecodeError):
            return None

    def forget(self) -> None:
        """Throw the kept text away: it has been saved."""
        self.file.unlink(missing_ok=True)
