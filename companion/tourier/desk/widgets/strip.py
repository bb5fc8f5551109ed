"""The steps of a day as a strip above the curves, on the same time axis."""

from __future__ import annotations

from rich.text import Text
from textual.widgets import Static

_SHORTEST_NAME = 4  # letters: less says nothing


class StepStrip(Static):
    """One row of step names between bars; `show` redraws it for a view."""

    DEFAULT_CSS = "StepStrip { height: 1; color: $foreground; }"

    def show(self, spans: list[tuple[int, int, str]], view: tuple[float, float], indent: int = 5) -> None:
        """Draw the spans that lie in the view; a name that does not fit is cut, a bar marks every beginning."""
        width = max(0, self.size.width - indent)
        cells = [" "] * width
        first, last = view

        def column(at_s: float) -> int:
            return int((at_s - first) / (last - first) * width)

        bars = sorted({column(from_s) for from_s, _to, _title in spans})
        for at in bars:
            if 0 <= at < width:
                cells[at] = "▏"
        for from_s, to_s, title in spans:
            start = column(from_s)
            if column(to_s) < 0 or start >= width:
                continue
            # A name has the room up to the next beginning: steps overlap, and a rest is no longer than what follows it.
            after = next((at for at in bars if at > start), width)
            begin, stop = max(0, start + 1), min(column(to_s), after, width)
            if stop - begin >= min(_SHORTEST_NAME, len(title)):
                cells[begin:stop] = list(title[: stop - begin].ljust(stop - begin))
        self.update(Text(" " * indent + "".join(cells), no_wrap=True))
