"""The last hour of a timer with the butter's window and the band in which the next minutes are expected."""

from __future__ import annotations

import time

import numpy as np

from tourier.desk.data.fleet import Berth
from tourier.desk.data.forecast import band
from tourier.desk.widgets.plot import Plot
from tourier.device.sight import Sight
from tourier.logbook.record.model import local
from tourier.picture.raster import Band, Series

_HOUR_S = 3600  # older looks are the business of Look back
_CURVE_EVERY_S = 5.0  # of this computer's time: dough moves slowly, a sample is kept every 5 s
_ROOM_AHEAD_S = 300
_FEW = 60


class LivePlot(Plot):
    """`follow` redraws for another timer or step, and when the curve can look different."""

    HELP = (
        "### The last hour\n\nSolid: the probe in the dough. Dotted: the bench. Between the rules: the butter's "
        "window. After `^` (now): the band in which the forecast expects the dough; it opens with time."
    )

    def __init__(self, **kwargs) -> None:
        super().__init__(**kwargs)
        self._followed = ("", 0.0, 0, 0)

    def follow(self, berth: Berth, sight: Sight) -> None:
        """Draw what was seen of a timer up to this look."""
        if len(berth.looks) < 2:
            if self._followed[0] != berth.port:
                self.clear()
            return
        port, drawn_s, step_id, count = self._followed
        now_s = time.monotonic()
        few = len(berth.looks) < _FEW and len(berth.looks) >= 2 * count  # the first minute is drawn as it grows
        if port == berth.port and step_id == sight.step_id and now_s - drawn_s < _CURVE_EVERY_S and not few:
            return
        self._followed = (berth.port, now_s, sight.step_id, len(berth.looks))
        width = max(len(look) for look in berth.looks)  # a timer may be given another sensor
        data = np.array([(*look, *(width - len(look)) * (np.nan,)) for look in berth.looks], dtype=float)
        data = data[data[:, 0] >= data[-1, 0] - _HOUR_S]
        at_s = data[:, 0]
        low = None if sight.low_cdeg is None else sight.low_cdeg / 100
        high = None if sight.high_cdeg is None else sight.high_cdeg / 100
        series = [Series("ahead", at_s, column, dotted=True) for column in data[:, 3:].T]  # further sensors
        series += [Series("bench", at_s, data[:, 2], dotted=True), Series("probe", at_s, data[:, 1])]
        windowed = low is not None and high is not None
        # The timer counts down to the edge of the window only while the step has one.
        left_s = sight.left_s if sight.left_of == "window" else None
        ahead = band(data[:, :2], left_s, low, high) if windowed else None
        until = float(at_s[-1]) + _ROOM_AHEAD_S
        if ahead is not None:
            until = max(until, float(ahead[0][-1]))
            series += [Series("ahead", ahead[0], ahead[1], True), Series("ahead", ahead[0], ahead[2], True)]
        bands = [Band(at_s[0], until, low, high)] if low is not None and high is not None else []
        plan = berth.plan
        if plan is not None:
            self.set_clock(lambda at: local(plan, at), sight.voice)
        self.set_data(series, bands, [(float(at_s[-1]), "^")], whole=(float(at_s[0]), until))

    def clear(self) -> None:
        """Show no curve: there is no timer, or not yet a look at it."""
        self._followed = ("", 0.0, 0, 0)
        self.set_data([], [])
