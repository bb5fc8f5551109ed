"""The evening before: the batch file as a form on the left, worked out as one types on the right."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.message import Message

from tourier import places
from tourier.desk.actions import bindings
from tourier.desk.data.batchdoc import typed
from tourier.desk.data.kept import KeptBatch, is_file
from tourier.desk.data.workbench import Result, Sized, Timed, Timing, Workbench
from tourier.desk.screens.batchfiles import BatchFiles
from tourier.desk.screens.room import Room

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from tourier.desk.data.batchdoc import BatchDoc
    from tourier.desk.widgets.form import Form
    from tourier.desk.widgets.formrow import Edited
    from tourier.desk.widgets.workedpane import WorkedPane


def _changed_at(file: Path) -> int:
    """Return when a file was last written, ns; 0 when there is none."""
    try:
        return file.stat().st_mtime_ns
    except OSError:
        return 0


class Batch(Room):
    """What the cook wants, and what comes of it: `kept` is the batch in hand, `files` opens and saves it."""

    ROOM = "batch"
    LATE = True
    BINDINGS: ClassVar = bindings("batch")
    HELP = (
        "## Batch\n\nThe form is the batch file, page by page; units as you say them. What is wrong stands beside its "
        "field, and `!` marks its page. On the right everything is worked out as you type; the timetable follows when "
        "you pause. Every edit is kept at once and can be undone, also after a crash; Save writes the file.\n\n"
        "The timer is no food-safety instrument; keep to your local rules."
    )

    class Worked(Message):
        """The workbench has something."""

        def __init__(self, result: Result) -> None:
            super().__init__()
            self.result = result

    def __init__(self) -> None:
        super().__init__()
        self.kept = KeptBatch(places.autosave_folder())
        self.files = BatchFiles(self, self.kept)
        self.sized: Sized | None = None
        self.timed: Timed | None = None
        self._timing = False
        self._send_when_timed = False
        self._play = False
        self._lessons_at = 0
        self.workbench = Workbench(
            lambda result: self.post_message(self.Worked(result)), lambda: self.desk.now(), places.logbook_file
        )

    def compose_room(self) -> ComposeResult:
        # Imported here: the frame is on the screen by now.
        from textual.containers import Horizontal
        from textual.widgets import Static

        from tourier.desk.widgets.form import Form
        from tourier.desk.widgets.workedpane import WorkedPane

        with Horizontal(id="batch"):
            yield Form(id="form")
            yield WorkedPane(id="worked")
        yield Static("", id="figures", markup=False)

    def on_unmount(self) -> None:
        self.workbench.stop()
        self.kept.keep_now()

    async def furnished(self) -> None:
        self.workbench.start()
        recent = self.desk.batch_file or next(filter(is_file, map(Path, self.desk.settings.recent)), None)
        if recent is None or not await self.files.open_file(recent):
            from tourier.batch.examples import demo_text

            await self.files.open_text(demo_text(), None)
        self.query_one("#form-pages").focus()

    @property
    def form(self) -> Form:
        """The form."""
        return self.query_one("#form")  # type: ignore[return-value]

    @property
    def pane(self) -> WorkedPane:
        """What comes of the batch."""
        return self.query_one("#worked")  # type: ignore[return-value]

    @property
    def doc(self) -> BatchDoc | None:
        """The batch in hand as a document; None before one is open."""
        return self.kept.doc

    # --- edits -------------------------------------------------------------------------------------------------

    def on_edited(self, event: Edited) -> None:
        event.stop()
        assert self.doc is not None
        form = self.form
        value = typed(event.text, event.field.kind)
        if form.value(event.path).strip() == event.text.strip():
            return
        if event.path.startswith("formula."):
            name, part = form.ingredient(event.path)
            self._edit(lambda doc: doc.put_ingredient(name, part, value), event.path)
        else:
            self._edit(lambda doc: doc.put(event.path, value), event.path)

    async def on_form_added(self, event: Form.Added) -> None:
        assert self.doc is not None
        count = self.doc.count(event.path) + 1
        self._edit(lambda doc: doc.add(event.path, event.values), f"{event.path}[{count}].name", alone=True)
        await self.form.open_page(self.form.page, self.doc.count(event.path))

    async def on_form_removed(self, event: Form.Removed) -> None:
        where = f"{event.path}[{event.number}].name"
        self._edit(lambda doc: doc.remove(event.path, event.number), where, alone=True)
        await self.form.open_page(self.form.page)

    async def on_form_new_ingredient(self, event: Form.NewIngredient) -> None:
        if event.name not in self.form.names():
            self._edit(lambda doc: doc.put_key("formula", event.name, "1 %"), f"formula.{event.name}", alone=True)
        await self.form.show_path(f"formula.{event.name}")

    def on_form_more(self) -> None:
        from tourier.desk.screens.dialogs import Choose

        async def chosen(name: object) -> None:
            if isinstance(name, str):
                from tourier.batch.ingredients import kind_of

                kind = kind_of(name) or ""
                self._edit(lambda doc: doc.put_ingredient(name, "kind", kind), f"formula.{name}.kind", alone=True)
                await self.form.refresh_doc()
                await self.form.show_path(f"formula.{name}.kind")

        names = self.form.plain_ingredients()
        if names:
            self.app.push_screen(Choose("Of which one?", [(name, name) for name in names]), chosen)

    def _edit(self, change: Callable[[BatchDoc], None], where: str = "", alone: bool = False) -> None:
        """Change the document; what cannot be written into this file is said, and nothing is changed."""
        assert self.doc is not None
        try:
            change(self.doc)
        except ValueError as error:
            self.notify(f"{error} (ctrl+r shows the file as text)", severity="error", timeout=10, markup=False)
            return
        if self.doc.text != self.kept.text:
            self.kept.history.edit(self.doc.text, where, alone)
            self.changed()

    async def show_kept(self) -> None:
        """Show the batch in hand: another one was opened, or it was written as text."""
        assert self.doc is not None
        await self.form.set_doc(self.doc)
        self.changed()

    def changed(self) -> None:
        """Work out the text in force, and keep it."""
        self.desk.batch_text = self.kept.text
        self.files.keep()
        self._work_out()
        self.say_line()

    def _work_out(self) -> None:
        self._lessons_at = _changed_at(places.logbook_file())
        self.workbench.ask(self.kept.text, self.kept.file.name if self.kept.file else "this batch")

    def on_screen_resume(self) -> None:
        # What was learned or taken back in another room belongs into this plan too.
        if self.doc is not None and _changed_at(places.logbook_file()) != self._lessons_at:
            self._work_out()

    # --- what comes of it --------------------------------------------------------------------------------------

    def on_batch_worked(self, event: Worked) -> None:
        result = event.result
        if result.text != self.kept.text:
            return
        if isinstance(result, Sized):
            self.sized, self.timed, self._timing = result, None, False
            self.form.complain(beside(result.problems))
        elif isinstance(result, Timing):
            self._timing = True
        elif isinstance(result, Timed):
            self.timed, self._timing = result, False
        self.say_line()
        self.pane.show(self.sized, self.timed)
        if self._send_when_timed and self.timed is not None:
            self._send_when_timed = False
            self.action_send()

    def on_worked_pane_turned(self) -> None:
        if self.has_class("-narrow"):
            self.add_class("-worked")

    def on_resize(self) -> None:
        if self.doc is not None:
            self.say_line()

    def say_line(self) -> None:
        """Redraw the figures and the state line."""
        from tourier.desk.data import worked

        name = str(self.doc.get("name") or "Unnamed batch") if self.doc else "No batch"
        dirty = " (not saved)" if self.kept.unsaved or self.kept.file is None else ""
        first, second = "", ""
        columns = self.app.size.width - 2
        if self.sized is not None and self.sized.workup is not None:
            first = worked.figures(self.sized.workup, columns)
            if self._timing:
                second = "… looking for the timetable (Escape stops it)"
            elif self.timed is not None and self.timed.planned is not None:
                second = worked.hour_line(self.timed.planned, columns)
            elif self.timed is not None:
                second = f"! {self.timed.refused}"
        elif self.sized is not None:
            count = len(self.sized.problems)
            things = "One thing" if count == 1 else f"{count} things"
            first = f"! {self.sized.refused}" if self.sized.refused else f"! {things} to put right, marked !"
        self.query_one("#figures").update(Text(f"{first}\n{second}", no_wrap=True, overflow="ellipsis"))  # type: ignore[attr-defined]
        ready = ""
        if self.timed is not None and self.timed.planned is not None:
            ready = f"  ready {self.timed.planned.day.planned_at:%a %H:%M}"
        self.desk.set_batch_line(f"{name}{dirty}{ready}")

    # --- actions -----------------------------------------------------------------------------------------------

    def action_save(self) -> None:
        """Write the batch file."""
        self.files.save()

    def action_open(self) -> None:
        """Open another batch file."""
        self.files.choose()

    async def action_duplicate(self) -> None:
        """Start a new batch from this one."""
        await self.files.duplicate()

    def action_as_text(self) -> None:
        """Edit the batch file itself."""
        self.files.as_text()

    async def action_undo(self) -> None:
        """Take back the last edit."""
        await self._to_history(self.kept.history.undo(), "Nothing to undo.")

    async def action_redo(self) -> None:
        """Do it again."""
        await self._to_history(self.kept.history.redo(), "Nothing to redo.")

    async def _to_history(self, moved: bool, nothing: str) -> None:
        if not moved:
            self.notify(nothing)
            return
        assert self.doc is not None
        self.doc.take(self.kept.text)
        await self.form.show_path(self.kept.history.touched)
        self.changed()

    def action_let_be(self) -> None:
        """Stop looking for the timetable."""
        if self._timing:
            self.workbench.cancel()
            self._timing = False
            self.say_line()

    def action_flip(self) -> None:
        """In a narrow window: form or what comes of it."""
        self.toggle_class("-worked")
        self.query_one("#worked-pages" if self.has_class("-worked") else "#form-pages").focus()

    def action_changed(self) -> None:
        """Show what changed since the last good batch."""
        from tourier.desk.screens.batchdialogs import Changed

        self.app.push_screen(Changed(self.kept.text))

    def action_send(self) -> None:
        """Send the plan to the timer in view."""
        if self.timed is None or self.timed.text != self.kept.text:
            if self.sized is not None and self.sized.workup is None:
                self.notify("First put right what is marked with !.", severity="warning")
                return
            self._send_when_timed = True
            self.notify("Sending as soon as the timetable is there.")
            return
        if self.timed.planned is None:
            self.notify(self.timed.refused, severity="warning", timeout=10, markup=False)
            return
        from tourier.desk.screens.sending import Sending

        play, self._play = self._play, False
        self.app.push_screen(Sending(self.timed.planned, play))

    def play_when_timed(self) -> None:
        """Play this batch on a virtual timer as soon as its timetable is there (the demo)."""
        self._play = self._send_when_timed = True
        self.notify("The demo is being planned; then it is played on a virtual timer.")

    async def use_kitchen(self) -> None:
        """Put the cook's own kitchen into this batch; one step of undo."""
        from tourier.desk.data import mykitchen

        assert self.doc is not None
        self._edit(lambda doc: mykitchen.into(doc, mykitchen.read(places.config_folder())), "kitchen.name", alone=True)
        await self.form.open_page("kitchen")
        self.notify("Your kitchen is in this batch now; Undo takes it out.")


def beside(problems: Sequence[tuple[str, str]]) -> dict[str, str]:
    """Return what is said beside each field, by key; the reader's words for a file become words for a form."""
    said: dict[str, str] = {}
    for key, sentence in problems:
        if key.startswith("formula.") and "does not know" in sentence:
            key, sentence = f"{key}.kind", "not known by its name: choose what it is a kind of"
        said[key] = f"{said[key]}; {sentence}" if key in said else sentence
    return said


ROOM_SCREEN = Batch
