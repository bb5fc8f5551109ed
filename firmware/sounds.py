"""What the timer says by sound and light: a pattern for each occasion, never a sound or a colour alone.

Pulses of 750 to 880 Hz in short bursts carry across a kitchen and are heard by older ears; nothing flashes faster than
twice a second. Each occasion has its colour *and* its rhythm, and the word on the screen; MANUAL.md lists them.
"""

SILENT = 0
CLICK = 1  # a press was taken
REFUSED = 2
DUE = 3  # something is to be done: two notes upwards, calm
SOON = 4  # the window will be left: three short
LEFT = 5  # the window is left, or dough is in danger: three long, high
FAULT = 6  # no reading: two low
DONE = 7  # the day is finished
_NOTES = (
    (),
    ((880, 20),),
    ((440, 60), (0, 40), (440, 60)),
    ((784, 150), (0, 60), (880, 150)),
    ((784, 90), (0, 90), (784, 90), (0, 90), (784, 90)),
    ((880, 350), (0, 120), (880, 350), (0, 120), (880, 350)),
    ((494, 250), (0, 150), (494, 250)),
    ((784, 120), (0, 40), (880, 120), (0, 40), (988, 240)),
)

BLUE = (0, 0, 90)
AMBER = (90, 45, 0)
WHITE = (70, 70, 70)
MAGENTA = (80, 0, 60)
_BLACK = (0, 0, 0)

# (colour, ms lit, ms dark); 0 dark = steady.
L_OFF = (_BLACK, 0, 0)
L_RESTS = (BLUE, 0, 0)  # dough rests or rises by itself
L_ACT = (WHITE, 0, 0)  # a step is due
L_CALLS = (WHITE, 500, 500)  # something is to be done, and nobody has said "seen"
L_SOON = (AMBER, 500, 500)  # the window will be left
L_LEFT = (AMBER, 250, 250)  # the window is left, or dough is in danger
L_FAULT = (MAGENTA, 150, 1350)  # no reading, or the timer itself needs help
OF_SOUND = {DUE: L_CALLS, SOON: L_SOON, LEFT: L_LEFT, FAULT: L_FAULT}
L_STEADY = {L_CALLS: (WHITE, 0, 0), L_SOON: (AMBER, 0, 0), L_LEFT: (AMBER, 0, 0), L_FAULT: (MAGENTA, 0, 0)}


class Lamp:
    """Shows one pattern at a time; a new one begins lit."""

    def __init__(self, board):
        self._board = board
        self.pattern = None
        self._since = 0

    def show(self, pattern, now_ms):
        """Show a pattern from now on; the one that is shown goes on."""
        if pattern is not self.pattern:
            self.pattern = pattern
            self._since = now_ms
            self.turn(now_ms)

    def turn(self, now_ms):
        """Go on; return in how many ms to call again, or -1 when nothing will change."""
        pattern = self.pattern
        if pattern is None:
            return -1
        colour, lit, dark = pattern
        if not dark:
            self._board.light(*colour)
            return -1
        at = ((now_ms - self._since) & ((1 << 30) - 1)) % (lit + dark)
        if at < lit:
            self._board.light(*colour)
            return lit - at
        self._board.light(*_BLACK)
        return lit + dark - at


class Sounder:
    """Plays one pattern at a time; a more urgent one replaces it."""

    def __init__(self, board):
        self._board = board
        self._notes = ()
        self._at = 0
        self._until = 0
        self.pattern = SILENT

    def play(self, pattern, now_ms):
        """Begin a pattern, unless a more urgent one plays."""
        if self._notes and self.pattern > pattern:
            return
        self.pattern = pattern
        self._notes = _NOTES[pattern]
        self._at = -1
        self._until = now_ms
        self.turn(now_ms)

    def turn(self, now_ms):
        """Go on; return in how many ms to call again, or -1 when silent."""
        if not self._notes:
            return -1
        left = ((self._until - now_ms + (1 << 29)) & ((1 << 30) - 1)) - (1 << 29)
        if left > 0:
            return left
        self._at += 1
        if self._at >= len(self._notes):
            self._notes = ()
            self.pattern = SILENT
            self._board.tone(0)
            return -1
        hz, for_ms = self._notes[self._at]
        self._board.tone(hz)
        self._until = (now_ms + for_ms) & ((1 << 30) - 1)
        return for_ms

    def hush(self):
        """Stop at once."""
        self._notes = ()
        self.pattern = SILENT
        self._board.tone(0)
