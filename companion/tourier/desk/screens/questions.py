"""Questions about the cook's kitchen, answered in the cook's words and judged while typing."""

from __future__ import annotations

from textual import work
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.widgets import Button, Input, Label, Static

from tourier import places
from tourier.desk.data import mykitchen
from tourier.desk.data.batchdoc import BatchDoc, shown, typed
from tourier.desk.screens.dialog import Dialog
from tourier.desk.widgets.formrow import Edited, FormRow


class Questions(Dialog[bool]):
    """True when the answers were kept."""

    BINDINGS = [("escape", "dismiss(False)", "Leave it"), ("ctrl+s", "keep", "Keep")]

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
                    yield FormRow(field.key, field, shown(self._doc.get(f"kitchen.{field.key}")))
            with Horizontal(classes="buttons"):
                yield Button("Keep (ctrl+s)", id="keep", variant="primary")
                yield Button("Leave it", id="leave")

    def on_mount(self) -> None:
        self.query(Input).first().focus()

    def on_edited(self, event: Edited) -> None:
        event.stop()
        self._doc.put(f"kitchen.{event.path}", typed(event.text, event.field.kind))
        self._judge()

    @work(thread=True, exclusive=True)
    def _judge(self) -> None:
        wrong = mykitchen.problems(self._doc.text, self.app.now())  # type: ignore[attr-defined]
        self.app.call_from_thread(self._complain, wrong)

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
