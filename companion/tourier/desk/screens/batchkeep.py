"""Keeping a batch: open, save, duplicate, put aside, mend as text. No edit is lost on any of these ways."""

from __future__ import annotations

import asyncio
import contextlib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from textual import work

from tourier import files, places
from tourier.desk.data.batchdoc import BatchDoc, DocError, trouble
from tourier.desk.data.history import Aside, Autosave, History
from tourier.desk.screens.room import Room

if TYPE_CHECKING:
    from tourier.desk.widgets.form import Form


class BatchKeep(Room):
    """The files of the batch room."""

    if TYPE_CHECKING:

        @property
        def form(self) -> Form:
            """The form."""

        def changed(self) -> None:
            """The text in force is another one."""

        def say_line(self) -> None:
            """Redraw the figures and the state line."""

    def __init__(self) -> None:
        super().__init__()
        self.doc: BatchDoc | None = None
        self.file: Path | None = None
        self.saved = ""
        self.history = History("")
        self._newline = "\n"
        self._autosave = Autosave(places.autosave_folder(), None)
        self._said_unkept = False

    @property
    def unsaved(self) -> bool:
        """Whether there is something that no file holds."""
        return self.history.now != self.saved

    # --- opening -----------------------------------------------------------------------------------------------

    async def open_file(self, file: Path) -> bool:
        """Open a batch file; one that is no TOML is shown as text to be mended, and the open batch stays meanwhile."""
        from tourier.batch.fields import BatchError
        from tourier.batch.read import read_raw

        try:
            text = await asyncio.to_thread(read_raw, file)
        except (BatchError, ValueError) as error:
            self.notify(str(error), title="Open", severity="error", timeout=10, markup=False)
            return False
        newline = "\r\n" if "\r\n" in text else "\n"
        text = text.replace("\r\n", "\n")
        wrong = trouble(text)
        if wrong is not None:
            self._mend(file, text, newline)
            return False
        await self._opened(file, text, newline)
        return True

    async def _opened(self, file: Path, text: str, newline: str, saved: str | None = None) -> None:
        self.desk.settings.opened(file)
        self.desk.remember()
        await self.open_text(text, file, saved=saved)
        self._newline = newline

    def _mend(self, file: Path, text: str, newline: str) -> None:
        from tourier.desk.screens.mend import Mend

        async def mended(kept: str | None) -> None:
            if kept is None:
                self.notify(f"{file.name} was not opened and stays as it is.", markup=False)
            else:
                await self._opened(file, kept, newline, saved=text)
                self.notify("Opened as mended; Save writes it to the file.")

        self.app.push_screen(Mend(f"{file.name} is no TOML yet; it can be mended here.", text), mended)

    async def open_text(self, text: str, file: Path | None, keep: bool = True, saved: str | None = None) -> None:
        """Put a text into the form; edits that a crash left over come back on top of it.

        `keep` False: do not bring them back. `saved`: what the file holds, where that is another text.
        """
        self._put_aside(text, file, keep)
        self.file, self.saved, self._newline = file, text if saved is None else saved, "\n"
        self.history = History(text)
        self._autosave = Autosave(places.autosave_folder(), file)
        left = self._autosave.found() if keep else None
        if left is not None and left != text:
            if trouble(left) is None:
                self.history.edit(left)
                self.notify("Edits that were not saved last time are back; Undo takes them away.", timeout=8)
            else:
                Aside(places.autosave_folder()).put(left)
                self.notify("Edits of last time cannot be read any more; they are put aside.", severity="warning")
        self.doc = BatchDoc(self.history.now)
        await self.form.set_doc(self.doc)
        self.changed()

    def _put_aside(self, text: str, file: Path | None, keep: bool) -> None:
        """Keep a batch that has no file when another one takes its place."""
        lost = self.history.now if self.doc is not None and self.file is None and self.unsaved else ""
        left = "" if keep or file is not None else Autosave(places.autosave_folder(), None).found() or ""
        texts = {one for one in (lost, left) if one and one != text}
        try:
            for one in texts:
                Aside(places.autosave_folder()).put(one)
        except OSError as error:
            self._say_unkept(error)
        else:
            if lost in texts:
                self.notify("The batch that had no file yet is put aside: Open lists it.", timeout=8)

    # --- saving ------------------------------------------------------------------------------------------------

    def save_to(self, file: Path, sure: bool = False) -> None:
        """Write the file and forget the autosave; asks before it hides another text."""
        try:
            file = file.resolve()
            held = file.read_bytes().decode("utf-8-sig").replace("\r\n", "\n") if file.exists() else None
        except (PermissionError, UnicodeDecodeError):
            held = ""  # something else is there, and writing over it may well be possible
        except (OSError, ValueError):
            held = None  # nothing that could be hidden: writing says what is wrong
        mine = self.file is not None and file == self.file.resolve()
        if not sure and held is not None and held != (self.saved if mine else self.history.now):
            from tourier.desk.screens.ask import Confirm

            why = "was changed by another program since it was opened" if mine else "is there already"
            self.app.push_screen(
                Confirm(f"{file.name} {why}. Write this batch over it?", "Write over it"),
                lambda yes: self.save_to(file, sure=True) if yes else None,
            )
            return
        try:
            files.save(file, self.history.now.replace("\n", self._newline).encode("utf-8"))
        except OSError as error:
            self.notify(f"{file} cannot be written ({error.strerror}); choose another place.", severity="error",
                        markup=False)  # fmt: skip
            return
        self._autosave.forget()
        self.file, self.saved = file, self.history.now
        self._autosave = Autosave(places.autosave_folder(), file)
        self.desk.settings.opened(file)
        self.desk.remember()
        self.say_line()
        self.notify(f"Saved: {file}", markup=False)

    def keep(self, text: str, saved: str, autosave: Autosave) -> None:
        """Keep an unsaved text beside the program's state, in a thread."""
        self._keep(text, saved, autosave, autosave.turn())

    @work(thread=True, exclusive=True, group="autosave")
    def _keep(self, text: str, saved: str, autosave: Autosave, turn: int) -> None:
        try:
            if text == saved:
                autosave.forget(turn)
            else:
                autosave.keep(text, turn)
        except OSError as error:
            self.app.call_from_thread(self._say_unkept, error)

    def keep_now(self) -> None:
        """Keep what is not saved before the desk is left: the thread of the last keystroke may not come to it."""
        if self.doc is not None and self.unsaved:
            with contextlib.suppress(OSError):  # nobody is there to be told any more
                self._autosave.keep(self.history.now)

    def _say_unkept(self, error: OSError) -> None:
        if not self._said_unkept:
            self._said_unkept = True
            self.notify(f"Edits cannot be kept for the next time ({error.strerror}): save the batch.",
                        severity="warning", timeout=10, markup=False)  # fmt: skip

    # --- actions -----------------------------------------------------------------------------------------------

    def action_save(self) -> None:
        """Write the batch file."""
        if self.file is not None:
            self.save_to(self.file)
            return
        from tourier.desk.data.paths import batch_path
        from tourier.desk.screens.ask import Ask

        def named(text: str | None) -> None:
            file = batch_path(text or "")
            if file is not None:
                self.save_to(file)
            elif text:
                self.notify(f"{text} names no file; nothing was saved.", severity="warning", markup=False)

        self.app.push_screen(Ask("Save as (a file name ending in .toml):", "batch.toml", 300), named)

    def action_open(self) -> None:
        """Open another batch file."""
        from tourier.desk.screens.batchfiles import OpenBatch

        async def chosen(what: Any) -> None:
            if isinstance(what, Path):
                await self.open_file(what)
            elif isinstance(what, str):
                await self.open_text(what, None, keep=False)

        aside = Aside(places.autosave_folder()).files()
        self.app.push_screen(OpenBatch(self.desk.settings.recent, aside), chosen)

    async def action_duplicate(self) -> None:
        """Start a new batch from this one."""
        # `saved` nothing: a new batch is unsaved from the start, and so is not lost when another is opened.
        await self.open_text(self.history.now, None, keep=False, saved="")
        self.notify("This is a new batch now; the old file stays as it is. Save gives it a name.")

    def action_as_text(self) -> None:
        """Edit the batch file itself."""
        from tourier.desk.screens.mend import Mend

        def written(text: str | None) -> None:
            if text is not None and self.doc is not None:
                self.run_worker(self._take_text(text))

        self.app.push_screen(Mend("The batch file as text; one step of Undo.", self.history.now), written)

    async def _take_text(self, text: str) -> None:
        assert self.doc is not None
        try:
            self.doc.take(text)
        except DocError as error:
            self.notify(str(error), severity="error", markup=False)
            return
        self.history.edit(text, alone=True)
        await self.form.set_doc(self.doc)
        self.changed()
