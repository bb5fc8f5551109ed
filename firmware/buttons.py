"""Three buttons, read as levels: debounce, short, long and double press. Time is an input, in ticks that wrap.

A press counts when it is released (short) or when it has lasted LONG_MS (long, once). A second release within DOUBLE_MS
is a double press for the buttons that have one; the first has been told by then, so that nobody waits. No two buttons
are ever needed together; while one is down the others do not count, so that the heel of a hand does no harm.
"""

LEFT = 1
MIDDLE = 2
RIGHT = 4

SHORT = 1
LONG = 2
DOUBLE = 3

DEBOUNCE_MS = 25  # large tact switches bounce 5 to 10 ms; a knuckle's shortest tap lasts about 60
LONG_MS = 900
DOUBLE_MS = 350
FREE_MS = 1000
STUCK_MS = 20000  # nobody holds a button for so long: it is stuck, and the others must count again

_PERIOD = 1 << 30


def passed_ms(earlier, now):
    """Milliseconds between two readings of a counter that wraps at 2**30."""
    return (now - earlier) & (_PERIOD - 1)


class Buttons:
    """Feed it often; `feed` returns None or (button, kind)."""

    def __init__(self, doubles=RIGHT):
        self._doubles = doubles
        self._raw = 0
        self._since = 0
        self._down = 0  # the button that counts, after debounce
        self._down_since = 0
        self._said_long = False
        self.stuck = 0  # mask of the buttons that stay down; left out until they come up again
        self._up = 0  # of the stuck ones, those that are up just now, and since when
        self._up_since = 0
        self._last = 0  # the last short press, and when it was told
        self._last_ms = 0

    def hold_at_boot(self, mask, now_ms):
        """What was down when power came, and is after all that loading, is stuck until it is let go."""
        self._since = now_ms
        self.stuck = mask

    def feed(self, mask, now_ms):
        """Take the levels (1 = down) at an instant; return a finished press or None."""
        if self.stuck:
            mask &= ~self._let_go(mask, now_ms)
        if mask != self._raw:
            self._raw = mask
            self._since = now_ms
        if passed_ms(self._since, now_ms) >= DEBOUNCE_MS:
            pressed = self._settled(mask, now_ms)
            if pressed:
                return pressed
        if self._down and self._raw & self._down:
            held_ms = passed_ms(self._down_since, now_ms)
            if held_ms >= STUCK_MS:
                self.stuck |= self._down
                self._raw &= ~self._down
                self._down = 0
            elif held_ms >= LONG_MS and not self._said_long:
                self._said_long = True
                self._last = 0
                return self._down, LONG
        return None

    def _let_go(self, mask, now_ms):
        """Return what is still stuck: a button counts again when it has been up for a while, for a bad one flickers."""
        up = self.stuck & ~mask
        if up != self._up:
            self._up = up
            self._up_since = now_ms
        elif up and passed_ms(self._up_since, now_ms) >= FREE_MS:
            self.stuck &= ~up
        return self.stuck

    def _settled(self, mask, now_ms):
        if self._down:
            if mask & self._down:
                return None
            button = self._down
            self._down = 0
            if self._said_long:
                return None
            if button & self._doubles and self._last == button and passed_ms(self._last_ms, now_ms) <= DOUBLE_MS:
                self._last = 0
                return button, DOUBLE
            self._last = button
            self._last_ms = now_ms
            return button, SHORT
        if mask:
            self._down = mask & -mask
            self._down_since = self._since
            self._said_long = False
        return None

    def wants_ms(self, now_ms):
        """Return how soon `feed` should be called again though no level changes, or -1."""
        soonest = -1
        if passed_ms(self._since, now_ms) < DEBOUNCE_MS:
            soonest = DEBOUNCE_MS - passed_ms(self._since, now_ms)
        if self._down:
            until_ms = STUCK_MS if self._said_long else LONG_MS
            soonest = _least(soonest, until_ms - passed_ms(self._down_since, now_ms))
        return soonest


def _least(a, b):
    b = max(1, b)
    return b if a < 0 or b < a else a
