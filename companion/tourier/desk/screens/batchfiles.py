"""The files of the batch room: open, mend, save, duplicate, edit as text. What is kept and how is `data.kept`'s."""

from __future__ import annotations

import asyncio
import contextlib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tourier import places
from tourier.desk.data.batchdoc import DocError, trouble
from tourier.desk.data.kept import Aside, KeptBatch, batch_path

if TYPE_CHECKING:
    from tourier.desk.screens.batch import Batch


class BatchFiles:
    """Asks the cook about files and puts the answers into `kept`, the batch in hand of the room."""

    def __init__(self, room: Batch, kept: KeptBatch) -> None:
        self._room, self._kept = room, kept
        self._said_unkept = False

    # --- opening -----------------------------------------------------------------------------------------------

    async def open_file(self, file: Path) -> bool:
        """Open a batch file; one that is no TOML is shown as text to be mended, and the open batch stays meanwhile."""
        from tourier.batch.fields import BatchError
        from tourier.batch.read import read_raw

        try:
            text = await asyncio.to_thread(read_raw, file)
        except (BatchError, ValueError) as error:
            self._room.notify(str(error), title="Open", severity="error", timeout=10, markup=False)
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
        self._room.desk.settings.opened(file)
        self._room.desk.remember()
        await self.open_text(text, file, saved=saved)
        self._kept.newline = newline

    def _mend(self, file: Path, text: str, newline: str) -> None:
        from tourier.desk.screens.batchdialogs import Mend

        async def mended(kept: str | None) -> None:
            if kept is None:
                self._room.notify(f"{file.name} was not opened and stays as it is.", markup=False)
            else:
                await self._opened(file, kept, newline, saved=text)
                self._room.notify("Opened as mended; Save writes it to the file.")

        self._room.app.push_screen(Mend(f"{file.name} cannot be read as it stands; fix it here.", text), mended)

    async def open_text(self, text: str, file: Path | None, keep: bool = True, saved: str | None = None) -> None:
        """Put a text into the room, as `KeptBatch.take`."""
        said, unkept = self._kept.take(text, file, keep, saved)
        if unkept is not None:
            self.say_unkept(unkept)
        for sentence, severity in said:
            self._room.notify(sentence, severity=severity, timeout=8)
        await self._room.show_kept()

    def choose(self) -> None:
        """Ask which batch to open."""
        from tourier.desk.screens.batchdialogs import OpenBatch

        async def chosen(what: Any) -> None:
            if isinstance(what, Path):
                await self.open_file(what)
            elif isinstance(what, str):
                await self.open_text(what, None, keep=False)

        aside = Aside(places.autosave_folder()).files()
        self._room.app.push_screen(OpenBatch(self._room.desk.settings.recent, aside), chosen)

    async def duplicate(self) -> None:
        """Start a new batch from this one."""
        # `saved` nothing: a new batch is unsaved from the start, and so is not lost when another is opened.
        await self.open_text(self._kept.text, None, keep=False, saved="")
        self._room.notify("This is a new batch now; the old file stays as it is. Save gives it a name.")

    # --- saving ------------------------------------------------------------------------------------------------

    def save(self) -> None:
        """Write the batch to its file; one that has none yet is given a name."""
        if self._kept.file is not None:
            self.save_to(self._kept.file)
            return
        from tourier.desk.screens.dialogs import Ask

        def named(text: str | None) -> None:
            file = batch_path(text or "")
            if file is not None:
                self.save_to(file)
            elif text:
                self._room.notify(f"{text} names no file; nothing was saved.", severity="warning", markup=False)

        self._room.app.push_screen(Ask("Save as (a file name ending in .toml):", "batch.toml", 300), named)

    def save_to(self, file: Path, sure: bool = False) -> None:
        """Write the batch to a file; asks before it hides another text."""
        with contextlib.suppress(OSError, ValueError):
            file = file.resolve()
        why = "" if sure else self._kept.hides(file)
        if why:
            from tourier.desk.screens.dialogs import Confirm

            self._room.app.push_screen(
                Confirm(f"{file.name} {why}. Write this batch over it?", "Overwrite"),
                lambda yes: self.save_to(file, sure=True) if yes else None,
            )
            return
        try:
            self._kept.save(file)
        except OSError as error:
            self._room.notify(f"{file} cannot be written ({error.strerror}); choose another place.", severity="error",
                              markup=False)  # fmt: skip
            return
        self._room.desk.settings.opened(file)
        self._room.desk.remember()
        self._room.say_line()
        self._room.notify(f"Saved: {file}", markup=False)

    def keep(self) -> None:
        """Keep an unsaved text beside the program's state, in a thread."""
        kept = self._kept
        text, autosave = kept.text if kept.unsaved else None, kept.autosave
        turn = autosave.turn()

        def work() -> None:
            try:
                if text is None:
                    autosave.forget(turn)
                else:
                    autosave.keep(text, turn)
            except OSError as error:
                self._room.app.call_from_thread(self.say_unkept, error)

        self._room.run_worker(work, thread=True, exclusive=True, group="autosave")

    def say_unkept(self, error: OSError) -> None:
        """Say once that edits cannot be kept for the next time."""
        if not self._said_unkept:
            self._said_unkept = True
            self._room.notify(f"Edits cannot be kept for the next time ({error.strerror}): save the batch.",
                              severity="warning", timeout=10, markup=False)  # fmt: skip

    # --- as text -----------------------------------------------------------------------------------------------

    def as_text(self) -> None:
        """Edit the batch file itself."""
        from tourier.desk.screens.batchdialogs import Mend

        def written(text: str | None) -> None:
            if text is not None and self._kept.doc is not None:
                self._room.run_worker(self._take_text(text))

        self._room.app.push_screen(Mend("The batch file as text; one step of Undo.", self._kept.text), written)

    async def _take_text(self, text: str) -> None:
        assert self._kept.doc is not None
        try:
            self._kept.doc.take(text)
        except DocError as error:
            self._room.notify(str(error), severity="error", markup=False)
            return
        self._kept.history.edit(text, alone=True)
        await self._room.show_kept()
