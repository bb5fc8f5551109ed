"""What every question in front of a room has: Escape and a click beside it leave it."""

from __future__ import annotations

from typing import Generic, TypeVar

from textual import events
from textual.screen import ModalScreen

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
