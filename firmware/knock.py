"""Who knocks at the prompt's door: one octet 3 ends no day, what mpremote sends and three Ctrl-C in a row do.

A stray Ctrl-C of a serial monitor, or a bit error on a bad line, must not stop dough from being watched. mpremote (and
`device install` with it) sends Ctrl-C and at once Ctrl-A for the raw prompt: that is deliberate, and so is a hand
that presses Ctrl-C three times within a second and nothing else.
"""

_WITHIN_MS = 1000
_PERIOD = 1 << 30


class Knock:
    """Feed it what comes, Ctrl-C included, in any portions."""

    def __init__(self):
        self._last = b""
        self._since_ms = 0

    def heard(self, data, now_ms):
        """Return None, or, when somebody wants the prompt, the octets that the prompt must be given again."""
        if not self._last and b"\x03" not in data:
            return None
        if self._last and (now_ms - self._since_ms) & (_PERIOD - 1) > _WITHIN_MS:
            self._last = b""
        if not self._last:
            if b"\x03" not in data:
                return None
            self._since_ms = now_ms
        last = (self._last + data).replace(b"\r", b"").replace(b"\n", b"")[-3:]
        self._last = last if b"\x03" in last else b""
        if last[-2:] == b"\x03\x01":
            return b"\r\x01"
        return b"" if last == b"\x03\x03\x03" else None
