"""A table of rows that always fits: the name gives way, and in a narrow window the least needed columns go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rich.markup import escape
from textual.widgets import DataTable

_PADDING = 2  # of every cell
_SCROLLBAR = 1


@dataclass(frozen=True)
class Fit:
    """A column: its width in cells, and how much it is needed (the first to go has the highest `rank`)."""

    title: str
    width: int
    rank: int = 0


def fitting(columns: Sequence[Fit], room: int) -> tuple[list[int], int]:
    """Return (numbers of the columns that fit beside the first, width of the first) for so many cells."""
    kept = list(range(len(columns)))
    while True:
        others = sum(columns[number].width + _PADDING for number in kept[1:])
        first = room - others - _PADDING - _SCROLLBAR
        if first >= columns[0].width or len(kept) == 1:
            return kept, max(columns[0].width, first)
        kept.remove(max(kept[1:], key=lambda number: (columns[number].rank, number)))


class FittedTable(DataTable):
    """`fill` shows rows of plain text, each under a key. Left and right are left to the room."""

    def __init__(self, columns: Sequence[Fit], zebra: bool = True, leads: int = 0, **kwargs) -> None:
        """Take the columns, the one that gives way first; `leads` is the number of the one to stand at the left."""
        super().__init__(cursor_type="row", zebra_stripes=zebra, **kwargs)
        self._fits = tuple(columns)
        self._leads = leads
        self._rows: list[tuple[str, tuple[str, ...]]] = []
        self._room = 0

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Nothing lies beside what is shown."""
        return action not in ("cursor_left", "cursor_right", "page_left", "page_right")

    def retitle(self, columns: Sequence[Fit]) -> None:
        """Take other columns from the next `fill` on."""
        self._fits = tuple(columns)

    def fill(self, rows: Sequence[tuple[str, ...]], keys: Sequence[str] | None = None, cursor: int = 0) -> None:
        """Show these rows in place of others."""
        self._rows = list(zip(keys or [str(number) for number in range(len(rows))], rows, strict=True))
        self._lay_out(cursor)

    def on_resize(self) -> None:
        if self.size.width != self._room:
            self._lay_out(self.cursor_row)

    def _lay_out(self, cursor: int) -> None:
        self._room = self.size.width
        kept, first = fitting(self._fits, self._room or self.app.size.width)
        self.clear(columns=True)
        kept.sort(key=lambda number: (number != self._leads, number))
        for number in kept:
            self.add_column(self._fits[number].title, width=self._fits[number].width if number else first)
        for key, row in self._rows:
            self.add_row(*[escape(row[number]) for number in kept], key=key)
        if self._rows:
            self.move_cursor(row=min(max(0, cursor), len(self._rows) - 1))
