"""Help for the part the cook is in, with the keys that are really in force."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.screen import Screen
from textual.widgets import Button, Markdown, Static

from tourier.desk.screens.dialog import Dialog


class Help(Dialog[None]):
    """Text for the focused part and the effective key map."""

    BINDINGS = [("escape,q,f10", "dismiss", "Close")]

    def __init__(self, text: str, behind: Screen) -> None:
        super().__init__()
        self._text = text
        self._behind = behind
        self._lines = self._read_keys()  # now: with a question in front, the rooms' keys are out of force

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog"):
            with VerticalScroll(id="help"):
                if self._text:
                    yield Markdown(self._text)
                yield Static("Keys here", classes="question")
                yield Static("\n".join(self.key_lines()), markup=False)
            yield Button("Close", id="close")

    def on_button_pressed(self, event: Button.Pressed) -> None:
        event.stop()
        self.leave()

    def key_lines(self) -> list[str]:
        """Return the keys that work behind this help, as aligned lines."""
        return self._lines

    def _read_keys(self) -> list[str]:
        keys: dict[str, list[str]] = {}
        for active in self._behind.active_bindings.values():
            binding = active.binding
            if binding.description:
                shown = keys.setdefault(binding.tooltip or binding.description, [])
                key = self.app.get_key_display(binding)
                if key not in shown:
                    shown.append(key)
        rows = [(" ".join(found), does) for does, found in keys.items()]
        width = max((len(key) for key, _does in rows), default=0)
        return [f"{key:{width}}  {does}" for key, does in rows]
