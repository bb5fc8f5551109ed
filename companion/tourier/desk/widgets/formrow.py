"""One field of the form: its words, its value, and what is wrong with it right beside."""

from __future__ import annotations

from rich.markup import escape
from textual import events
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal
from textual.message import Message
from textual.widgets import Input, Static

from tourier.desk.data.fields import Field


class Edited(Message):
    """A field was edited: its path in the batch file and the text that stands there now."""

    def __init__(self, path: str, text: str, field: Field) -> None:
        super().__init__()
        self.path, self.text, self.field = path, text, field


class Choice(Static, can_focus=True):
    """One of a few words: space, left and right go through them, Enter or a click shows all."""

    DEFAULT_CSS = """
    Choice { height: 1; width: 1fr; background: $surface; padding: 0 1; }
    Choice:focus { background: $panel; text-style: bold; }
    """
    BINDINGS = [
        Binding("left", "step(-1)", "Before", show=False),
        Binding("right,space", "step(1)", "Next", show=False),
        Binding("enter", "all", "Choose", show=False),
    ]

    class Changed(Message):
        """Another word was chosen."""

        def __init__(self, choice: Choice, value: str) -> None:
            super().__init__()
            self.choice, self.value = choice, value

    def __init__(self, words: tuple[str, ...], value: str, usual: str) -> None:
        super().__init__(markup=False)
        self._words, self.value, self._usual = words, value, usual

    def on_mount(self) -> None:
        self._draw()

    def set_value(self, value: str) -> None:
        """Show another value without saying so."""
        self.value = value
        self._draw()

    def _draw(self) -> None:
        usual = f"‹ {self._usual} › usual" if self._usual in self._words else f"‹ {self._usual} ›"
        self.update(f"‹ {self.value} ›" if self.value else usual)

    def _choose(self, word: str) -> None:
        self.set_value(word)
        self.post_message(self.Changed(self, word))

    def action_step(self, by: int) -> None:
        """Take the neighbouring word."""
        present = self.value or self._usual
        # From a usual that is none of the words (the reader decides, or the cook must), the first or the last is next.
        at = self._words.index(present) if present in self._words else (-1 if by > 0 else 0)
        self._choose(self._words[(at + by) % len(self._words)])

    def action_all(self) -> None:
        """Show all words."""
        from tourier.desk.screens.dialogs import Choose

        def chosen(word: object) -> None:
            if word is not None:
                self._choose(str(word))

        answers: list[tuple[object, str]] = [(word, word) for word in self._words]
        self.app.push_screen(Choose("Choose:", [*answers, ("", f"write nothing ({self._usual})")]), chosen)

    def on_click(self, event: events.Click) -> None:
        self.action_all()


class FormRow(Horizontal):
    """A labelled field. `set_value` and `complain` say nothing back; the cook's edits are posted as `Edited`."""

    DEFAULT_CSS = """
    FormRow { height: auto; }
    FormRow > .label { width: 19; height: 1; color: $foreground; }
    FormRow > .entry { width: 1fr; height: auto; }
    FormRow > .entry > Input { width: 1fr; height: 1; border: none; padding: 0 1; background: $surface; }
    FormRow > .entry > Input:focus { background: $panel; text-style: bold; }
    FormRow > .entry > .wrong { height: auto; color: $error; text-style: bold; padding: 0 1; }
    """

    def __init__(self, path: str, field: Field, value: str, wrong: str = "") -> None:
        super().__init__()
        self.path, self.field = path, field
        self._value, self._wrong = value, wrong
        self.tooltip = None

    @property
    def HELP(self) -> str:  # noqa: N802 -- the help protocol's name
        """Words for this field."""
        text = f"### {self.field.label.strip()}\n\n{self.field.help or 'Units as you say them.'}"
        if self.field.example and self.field.kind != "choice":
            text += f"\n\nFor example: `{self.field.example}`."
        if self.field.choices:
            text += "\n\nOne of: " + ", ".join(self.field.choices) + "."
        return text + f"\n\nIn the batch file: `{self.path}`."

    def compose(self) -> ComposeResult:
        yield Static(("! " if self._wrong else "") + self.field.label, classes="label", markup=False)
        from textual.containers import Vertical

        with Vertical(classes="entry"):
            if self.field.kind in ("choice", "flag"):
                yield Choice(self.field.words, self._value, self.field.unsaid)
            else:
                yield Input(self._value, placeholder=self.field.example, compact=True)
            if self._wrong:
                yield Static(escape(self._wrong), classes="wrong")

    @property
    def text(self) -> str:
        """What stands in the field now."""
        for entry in self.query(Input):
            return entry.value
        for choice in self.query(Choice):
            return choice.value
        return self._value

    def set_value(self, value: str) -> None:
        """Show another value (after undo)."""
        self._value = value
        for entry in self.query(Input):
            if entry.value != value:
                with entry.prevent(Input.Changed):
                    entry.value = value
        for choice in self.query(Choice):
            choice.set_value(value)

    def focus_entry(self) -> None:
        """Put the cursor into the field."""
        for entry in self.query("Input, Choice"):
            entry.focus()

    def complain(self, wrong: str) -> None:
        """Show what is wrong beside the field, or nothing."""
        if wrong == self._wrong:
            return
        self._wrong = wrong
        self.query_one(".label", Static).update(("! " if wrong else "") + self.field.label)
        shown = self.query(".wrong")
        if not wrong:
            shown.remove()
        elif shown:
            shown.first(Static).update(escape(wrong))
        else:
            self.query_one(".entry").mount(Static(escape(wrong), classes="wrong"))

    def on_input_changed(self, event: Input.Changed) -> None:
        event.stop()
        self._value = event.value
        self.post_message(Edited(self.path, event.value, self.field))

    def on_choice_changed(self, event: Choice.Changed) -> None:
        event.stop()
        self._value = event.value
        self.post_message(Edited(self.path, event.value, self.field))
