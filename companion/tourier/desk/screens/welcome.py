"""The first minute: nothing configured, no board needed."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Button, Static

_TEXT = (
    "Tourier plans hand-laminated dough back from the hour you want it ready, keeps the times and temperatures on a "
    "bench timer, and tells you afterwards which fold to do differently.\n\n"
    "Nothing needs to be set up. Every key is in Help (F10); this welcome comes back with F12. "
    "The timer advises; it is no food-safety instrument: keep to your local rules."
)


class Welcome(ModalScreen[str | None]):
    """Offers the demo, the kitchen questions, or going on; gives demo, kitchen, open, on, or None."""

    BINDINGS = [("escape", "go_on", "Go on")]
    HORIZONTAL_BREAKPOINTS: ClassVar = [(0, "-narrow"), (100, "-wide")]
    VERTICAL_BREAKPOINTS: ClassVar = [(0, "-short"), (22, "-tall")]

    def __init__(self) -> None:
        super().__init__(classes="welcome")

    def compose(self) -> ComposeResult:
        with VerticalScroll(classes="dialog small", can_focus=False):
            yield Static("WELCOME TO THE BENCH", id="welcome-title", markup=False)
            yield Static(_TEXT, markup=False)
            yield Button("Play the demo on a virtual bench timer", id="demo", variant="primary")
            yield Button("Answer a few questions about my kitchen", id="kitchen")
            yield Button("Open a batch file or an example", id="open")
            yield Button("Go on to the form", id="on")

    def on_button_pressed(self, event: Button.Pressed) -> None:
        self._seen()
        self.dismiss(event.button.id)

    def action_go_on(self) -> None:
        """Close."""
        self._seen()
        self.dismiss(None)

    def _seen(self) -> None:
        settings = self.app.settings  # type: ignore[attr-defined]
        if not settings.welcomed:
            settings.welcomed = True
            self.app.remember()  # type: ignore[attr-defined]
