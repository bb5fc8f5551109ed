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
        width = max(10, self.size.width - 12)
        if sight.low_cdeg is None or sight.high_cdeg is None:
            self.update("")
            return
        low, high = sight.low_cdeg - _BEYOND_CDEG, sight.high_cdeg + _BEYOND_CDEG
        bar, mark = "", [" "] * width
        for column in range(width):
            at = low + (high - low) * column // (width - 1)
            bar += "█" if sight.low_cdeg <= at <= sight.high_cdeg else "░"
        if sight.probe_cdeg is not None:
            place = min(max((sight.probe_cdeg - low) * (width - 1) // (high - low), 0), width - 1)
            mark[place] = "▼"
        text = Text(no_wrap=True)
        text.append("cold " + "".join(mark) + " warm\n")
        text.append(f"{sight.low_cdeg / 100:3.0f}° {bar} {sight.high_cdeg / 100:.0f}°")
        if str(self.content) != str(text):
            self.update(text)
