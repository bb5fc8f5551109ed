"""The days of a plan from midnight to midnight, an hour as wide as fits: hands, rests, cold, oven, sleep, away."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

_LABEL = 11  # "Sat 13 Mar "
_MINUTES = (15, 20, 30, 60)  # of a cell


def day_rows(day: Any, columns: int) -> list[str]:
    """Return a scale and one line a day; hands-on work shows before sleep, sleep before what goes on by itself."""
    from shared_schedule import plan as wire
    from tourier.dayplan.draw import AWAY, COLD, HANDS, HEAT, RESTS, SLEEP
    from tourier.dayplan.hours import zone_of
    from tourier.dayplan.model import from_at_s

    fills = {wire.FRIDGE: COLD, wire.FREEZER: COLD, wire.OVEN: HEAT}
    minutes = next((m for m in _MINUTES if _LABEL + 24 * 60 // m <= columns), _MINUTES[-1])
    cells = 24 * 60 // minutes
    zone = zone_of(day.zone)
    # What lies later in the list is drawn over what lies before.
    spans = [(one.start, one.end, fills.get(one.process.place, RESTS)) for one in day.steps if one.end > one.hands_off]
    spans += [(from_at_s(one.from_s), from_at_s(one.to_s), SLEEP if one.why == "sleep" else AWAY) for one in day.away]
    spans += [(one.start, one.hands_off, HANDS) for one in day.steps if one.hands_off > one.start]
    first = min(one.start for one in day.steps).astimezone(zone).date()
    last = max(one.end for one in day.steps).astimezone(zone).date()
    hour = 60 // minutes
    every = 3 if hour >= 2 else 6
    scale = "".join(f"{at:02d}".ljust(hour * every) for at in range(0, 24, every))
    lines = [" " * _LABEL + scale.rstrip()]
    while first <= last:
        midnight = datetime(first.year, first.month, first.day, tzinfo=zone)
        begins = [midnight + timedelta(minutes=minutes * cell) for cell in range(cells + 1)]  # wall-clock hours
        row = [" "] * cells
        for start, end, fill in spans:
            for cell in range(cells):
                if start < begins[cell + 1] and begins[cell] < end:
                    row[cell] = fill
        lines.append(f"{midnight:%a %d %b} ".ljust(_LABEL) + "".join(row).rstrip())
        first += timedelta(days=1)
    return lines
