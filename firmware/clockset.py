"""Setting the clock with three buttons: no desk at hand after a power cut in the night, and no clock chip.

It begins at the earliest that it can be: the last time that was written down, and what has passed since power came
back. So most often a few taps are enough, and after a short cut none. Left takes away, right adds, the middle goes to
the next place; nothing counts before the last "set".
"""

import buttons
import glance as G
import sounds
from clock import EARLIEST_S
from ds3231 import date_from_days

from shared_schedule import plan as P

# Places in the order they are walked through: seconds one tap is worth, and its name on the buttons.
PLACES = ((3600, "1 h"), (600, "10"), (60, "1"), (86400, "1 day"))
_LATEST_S = 0x3FFFFFFF - 86400
_DAYS = ("Wed", "Thu", "Fri", "Sat", "Sun", "Mon", "Tue")  # 2020-01-01 was a Wednesday
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def local_s(plan, at_s):
    """Seconds since the epoch as the kitchen's clock counts them."""
    return at_s + 60 * P.offset_min_at(plan, at_s)


def date_text(local):
    """Return 'Thu 26 Nov' for local seconds."""
    days = local // 86400
    _year, month, day = date_from_days(days)
    return "%s %d %s" % (_DAYS[days % 7], day, _MONTHS[month - 1])


def time_text(local):
    """Return '05:42'."""
    return "%02d:%02d" % (local // 3600 % 24, local // 60 % 60)


class ClockSetter:
    """`at_s` is the time as it stands on the screen (whole minutes, UTC); `not_before_s` bounds it from below."""

    def __init__(self, plan, at_s, not_before_s):
        self.plan = plan
        self.not_before_s = max(EARLIEST_S, not_before_s // 60 * 60)
        self.at_s = max(at_s // 60 * 60, self.not_before_s)
        self.place = 0

    def add(self, taps):
        """Move the place in hand by so many taps; False when the time cannot be that."""
        at_s = self.at_s + taps * PLACES[self.place][0]
        if not self.not_before_s <= at_s <= _LATEST_S:
            return False
        self.at_s = at_s
        return True

    def next(self):
        """Go to the next place; False when there is none: the time is said."""
        if self.place + 1 >= len(PLACES):
            return False
        self.place += 1
        return True

    def texts(self):
        """Return (time, date) as the kitchen's clock shows them."""
        local = local_s(self.plan, self.at_s)
        return time_text(local), date_text(local)

    def labels(self):
        name = PLACES[self.place][1]
        return "-" + name, "next" if self.place + 1 < len(PLACES) else "set", "+" + name


def show(setter, g):
    """Fill the glance with the time as it is being set."""
    g.lines = setter.texts()
    g.chosen = setter.place
    g.line = ""
    g.labels = setter.labels()


def begin(ui, now_s):
    """Lay the setting over the day's screen; returns the sound."""
    app = ui.app
    plan = app.bench.plan
    if plan is None:  # nobody has said yet how far this kitchen is from Greenwich; the desk says both at once
        ui.say(("Connect it to the desk:", "it brings plan and time."), now_s)
        return sounds.REFUSED
    if app.clock.ok:
        ui.setter = ClockSetter(plan, now_s, 0)
    else:
        at_s = app.known_s()
        ui.setter = ClockSetter(plan, at_s, at_s)
    ui.open(G.S_SET, now_s)
    return sounds.CLICK


def press(ui, button, kind, now_s):
    """Take a press while the clock is being set; returns the sound."""
    setter = ui.setter
    ui.since_s = now_s
    if button != buttons.MIDDLE:
        if button == buttons.LEFT and kind == buttons.LONG:
            ui.close()
            return sounds.CLICK
        return sounds.CLICK if setter.add(1 if button == buttons.RIGHT else -1) else sounds.REFUSED
    if kind != buttons.LONG and setter.next():
        return sounds.CLICK
    app = ui.app
    at_s = setter.at_s
    ui.close()
    local = local_s(app.bench.plan, at_s)
    if app.set_clock(at_s, (local - at_s) // 60):
        ui.say(("The clock is set:", time_text(local) + ", " + date_text(local)), at_s)
        return sounds.CLICK
    ui.say(("The clock is set,", "but memory failed: it", "is not written down."), at_s)
    return sounds.REFUSED
