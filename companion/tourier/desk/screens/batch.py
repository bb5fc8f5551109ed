"""The evening before: the batch file as a form on the left, worked out as one types on the right."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from rich.text import Text
from textual import work
from textual.app import ComposeResult
from textual.message import Message

from tourier import places
from tourier.desk.actions import bindings
from tourier.desk.data.batchdoc import BatchDoc, typed
from tourier.desk.data.history import Autosave, History
from tourier.desk.data.workbench import Result, Sized, Timed, Timing, Workbench
from tourier.desk.data.worked import PAGES
from tourier.desk.screens.room import Room

if TYPE_CHECKING:
    from tourier.desk.widgets.form import Form
    from tourier.desk.widgets.formrow import Edited
    from tourier.desk.widgets.pages import PageRow


class Batch(Room):
    """What the cook wants, and what comes of it."""

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
        self.doc: BatchDoc | None = None
        self.file: Path | None = None
        self.saved = ""
        self.history = History("")
        self.sized: Sized | None = None
        self.timed: Timed | None = None
        self._autosave = Autosave(places.autosave_folder(), None)
        self._page = PAGES[0][0]
        self._timing = False
        self._send_when_timed = False
        self._play = False
        self.bench = Workbench(
            lambda result: self.post_message(self.Worked(result)), lambda: self.desk.now(), places.logbook_file
        )

    def compose_room(self) -> ComposeResult:
        # Imported here: the frame is on the screen by now.
        from textual.containers import Horizontal, Vertical, VerticalScroll
        from textual.widgets import Static

        from tourier.desk.widgets.form import Form
        from tourier.desk.widgets.pages import PageRow

        with Horizontal(id="batch"):
            yield Form(id="form")
            with Vertical(id="worked"):
                yield PageRow(list(PAGES), id="worked-pages")
                with VerticalScroll(id="worked-scroll"):
                    yield Static("", id="worked-page", markup=False)
        yield Static("", id="figures", markup=False)

    def on_unmount(self) -> None:
        self.bench.stop()

    async def furnished(self) -> None:
        self.bench.start()
        recent = self.desk.batch_file or next((Path(p) for p in self.desk.settings.recent if Path(p).is_file()), None)
        if recent is None or not await self.open_file(recent):
            from tourier.batch.examples import demo_text

            await self.open_text(demo_text(), None)
        self.query_one("#form-pages").focus()

    @property
    def form(self) -> Form:
        """The form."""
        return self.query_one("#form")  # type: ignore[return-value]

    def _put(self, selector: str, text: Text) -> None:
        self.query_one(selector).update(text)  # type: ignore[attr-defined]

    # --- files -------------------------------------------------------------------------------------------------

    async def open_file(self, file: Path) -> bool:
        """Open a batch file; says why when it cannot be opened."""
        import tomllib

        try:
            text = file.read_text(encoding="utf-8-sig")
            tomllib.loads(text)
        except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
            self.notify(f"{file} cannot be opened: {error}", severity="error", timeout=10, markup=False)
            return False
        self.desk.settings.opened(file)
        await self.open_text(text, file)
        return True

    async def open_text(self, text: str, file: Path | None, keep: bool = True) -> None:
        """Put a text into the form; edits that a crash left over come back on top of it."""
        self.file, self.saved = file, text
        self.history = History(text)
        self._autosave = Autosave(places.autosave_folder(), file)
        left = self._autosave.found() if keep else None
        if left is not None and left != text:
            self.history.edit(left)
            self.notify("Edits that were not saved last time are back; Undo takes them away.", timeout=8)
        self.doc = BatchDoc(self.history.now)
        await self.form.set_doc(self.doc)
        self._changed()

    def save_to(self, file: Path) -> None:
        """Write the file whole, through a neighbour, and forget the autosave."""
        fresh = file.with_name(file.name + ".new")
        try:
            fresh.write_text(self.history.now, encoding="utf-8")
            fresh.replace(file)
        except OSError as error:
            self.notify(f"{file} cannot be written ({error.strerror}); choose another place.", severity="error",
                        markup=False)  # fmt: skip
            return
        self._autosave.forget()
        self.file, self.saved = file, self.history.now
        self._autosave = Autosave(places.autosave_folder(), file)
        self.desk.settings.opened(file)
        self._line()
        self.notify(f"Saved: {file}", markup=False)

    # --- edits -------------------------------------------------------------------------------------------------

    def on_edited(self, event: Edited) -> None:
        event.stop()
        assert self.doc is not None
        form = self.form
        value = typed(event.text, event.field.kind)
        if form.page == "formula":
            self.doc.put_key("formula", event.path.removeprefix("formula."), value)
        elif form._value(event.path).strip() != event.text.strip():
            self.doc.put(event.path, value)
        self._take(event.path)

    async def on_form_added(self, event: Form.Added) -> None:
        assert self.doc is not None
        self.doc.add(event.path, event.values)
        self._take()
        await self.form.open_page(self.form.page, self.doc.count(event.path))

    async def on_form_removed(self, event: Form.Removed) -> None:
        assert self.doc is not None
        self.doc.remove(event.path, event.number)
        self._take()
        await self.form.open_page(self.form.page)

    async def on_form_new_ingredient(self, event: Form.NewIngredient) -> None:
        assert self.doc is not None
        self.doc.put_key("formula", event.name, "1 %")
        self._take()
        await self.form.refresh_doc()

    def _take(self, key: str = "") -> None:
        assert self.doc is not None
        if self.doc.text != self.history.now:
            self.history.edit(self.doc.text, key)
            self._changed()

    def _changed(self) -> None:
        self.desk.batch_text = self.history.now
        self._keep(self.history.now)
        self.bench.ask(self.history.now, self.file.name if self.file else "this batch")
        self._line()

    @work(thread=True, exclusive=True, group="autosave")
    def _keep(self, text: str) -> None:
        if text == self.saved:
            self._autosave.forget()
        else:
            self._autosave.keep(text)

    # --- what comes of it --------------------------------------------------------------------------------------

    def on_batch_worked(self, event: Worked) -> None:
        result = event.result
        if result.text != self.history.now:
            return
        if isinstance(result, Sized):
            self.sized, self.timed, self._timing = result, None, False
            self.form.complain(dict(result.problems))
        elif isinstance(result, Timing):
            self._timing = True
        elif isinstance(result, Timed):
            self.timed, self._timing = result, False
        self._line()
        self._draw()
        if self._send_when_timed and self.timed is not None:
            self._send_when_timed = False
            self.action_send()

    def on_page_row_chosen(self, event: PageRow.Chosen) -> None:
        if event.row.id == "worked-pages":
            self._page = event.page
            self.query_one("#worked-scroll").scroll_home(animate=False)
            self._draw()
            if self.has_class("-narrow") and not self.has_class("-worked"):
                self.add_class("-worked")

    def on_resize(self) -> None:
        if self.doc is not None:
            self._draw()
            self._line()

    @work(thread=True, exclusive=True, group="draw")
    def _draw(self) -> None:
        from tourier.desk.data import worked

        sized, timed = self.sized, self.timed
        if sized is None:
            return
        columns = self.query_one("#worked-scroll").size.width - 2
        if columns < 10:
            columns = max(30, self.app.size.width - 6)
        if sized.workup is None:
            lines = ["Nothing to show yet:", "", *[f"! {key}: {sentence}" for key, sentence in sized.problems]]
            lines += [f"! {sized.refused}"] if sized.refused else []
        elif timed is not None and timed.refused and self._page in ("times", "mind"):
            lines = [f"! {timed.refused}", "", *[f"- {offer}" for offer in timed.offers]]
        else:
            lines = worked.page(self._page, sized.workup, timed.planned if timed else None, columns)
        self.app.call_from_thread(self._put_page, "\n".join(lines))

    def _put_page(self, text: str) -> None:
        self._put("#worked-page", Text(text, no_wrap=not self._wraps()))

    def _wraps(self) -> bool:
        return self.sized is not None and (self.sized.workup is None or bool(self.timed and self.timed.refused))

    def _line(self) -> None:
        from tourier.desk.data import worked

        name = str(self.doc.get("name") or "Unnamed batch") if self.doc else "No batch"
        dirty = "" if self.history.now == self.saved and self.file else " (not saved)"
        first, second = "", ""
        if self.sized is not None and self.sized.workup is not None:
            first = worked.figures(self.sized.workup)
            if self._timing:
                second = "… looking for the timetable (Escape lets it be)"
            elif self.timed is not None and self.timed.planned is not None:
                second = worked.hour_line(self.timed.planned)
            elif self.timed is not None:
                second = f"! {self.timed.refused}"
        elif self.sized is not None:
            count = len(self.sized.problems)
            first = f"! {self.sized.refused}" if self.sized.refused else f"! {count} thing(s) to put right, marked !"
        self._put("#figures", Text(f"{first}\n{second}", no_wrap=True, overflow="ellipsis"))
        ready = ""
        if self.timed is not None and self.timed.planned is not None:
            ready = f"  ready {self.timed.planned.day.ready_at:%a %H:%M}"
        self.desk.set_batch_line(f"{name}{dirty}{ready}")

    # --- actions -----------------------------------------------------------------------------------------------

    async def action_undo(self) -> None:
        """Take back the last edit."""
        await self._to_history(self.history.undo(), "Nothing to undo.")

    async def action_redo(self) -> None:
        """Do it again."""
        await self._to_history(self.history.redo(), "Nothing to redo.")

    async def _to_history(self, moved: bool, nothing: str) -> None:
        if not moved:
            self.notify(nothing)
            return
        assert self.doc is not None
        self.doc._take(self.history.now)
        await self.form.refresh_doc()
        self._changed()

    def action_let_be(self) -> None:
        """Stop looking for the timetable."""
        if self._timing:
            self.bench.cancel()
            self._timing = False
            self._line()

    def action_flip(self) -> None:
        """In a narrow window: form or what comes of it."""
        self.toggle_class("-worked")
        self.query_one("#worked-pages" if self.has_class("-worked") else "#form-pages").focus()
        self._draw()

    def action_save(self) -> None:
        """Write the batch file."""
        if self.file is not None:
            self.save_to(self.file)
            return
        from tourier.desk.screens.ask import Ask

        def named(text: str | None) -> None:
            if text:
                self.save_to(Path(text).expanduser())

        self.app.push_screen(Ask("Save as (a file name ending in .toml):", "batch.toml", 300), named)

    def action_open(self) -> None:
        """Open another batch file."""
        from tourier.desk.screens.batchfiles import OpenBatch

        async def chosen(what: Any) -> None:
            if isinstance(what, Path):
                await self.open_file(what)
            elif isinstance(what, str):
                await self.open_text(what, None, keep=False)

        self.app.push_screen(OpenBatch(self.desk.settings.recent), chosen)

    async def action_duplicate(self) -> None:
        """Start a new batch from this one."""
        await self.open_text(self.history.now, None, keep=False)
        self.notify("This is a new batch now; the old file stays as it is. Save gives it a name.")

    def action_changed(self) -> None:
        """Show what changed since the last good batch."""
        from tourier.desk.screens.batchfiles import Changed

        self.app.push_screen(Changed(self.history.now))

    def action_send(self) -> None:
        """Send the plan to the timer in view."""
        if self.timed is None or self.timed.text != self.history.now:
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
        mykitchen.into(self.doc, mykitchen.read(places.config_folder()))
        self._take()
        await self.form.open_page("kitchen")
        self.notify("Your kitchen is in this batch now; Undo takes it out.")


ROOM_SCREEN = Batch
