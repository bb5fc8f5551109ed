"""Where a time axis puts its marks: round times of the day, as close as the labels allow."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

_STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400, 172800)
_GAP = 2  # cells between two labels


def ticks(first: float, last: float, width: int, local: Callable[[float], datetime]) -> list[tuple[int, str]]:
    """Return (column, label) from left to right: at least one, none overlapping, each at its own instant.

    `local` gives the local time of an instant. The day is named at the first label and where it changes.
    """
    span = last - first
    for step in _STEPS_S:
        form = "%H:%M:%S" if step < 60 else "%H:%M"
        longest = len("Sat 00:00:00") if step < 60 else len("Sat 00:00")
        if step / span * width >= longest + _GAP:
            break
    begin = local(first)
    midnight = first - (begin.hour * 3600 + begin.minute * 60 + begin.second)
    at = midnight + -(-(first - midnight) // step) * step
    found: list[tuple[int, str]] = []
    day = ""
    while at < last:
        here = local(at)
        named = here.strftime("%a")
        label = here.strftime(form if named == day else f"%a {form}")
        column = int((at - first) / span * width)
        if column + len(label) <= width:
            found.append((column, label))
            day = named
        at += step
    if not found:  # a step longer than the view: say at least where it begins
        found.append((0, begin.strftime("%a %H:%M" if span >= 1200 else "%a %H:%M:%S")[:width]))
    return found
