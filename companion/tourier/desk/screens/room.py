"""What every room has: the state line on top, the row of rooms, the footer, and help for the focused part."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.containers import Container
from textual.screen import Screen
from textual.widgets import Footer

from tourier.desk.widgets.topline import RoomRow, TopLine

if TYPE_CHECKING:
    from tourier.desk.app import Desk


class Room(Screen):
    """A room of the desk application. Subclasses give `ROOM`, `compose_room` and their own actions."""

    ROOM: ClassVar[str] = ""
    # Below 100 columns or 30 rows the compact layout hides what is only nice to have.
    HORIZONTAL_BREAKPOINTS: ClassVar = [(0, "-narrow"), (100, "-wide")]
    VERTICAL_BREAKPOINTS: ClassVar = [(0, "-short"), (30, "-tall")]
    HELP: ClassVar[str] = ""

    @property
    def desk(self) -> Desk:
        """The application, with its own type."""
        return self.app  # type: ignore[return-value]

    def compose(self) -> ComposeResult:
        yield TopLine()
        yield RoomRow(self.ROOM)
        with Container(id="room"):
            yield from self.compose_room()
        yield Footer(compact=True, show_command_palette=False)

    def compose_room(self) -> ComposeResult:
        """Yield the room's own widgets."""
        yield from ()

    def help_text(self) -> str:
        """Return Markdown for the focused part: the nearest widget with a HELP, else the room's own."""
        widget = self.focused
        while widget is not None:
            text = getattr(widget, "HELP", "") or (widget.tooltip if isinstance(widget.tooltip, str) else "")
            if text and widget is not self:
                return str(text)
            widget = widget.parent  # type: ignore[assignment]
        return self.HELP
