"""A row of pages to choose from: the present one in brackets, a mark on those where something is wrong."""

from __future__ import annotations

from rich.text import Text
from textual import events
from textual.binding import Binding
from textual.message import Message
from textual.widgets import Static


class PageRow(Static, can_focus=True):
    """Pages by id and word; left and right go through them, a click goes there. Posts `Chosen`."""

    DEFAULT_CSS = """
    PageRow { height: auto; color: $foreground; }
    PageRow:focus { background: $panel; }
    """
    BINDINGS = [
        Binding("left", "step(-1)", "Page before", show=False),
        Binding("right", "step(1)", "Next page", show=False),
    ]
    HELP = "### Pages\n\nLeft and right choose a page, Tab goes on into it. `!` marks a page where something is wrong."

    class Chosen(Message):
        """A page was chosen."""

        def __init__(self, row: PageRow, page: str) -> None:
            super().__init__()
            self.row, self.page = row, page

        @property
        def control(self) -> PageRow:
            return self.row

    def __init__(self, pages: list[tuple[str, str]], **kwargs) -> None:
        super().__init__(**kwargs)
        self._pages = pages
        self.page = pages[0][0] if pages else ""
        self._wrong: set[str] = set()
        self._spans: list[tuple[int, int, str]] = []

    def on_mount(self) -> None:
        self._draw()

    def set_pages(self, pages: list[tuple[str, str]], page: str) -> None:
        """Put other pages into the row."""
        self._pages, self.page = pages, page
        self._draw()

    def mark(self, wrong: set[str]) -> None:
        """Mark the pages where something is wrong."""
        if wrong != self._wrong:
            self._wrong = wrong
            self._draw()

    def choose(self, page: str) -> None:
        """Go to a page and say so."""
        if page != self.page and any(page == one for one, _word in self._pages):
            self.page = page
            self._draw()
            self.post_message(self.Chosen(self, page))

    def show(self, page: str) -> None:
        """Go to a page without saying so."""
        if page != self.page:
            self.page = page
            self._draw()

    def action_step(self, by: int) -> None:
        """Go to the neighbour."""
        ids = [page for page, _word in self._pages]
        if ids:
            at = ids.index(self.page) if self.page in ids else 0
            self.choose(ids[(at + by) % len(ids)])

    def on_resize(self) -> None:
        self._draw()

    def _draw(self) -> None:
        text, self._spans, line = Text(no_wrap=False), [], 0
        width = self.size.width or 200
        for page, word in self._pages:
            mark = "!" if page in self._wrong else ""
            label = f"[{mark}{word}]" if page == self.page else f" {mark}{word} "
            if line + len(label) > width and line:
                text.append("\n")
                line = 0
            at = len(text)
            text.append(label, style="bold reverse" if page == self.page else "bold" if mark else "")
            self._spans.append((at, len(text), page))
            line += len(label)
        self._plain = text.plain
        self.update(text)

    def on_click(self, event: events.Click) -> None:
        lines = self._plain.split("\n")
        if event.y >= len(lines):
            return
        at = sum(len(one) + 1 for one in lines[: event.y]) + event.x
        for start, stop, page in self._spans:
            if start <= at < stop:
                self.choose(page)
