"""The state line (batch, ready time, slack, timer in word and shape) and the row of rooms."""

from __future__ import annotations

from rich.text import Text
from textual import events
from textual.message import Message
from textual.widgets import Static

ROOMS = (
    ("batch", "Batch"),
    ("bench", "Bench"),
    ("lookback", "Look back"),
    ("kitchen", "Kitchen"),
    ("timer", "Timer"),
)

_ROOMY = 64  # columns

# A shape for every state of the link, so that colour is never needed to tell them apart.
LINK_SHAPES = {"none": "○", "looking": "◌", "connected": "●", "lost": "✕", "playing": "▶"}


class TopLine(Static):
    """One line: what is planned, and how the timer is. `refresh_state` redraws it from the application."""

    DEFAULT_CSS = "TopLine { height: 1; background: $panel; color: $foreground; padding: 0 1; }"

    def on_mount(self) -> None:
        self.refresh_state()

    def refresh_state(self) -> None:
        """Redraw from the application's state; cheap, and silent when nothing changed."""
        state = self.app.link_state  # type: ignore[attr-defined]
        shape = LINK_SHAPES.get(state.kind, "?")
        silent = "  (silent)" if self.app.settings.silent else ""  # type: ignore[attr-defined]
        left = self.app.batch_line  # type: ignore[attr-defined]
        right = f"{shape} timer {state.words}{silent}"
        room = self.size.width - 2 if self.size.width else self.app.size.width - 2
        if len(left) + len(right) + 2 > room:
            left = left[: max(0, room - len(right) - 3)] + "…"
        text = Text(left + " " * max(1, room - len(left) - len(right)) + right, no_wrap=True, overflow="ellipsis")
        if str(self.content) != str(text):
            self.update(text)

    def on_resize(self) -> None:
        self.refresh_state()


class RoomRow(Static):
    """The rooms in a row; the present one in brackets and reversed. A click goes there."""

    DEFAULT_CSS = "RoomRow { height: 1; background: $surface; color: $text-muted; padding: 0 1; }"

    class Chosen(Message):
        """A room was clicked."""

        def __init__(self, room: str) -> None:
            super().__init__()
            self.room = room

    def __init__(self, present: str) -> None:
        super().__init__()
        self._present = present
        self._spans: list[tuple[int, int, str]] = []

    def on_resize(self) -> None:
        self._draw()

    def on_mount(self) -> None:
        self._draw()

    def _draw(self) -> None:
        text = Text(no_wrap=True)
        self._spans = []
        gap = " " if self.app.size.width >= _ROOMY else ""  # at 60 columns all five still stand in the row
        for number, (room, word) in enumerate(ROOMS, start=1):
            label = f"[F{number} {word}]" if room == self._present else f" F{number} {word} "
            start = len(text)
            text.append(label, style="bold reverse" if room == self._present else "")
            self._spans.append((start, len(text), room))
            text.append(gap)
        self.update(text)

    def on_click(self, event: events.Click) -> None:
        for start, stop, room in self._spans:
            if start <= event.x - 1 < stop:
                self.post_message(self.Chosen(room))
