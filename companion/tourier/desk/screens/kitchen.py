"""Kitchen and butters: what the cook has said, what the logs have taught, from which batches; change and take back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.widgets import Button, ContentSwitcher, DataTable, Input, Label, Static

from tourier import places
from tourier.desk.actions import bindings
from tourier.desk.data import mykitchen
from tourier.desk.data.batchdoc import BatchDoc, shown, typed
from tourier.desk.screens.dialogs import Dialog
from tourier.desk.screens.room import Room
from tourier.desk.widgets.fitted import Fit, FittedTable
from tourier.desk.widgets.formrow import Edited, FormRow
from tourier.desk.widgets.latest import show_latest
from tourier.desk.widgets.pages import PageRow
from tourier.known import Learned
from tourier.voice import METRIC, Voice

_PAGES = [("mine", "My kitchen"), ("learned", "Learned"), ("butters", "Butters")]
_NO_LOG = "Nothing learned yet. Collect batches from the timer, then Learn (l): fridge, freezer, bench, mixer, butter."

_LEARNED = (
    Fit("what", 26), Fit("of", 12), Fit("value", 14), Fit("band", 16, 1), Fit("batches", 8), Fit("error before", 12, 3),
    Fit("after", 9, 2),
)  # fmt: skip
_BUTTERS = (
    Fit("butter", 14), Fit("bends", 15), Fit("melts", 6, 1), Fit("shatters below", 14, 2), Fit("absorbed above", 14, 3),
    Fit("known from", 26),
)  # fmt: skip


class KitchenRoom(Room):
    """What is known of kitchen and butter."""

    ROOM = "kitchen"
    _said: Voice = METRIC  # of the kitchen as it is kept; read with the rest
    BINDINGS: ClassVar = bindings("kitchen")
    HELP = (
        "## Kitchen\n\n*My kitchen* is what you said; *Learned* is what the timer's logs make of it, each value with "
        "its band, the batches it rests on and the forecast's error before and after; *Butters* shows where each "
        "butter bends. Bend tests at the bench move that window; you may also write it down by hand. What is "
        "learned can be taken back."
    )

    def compose_room(self) -> ComposeResult:
        yield PageRow(_PAGES, id="kitchen-pages")
        with ContentSwitcher(initial="mine", id="kitchen-switch"):
            with VerticalScroll(id="mine"):
                yield Static("", id="mine-text", markup=False)
            with VerticalScroll(id="learned", can_focus=False):
                yield FittedTable(_LEARNED, id="learned-table")
                yield Static("", id="learned-text", markup=False)
            yield FittedTable(_BUTTERS, id="butters")

    def on_mount(self) -> None:
        self.query_one("#kitchen-pages").focus()

    def on_screen_resume(self) -> None:
        self.reload()

    def on_page_row_chosen(self, event: PageRow.Chosen) -> None:
        self.query_one("#kitchen-switch", ContentSwitcher).current = event.page

    @work(thread=True, exclusive=True)
    def reload(self) -> None:
        """Read everything."""
        mine, said = mykitchen.lines(mykitchen.read(places.config_folder())), mykitchen.voice(places.config_folder())
        if not mykitchen.known(places.config_folder()):
            mine = ["Not answered yet: press k. Until then a home kitchen to begin with:", "", *mine]
        learned, trouble = mykitchen.in_force(places.logbook_file())
        rows = [mykitchen.butter_row(name, learned, said) for name in mykitchen.butter_names()]
        show_latest(self._show, mine, learned, rows, trouble, said)

    def _show(self, mine: list[str], learned: Iterable[Learned], butters: list[tuple[str, ...]], trouble: str,
              said: Voice) -> None:
        self._said = said
        self.query_one("#mine-text", Static).update("\n".join(mine))
        table = self.query_one("#learned-table", FittedTable)
        keys = [f"{value.quantity}@{value.subject}" for value in learned]
        table.fill([mykitchen.learned_row(value, self._said) for value in learned], keys, table.cursor_row)
        text = self.query_one("#learned-text", Static)
        if not learned:
            text.update(trouble or _NO_LOG)
        elif str(text.content) == _NO_LOG:
            text.update("")
        if trouble:
            self.notify(trouble, severity="error", title="Logbook", timeout=10, markup=False)
        table = self.query_one("#butters", FittedTable)
        table.fill(butters, [row[0] for row in butters], table.cursor_row)

    # --- actions -----------------------------------------------------------------------------------------------

    def action_questions(self) -> None:
        """Answer the questions about the kitchen."""
        def done(kept: bool | None) -> None:
            if kept:
                self.reload()
                self.notify("Kept. Press u to put this kitchen into the open batch.")

        self.app.push_screen(Questions(), done)

    def action_use(self) -> None:
        """Put the kitchen into the open batch."""
        self.desk.call_later(self.desk.use_kitchen)

    @work(thread=True, exclusive=True, group="learn")
    def action_learn(self) -> None:
        """Fit the kitchen from the logs."""
        from tourier.logbook import LogbookError
        from tourier.logbook.learning.learn import learn
        from tourier.logbook.record.store import Logbook

        file = places.logbook_file()
        if not file.exists():
            self.app.call_from_thread(self.notify, _NO_LOG)
            return
        self.app.call_from_thread(self.query_one("#learned-text", Static).update, "Reading the logs …")
        try:
            with Logbook(file) as book:
                found = learn(book)
        except LogbookError as error:
            self.app.call_from_thread(self.notify, str(error), severity="error", markup=False)
            return
        said = [f"{one.quantity} of {one.subject}: {one.sentence}" for one in found.refusals]
        text = "\n".join(["", "What the logs cannot tell:", *said]) if said else ""
        self.app.call_from_thread(self.query_one("#learned-text", Static).update, text)
        self.app.call_from_thread(self.query_one("#kitchen-pages", PageRow).choose, "learned")
        self.app.call_from_thread(self.reload)

    def action_forget(self) -> None:
        """Take back the learned value in view."""
        from tourier.desk.screens.dialogs import Confirm

        table = self.query_one("#learned-table", DataTable)
        if self.query_one("#kitchen-switch", ContentSwitcher).current != "learned" or not table.row_count:
            self.notify("Choose a value on the page Learned first.")
            return
        what = str(table.coordinate_to_cell_key(table.cursor_coordinate).row_key.value)

        def sure(yes: bool | None) -> None:
            if yes:
                self._forget(what)

        self.app.push_screen(Confirm(f"Take {what} back? The value before it holds again.", "Take it back"), sure)

    @work(thread=True, exclusive=True, group="learn")
    def action_reset(self) -> None:
        """Take back everything learned of one kitchen or butter, or all of it."""
        values, _trouble = mykitchen.in_force(places.logbook_file())
        self.app.call_from_thread(self._ask_reset, values)

    def _ask_reset(self, values: Sequence[Learned]) -> None:
        from tourier.desk.screens.dialogs import Choose

        if not values:
            self.notify(_NO_LOG)
            return
        subjects = list(dict.fromkeys(value.subject for value in values))
        counts = {subject: sum(value.subject == subject for value in values) for subject in subjects}
        answers: list[tuple[object, str]] = [
            (f"all@{subject}", f"all {counts[subject]} learned of {subject}") for subject in subjects
        ]
        if len(subjects) > 1:
            answers.append(("all", f"all {len(values)}, of every kitchen and butter"))

        def chosen(what: object) -> None:
            if what:
                self._forget(str(what))

        question = "Forget for good (the logs stay; Learn finds it again from them):"
        self.app.push_screen(Choose(question, answers), chosen)

    @work(thread=True, exclusive=True, group="learn")
    def _forget(self, what: str) -> None:
        from tourier.logbook import LogbookError
        from tourier.logbook.learning import ledger
        from tourier.logbook.record.store import Logbook

        try:
            with Logbook(places.logbook_file()) as book:
                ledger.forget(book, what)
        except LogbookError as error:
            self.app.call_from_thread(self.notify, str(error), severity="error", markup=False)
        self.app.call_from_thread(self.reload)

    def action_edit(self) -> None:
        """Write the window of the butter in view by hand."""
        from tourier.desk.screens.dialogs import Ask

        table = self.query_one("#butters", DataTable)
        if self.query_one("#kitchen-switch", ContentSwitcher).current != "butters" or not table.row_count:
            self.notify("Choose a butter on the page Butters first.")
            return
        name = str(table.coordinate_to_cell_key(table.cursor_coordinate).row_key.value)

        def written(text: str | None) -> None:
            if text:
                self._write_window(name, text)

        such = self._said.example(mykitchen.SUCH)
        self.app.push_screen(Ask(f"{name} bends from … to … (such as {such}):", "", 40), written)

    @work(thread=True, exclusive=True, group="learn")
    def _write_window(self, name: str, text: str) -> None:
        wrong = mykitchen.write_window(places.logbook_file(), name, text, self._said)
        self.app.call_from_thread(
            self.notify, wrong or f"Kept for {name}.", severity="warning" if wrong else "information", markup=False
        )
        self.app.call_from_thread(self.reload)


class Questions(Dialog[bool]):
    """The kitchen in the cook's words, judged while typing; True when the answers were kept."""

    BINDINGS = [("escape", "dismiss(False)", "Cancel"), ("ctrl+s", "keep", "Keep")]

    def __init__(self) -> None:
        super().__init__()
        self._doc = BatchDoc(mykitchen.read(places.config_folder()))

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog"):
            yield Label("Your kitchen. Rough answers do: the timer's logs make them truer.", markup=False)
            with VerticalScroll(id="questions", can_focus=False):
                for question, field in mykitchen.QUESTIONS:
                    if question:
                        yield Static(question, classes="question", markup=False)
                    yield FormRow(field.key, field.said(self._doc.voice), shown(self._doc.get(f"kitchen.{field.key}")))
            with Horizontal(classes="buttons"):
                yield Button("Keep (ctrl+s)", id="keep", variant="primary")
                yield Button("Cancel", id="leave")

    def on_mount(self) -> None:
        self.query(Input).first().focus()

    def on_edited(self, event: Edited) -> None:
        event.stop()
        self._doc.put(f"kitchen.{event.path}", typed(event.text, event.field.kind))
        self._judge()

    @work(thread=True, exclusive=True)
    def _judge(self) -> None:
        wrong = mykitchen.problems(self._doc.text, self.app.now())  # type: ignore[attr-defined]
        show_latest(self._complain, wrong)

    def _complain(self, wrong: dict[str, str]) -> None:
        for row in self.query(FormRow):
            row.complain(wrong.get(row.path, ""))

    def leave(self) -> None:
        """Leave it; a click beside the questions does not throw answers away."""

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        self.focus_next()

    def on_button_pressed(self, event: Button.Pressed) -> None:
        if event.button.id == "keep":
            self.action_keep()
        else:
            self.dismiss(False)

    @work(thread=True, exclusive=True, group="keep")
    def action_keep(self) -> None:
        """Keep the answers when they make sense."""
        wrong = mykitchen.problems(self._doc.text, self.app.now())  # type: ignore[attr-defined]
        if wrong:
            self.app.call_from_thread(self._complain, wrong)
            key, sentence = next(iter(wrong.items()))
            self.app.call_from_thread(self.notify, f"{key}: {sentence}", severity="warning", markup=False)
            return
        try:
            mykitchen.write(places.config_folder(), self._doc.text)
        except OSError as error:
            said = f"The answers cannot be kept ({error.strerror}); make room in {places.config_folder()}, keep again."
            self.app.call_from_thread(self.notify, said, severity="error", timeout=10, markup=False)
            return
        self.app.call_from_thread(self.dismiss, True)


ROOM_SCREEN = KitchenRoom
