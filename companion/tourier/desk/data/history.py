"""Undo and redo of a text, its autosave, and what is put aside: no edit is lost by a crash or by opening another."""

from __future__ import annotations

import hashlib
import threading
from pathlib import Path

from tourier import files

_ASIDE = 10
_DEEPEST = 500  # snapshots kept: a long evening of edits, well under a megabyte


class History:
    """Snapshots of one text with what was edited; `now` is the text in force, `touched` what undo or redo changed."""

    def __init__(self, text: str) -> None:
        self._past: list[tuple[str, str]] = []
        self._future: list[tuple[str, str]] = []
        self.now = text
        self.touched = ""
        self._key = ""

    def edit(self, text: str, where: str = "", alone: bool = False) -> None:
        """Put a new text in force. Edits of one field in a row are one step of undo, unless they stand `alone`."""
        if text == self.now:
            return
        key = "" if alone else where
        if not key or key != self._key or not self._past:
            self._past.append((self.now, where))
            del self._past[:-_DEEPEST]
        self._key = key
        self._future.clear()
        self.now = text

    def undo(self) -> bool:
        """Take back one step; False when there is none."""
        return self._move(self._past, self._future)

    def redo(self) -> bool:
        """Do one step again; False when there is none."""
        return self._move(self._future, self._past)

    def _move(self, source: list[tuple[str, str]], target: list[tuple[str, str]]) -> bool:
        if not source:
            return False
        text, self.touched = source.pop()
        target.append((self.now, self.touched))
        self.now, self._key = text, ""
        return True


class Autosave:
    """Keeps the unsaved text of one batch file beside the program's state, until it is saved or thrown away."""

    def __init__(self, folder: Path, batch_file: Path | None) -> None:
        name = str(batch_file.resolve()) if batch_file else "unnamed"
        self.file = folder / (hashlib.sha256(name.encode("utf-8", "surrogateescape")).hexdigest()[:16] + ".toml")

        self._writing = threading.Lock()
        self._taken = self._done = 0

    def turn(self) -> int:
        """Take a turn before a thread is given the work: threads need not come to it in the order of the edits."""
        self._taken += 1
        return self._taken

    def keep(self, text: str, turn: int = 0) -> None:
        """Keep the text in place of the one before, unless a later turn was done already. Raises OSError."""
        with self._writing:
            if self._is_next(turn):
                files.keep(self.file, text)

    def found(self) -> str | None:
        """Return a text that was left over, None when there is none."""
        try:
            return self.file.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError):
            return None

    def forget(self, turn: int = 0) -> None:
        """Throw the kept text away: it has been saved."""
        with self._writing:
            if self._is_next(turn):
                self.file.unlink(missing_ok=True)

    def _is_next(self, turn: int) -> bool:
        turn = turn or self.turn()
        if turn < self._done:
            return False
        self._done = turn
        return True


class Aside:
    """Batches that had no file yet when another one was opened: put aside, and offered when one opens a batch."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def put(self, text: str) -> None:
        """Put a text aside; the same text once."""
        name = hashlib.sha256(text.encode()).hexdigest()[:16]
        files.keep(self._folder / f"aside-{name}.toml", text)
        for old in self.files()[_ASIDE:]:
            old.unlink(missing_ok=True)

    def files(self) -> list[Path]:
        """Return what was put aside, newest first."""
        try:
            return sorted(self._folder.glob("aside-*.toml"), key=lambda one: -one.stat().st_mtime)
        except OSError:
            return []
