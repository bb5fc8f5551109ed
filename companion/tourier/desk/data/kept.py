"""The batch in hand and what keeps it: undo and redo, the file it belongs to, its autosave, what is put aside.

No edit is lost by a crash, by opening another batch, or by leaving. No widget here.
"""

from __future__ import annotations

import contextlib
import hashlib
import threading
from pathlib import Path
from typing import Literal, TypeAlias

from tourier import files
from tourier.desk.data.batchdoc import BatchDoc, trouble

Severity: TypeAlias = Literal["information", "warning", "error"]  # as notices have it

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


class KeptBatch:
    """The text in force with its history, the file it is saved in (None: no file yet) and what that file holds."""

    def __init__(self, folder: Path) -> None:
        """Take the folder for what is not saved."""
        self._folder = folder
        self.doc: BatchDoc | None = None
        self.file: Path | None = None
        self.saved = ""
        self.history = History("")
        self.newline = "\n"
        self.autosave = Autosave(folder, None)

    @property
    def text(self) -> str:
        """The text in force."""
        return self.history.now

    @property
    def unsaved(self) -> bool:
        """Whether there is something that no file holds."""
        return self.text != self.saved

    def take(
        self, text: str, file: Path | None, keep: bool = True, saved: str | None = None
    ) -> tuple[list[tuple[str, Severity]], OSError | None]:
        """Put another batch in hand; edits that a crash left over come back on top of it.

        Returns (what the cook should hear, with its severity; why something could not be put aside). `keep` False:
        left-over edits do not come back. `saved`: what the file holds, where that is another text.
        """
        lost = self.text if self.doc is not None and self.file is None and self.unsaved else ""
        left = "" if keep or file is not None else Autosave(self._folder, None).found() or ""
        aside = [one for one in dict.fromkeys((lost, left)) if one and one != text]
        self.file, self.saved, self.newline = file, text if saved is None else saved, "\n"
        self.history = History(text)
        self.autosave = Autosave(self._folder, file)
        said: list[tuple[str, Severity]] = []
        left = self.autosave.found() if keep else None
        if left is not None and left != text:
            if trouble(left) is None:
                self.history.edit(left)
                said.append(("Edits that were not saved last time are back; Undo takes them away.", "information"))
            else:
                aside.append(left)
                said.append(("Edits of last time cannot be read any more; they are put aside.", "warning"))
        self.doc = BatchDoc(self.text)
        try:
            for one in aside:
                Aside(self._folder).put(one)
        except OSError as error:
            return said, error
        if lost in aside:
            said.append(("The batch that had no file yet is put aside: Open lists it.", "information"))
        return said, None

    def hides(self, file: Path) -> str:
        """Return why saving to a file would hide another text, "" when it would not."""
        try:
            file = file.resolve()
            held = file.read_bytes().decode("utf-8-sig").replace("\r\n", "\n") if file.exists() else None
        except (PermissionError, UnicodeDecodeError):
            held = ""  # something else is there, and writing over it may well be possible
        except (OSError, ValueError):
            held = None  # nothing that could be hidden: writing says what is wrong
        mine = self.file is not None and file == self.file.resolve()
        if held is None or held == (self.saved if mine else self.text):
            return ""
        return "was changed by another program since it was opened" if mine else "is there already"

    def save(self, file: Path) -> None:
        """Write the file, which is the batch's own from then on, and forget the autosave. Raises OSError."""
        files.save(file, self.text.replace("\n", self.newline).encode("utf-8"))
        self.autosave.forget()
        self.file, self.saved = file, self.text
        self.autosave = Autosave(self._folder, file)

    def keep_now(self) -> None:
        """Keep what is not saved before the desk is left: the thread of the last keystroke may not come to it."""
        if self.doc is not None and self.unsaved:
            with contextlib.suppress(OSError):  # nobody is there to be told any more
                self.autosave.keep(self.text)


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
