"""A batch file as text: to mend what is no TOML, and to write what the form has no field for."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.screen import ModalScreen
from textual.widgets import Button, Static, TextArea

from tourier.desk.data.batchdoc import trouble

_LARGEST = 64 * 1024  # octets, as the reader of batch files allows


class Mend(ModalScreen[str | None]):
    """Gives the text when it is TOML and wanted, None when the cook leaves it; the file is not touched here."""

    BINDINGS = [("escape", "dismiss(None)", "Leave it"), ("ctrl+s", "use", "Use it")]

    def __init__(self, title: str, text: str) -> None:
        super().__init__()
        self._title, self._text = title, text

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog dense"):
            yield Static(self._title, classes="title", markup=False)
            yield Static("", id="mend-words", markup=False)
            yield TextArea(self._text, show_line_numbers=True, soft_wrap=False, tab_behavior="focus", id="mend-text")
            with Horizontal(classes="buttons"):
                yield Button("Use it (ctrl+s)", id="use", variant="primary")
                yield Button("Leave it", id="leave")

    def on_mount(self) -> None:
        area = self.query_one(TextArea)
        wrong = trouble(self._text)
        area.focus()
        if wrong is not None:
            area.move_cursor((min(wrong.line, area.document.line_count) - 1, 0))
        self._say()

    def on_text_area_changed(self, event: TextArea.Changed) -> None:
        event.stop()
        self._say()

    def _say(self) -> str:
        text = self.query_one(TextArea).text
        wrong = trouble(text)
        said = "" if wrong is None else f"! {wrong}."
        if not said and len(text.encode("utf-8", "replace")) > _LARGEST:
            said = "! It is larger than 64 KB; a batch file is a page."
        self.query_one("#mend-words", Static).update(said or "It can be read.")
        return said

    def on_button_pressed(self, event: Button.Pressed) -> None:
        if event.button.id == "use":
            self.action_use()
        else:
            self.dismiss(None)

    def action_use(self) -> None:
        """Give the text back."""
        said = self._say()
        if said:
            self.notify("First put right what is said above the text.", severity="warning")
            self.query_one(TextArea).focus()
        else:
            self.dismiss(self.query_one(TextArea).text)
