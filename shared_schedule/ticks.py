"""Seconds from millisecond ticks that wrap: feed it often, it never runs backwards.

The device's tick counter wraps at 2**30 ms (12.4 days), and a difference of two ticks is known only up to half of
that. Fed at least once in six days, this clock counts on through any number of wraps.
"""

PERIOD = 1 << 30
_HALF = PERIOD >> 1


class SecondsClock:
    """Monotone whole seconds from wrapped ticks. `now_s` is the instant last fed."""

    def __init__(self, ticks_ms, at_s):
        self.last_ms = ticks_ms & (PERIOD - 1)
        self.rest_ms = 0
        self.now_s = at_s

    def feed(self, ticks_ms):
        """Take the tick counter's value, 0..2**30-1; return the seconds now. A step backwards counts as no time."""
        passed_ms = (ticks_ms - self.last_ms) & (PERIOD - 1)
        if passed_ms >= _HALF:
            return self.now_s
        self.last_ms = ticks_ms & (PERIOD - 1)
        rest_ms = self.rest_ms + passed_ms
        self.now_s += rest_ms // 1000
        self.rest_ms = rest_ms % 1000
        return self.now_s

    def set(self, at_s):
        """Set the clock; the part of a second begun is dropped."""
        self.rest_ms = 0
        self.now_s = at_s
