"""Questions in front of a room: a line of text, one of a few answers, yes or no."""

from __future__ import annotations

from typing import Generic, TypeVar

from textual import events
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.screen import ModalScreen
from textual.widgets import Button, Input, Label, OptionList
from textual.widgets.option_list import Option

Answer = TypeVar("Answer")


class Dialog(ModalScreen[Answer], Generic[Answer]):
    """A modal screen that can be left without a keyboard."""

    def action_leave(self) -> None:
        """Leave it."""
        self.leave()

    def leave(self) -> None:
        """Leave it; what a closed question means is for the subclass."""
        self.dismiss(None)

    def on_click(self, event: events.Click) -> None:
        if event.widget is self:
            self.leave()


class Ask(Dialog[str | None]):
    """Asks for a line of text; None when the cook thinks better of it."""

    BINDINGS = [("escape", "dismiss(None)", "Cancel")]

    def __init__(self, question: str, text: str = "", cap: int = 100) -> None:
        super().__init__()
        self._question, self._text, self._cap = question, text, cap

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog small"):
            yield Label(self._question, markup=False)
            yield Input(self._text, max_length=self._cap)
            with Horizontal(classes="buttons"):
                yield Button("Go on", id="ok", variant="primary")
                yield Button("Cancel", id="leave")

    def on_input_submitted(self, event: Input.Submitted) -> None:
        self.dismiss(event.value.strip() or None)

    def on_button_pressed(self, event: Button.Pressed) -> None:
        text = self.query_one(Input).value.strip() if event.button.id == "ok" else ""
        self.dismiss(text or None)


class Choose(Dialog[object]):
    """Asks for one of a few answers, given as (value, words)."""

    BINDINGS = [("escape", "dismiss(None)", "Cancel")]

    def __init__(self, question: str, answers: list[tuple[object, str]]) -> None:
        super().__init__()
        self._question, self._answers = question, answers

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog small"):
            yield Label(self._question, markup=False)
            yield OptionList(*[Option(words) for _value, words in self._answers])
            yield Button("Cancel", id="leave")

    def on_button_pressed(self, event: Button.Pressed) -> None:
        self.leave()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        self.dismiss(self._answers[event.option_index][0])


class Confirm(Dialog[bool]):
    """A deliberate second step before what cannot be taken back."""

    BINDINGS = [("escape", "dismiss(False)", "No")]

    def __init__(self, question: str, yes: str) -> None:
        super().__init__()
        self._question, self._yes = question, yes

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog small"):
            yield Label(self._question, markup=False)
            yield Button("No, leave it", id="no")
            yield Button(self._yes, id="yes", variant="warning")

    def leave(self) -> None:
        """No."""
        self.dismiss(False)

    def on_button_pressed(self, event: Button.Pressed) -> None:
        self.dismiss(event.button.id == "yes")
