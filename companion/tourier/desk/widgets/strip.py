"""The steps of a day as a strip above the curves, on the same time axis."""

from __future__ import annotations

from rich.text import Text
from textual.widgets import Static


class StepStrip(Static):
    """One row of step names between bars; `show` redraws it for a view."""

    DEFAULT_CSS = "StepStrip { height: 1; color: $foreground; }"

    def show(self, spans: list[tuple[int, int, str]], view: tuple[float, float], indent: int = 5) -> None:
        """Draw the spans that lie in the view; a name that does not fit is cut, a bar marks every beginning."""
        width = max(0, self.size.width - indent)
        cells = [" "] * width
        first, last = view
        for from_s, to_s, title in spans:
            start = int((from_s - first) / (last - first) * width)
            stop = int((to_s - first) / (last - first) * width)
            if stop < 0 or start >= width:
                continue
            shown = max(0, start)
            if start >= 0:
                cells[start] = "▏"
                shown = start + 1
            for offset, char in enumerate(title[: max(0, min(stop, width) - shown)]):
                cells[shown + offset] = char
        self.update(Text(" " * indent + "".join(cells), no_wrap=True))
