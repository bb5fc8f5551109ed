"""Wall time on a board whose own clock starts anew at every boot: a chip with a battery when there is one, else nobody.

Between settings, seconds are counted from the tick counter, which wraps. `ok` is False until somebody trustworthy
said what time it is; what is counted before then is a difference, not a date.
"""

from shared_schedule.ticks import SecondsClock

_CHECK_EVERY_S = 3600  # the tick crystal drifts by up to 30 ppm, 0.1 s an hour; the chip by 2 ppm
EARLIEST_S = 189388800  # 2026-01-01: before this firmware was made no clock is right


class Clock:
    """`chip` has read() -> s or 0 when it lost its time, and write(at_s); or is None."""

    def __init__(self, ticks_ms, chip):
        self._chip = chip
        self._seconds = SecondsClock(ticks_ms, EARLIEST_S)
        self.ok = False
        self.offset_min = 0
        self._checked_s = 0
        self._ask_chip()

    def _ask_chip(self):
        if self._chip is None:
            return
        try:
            at_s = self._chip.read()
        except OSError:
            return
        if at_s >= EARLIEST_S:
            if not self.ok or at_s > self._seconds.now_s:  # never backwards while the day runs
                self._seconds.set(at_s)
            self.ok = True
        self._checked_s = self._seconds.now_s

    def feed(self, ticks_ms):
        """Return the seconds now. Call at least every few days."""
        now_s = self._seconds.feed(ticks_ms)
        if now_s - self._checked_s >= _CHECK_EVERY_S:
            self._checked_s = now_s
            self._ask_chip()
        return now_s

    @property
    def now_s(self):
        return self._seconds.now_s

    def millis(self):
        """Milliseconds into the running second."""
        return self._seconds.rest_ms

    def set(self, at_s):
        """Set by somebody who knows; returns what it was before."""
        old_s = self._seconds.now_s
        self._seconds.set(at_s)
        self.ok = True
        self._checked_s = at_s
        if self._chip is not None:
            try:
                self._chip.write(at_s)
            except OSError:
                pass
        return old_s
