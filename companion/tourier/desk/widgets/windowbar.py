"""The butter's window as a bar with the dough's temperature as a mark: position says it, not colour."""

from __future__ import annotations

from rich.text import Text
from textual.widgets import Static

from tourier.device.sight import Sight

_BEYOND_CDEG = 400


class WindowBar(Static):
    """From four degrees below the window to four above it."""

    DEFAULT_CSS = "WindowBar { height: 2; }"

    def show(self, sight: Sight) -> None:
        """Draw the window and the mark; empty when the step has no window."""
        width = max(20, self.size.width - 10)
        if sight.low_cdeg is None or sight.high_cdeg is None:
            self.update("")
            return
        low, high = sight.low_cdeg - _BEYOND_CDEG, sight.high_cdeg + _BEYOND_CDEG
        bar, mark = ["░"] * width, [" "] * width
        inside = [
            column
            for column in range(width)
            if sight.low_cdeg <= low + (high - low) * column // (width - 1) <= sight.high_cdeg
        ]
        for column in inside:
            bar[column] = "█"
        # Each edge is named where it is.
        edge = f"{sight.low_cdeg / 100:.0f}°"
        bar[inside[0] - len(edge) : inside[0]] = edge
        edge = f"{sight.high_cdeg / 100:.0f}°"
        bar[inside[-1] + 1 : inside[-1] + 1 + len(edge)] = edge
        if sight.probe_cdeg is not None:
            place = min(max((sight.probe_cdeg - low) * (width - 1) // (high - low), 0), width - 1)
            mark[place] = "▼"
        text = Text(no_wrap=True)
        text.append("     " + "".join(mark) + "\n")
        text.append("cold " + "".join(bar) + " warm")
        if str(self.content) != str(text):
            self.update(text)
