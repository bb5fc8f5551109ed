"""What every room has: the state line on top, the row of rooms, the footer, and help for the focused part."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.containers import Container
from textual.dom import DOMNode
from textual.screen import Screen
from textual.widget import Widget

from tourier.desk.widgets.topline import RoomRow, TopLine

if TYPE_CHECKING:
    from tourier.desk.app import Desk

# Furnishing keeps the loop busy for 0.1 s; begun at once, it would hold up the frame that is just being written.
_FRAME_S = 0.05


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

    LATE: ClassVar[bool] = False  # the first room: its frame is painted first, what is in it comes right after

    def compose(self) -> ComposeResult:
        yield TopLine()
        yield RoomRow(self.ROOM)
        if self.LATE:
            yield Container(id="room")
            self.set_timer(_FRAME_S, self._furnish)
            return
        with Container(id="room"):
            yield from self.compose_room()
        yield self._footer()

    @staticmethod
    def _footer() -> Widget:
        from tourier.desk.widgets.keyrow import KeyRow

        return KeyRow(compact=True, show_command_palette=False)

    async def _furnish(self) -> None:
        from textual.compose import compose

        # The rooms' rules are read now, so that the first paint did not wait for them.
        self.app.stylesheet.read(Path(__file__).resolve().parents[1] / "rooms.tcss")
        self.app.refresh_css(animate=False)
        room = self.query_one("#room")
        async with self.batch():
            await room.mount_all(compose(self, self.compose_room()))
            await self.mount(self._footer())
        await self.furnished()

    async def furnished(self) -> None:
        """Called when a LATE room has its widgets."""

    def offers(self, name: str) -> bool:
        """Whether the action `name` could do something now; what could not is no command to choose (a key says why)."""
        return True

    def compose_room(self) -> ComposeResult:
        """Yield the room's own widgets."""
        yield from ()

    def help_text(self) -> str:
        """Return Markdown for the focused part: the nearest widget with a HELP, else the room's own."""
        widget: DOMNode | None = self.focused
        while widget is not None and widget is not self:
            text = getattr(widget, "HELP", "") or getattr(widget, "tooltip", "")
            if isinstance(text, str) and text:
                return text
            widget = widget.parent
        return self.HELP
