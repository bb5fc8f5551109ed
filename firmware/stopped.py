"""The first picture after power-up, and the last one: STOPPED, in large letters, by light and by sound.

boot.py begins it at every start, also at the soft reset with which mpremote enters its prompt; the program ends it when
it runs, and calls it again on every way to the prompt. A prompt left alone gives the board back to the day. That
somebody works there shows in the heap, which an idle prompt leaves as it is, and takes no octet from him.
"""

import gc

import pins

GRACE_S = 20  # from power-up to the program: loading takes 4 s, with a full flash a little more
ALONE_S = 600
WARN_S = 60
_TICK_MS = 500
_HELP = ("Plug it in again", "or wait 10 min")

watch = None  # the one Stopped of this board


def big(canvas, framebuf, text, y, tall):
    """Draw text in the middle, its 8x8 letters twice as wide and `tall` times as high."""
    small = framebuf.FrameBuffer(bytearray(64), 64, 8, framebuf.MONO_VLSB)
    small.text(text, 0, 0, 1)
    left = 64 - 8 * len(text)
    for x in range(8 * len(text)):
        for row in range(8):
            if small.pixel(x, row):
                canvas.fill_rect(left + 2 * x, y + tall * row, 2, tall, 1)


class Stopped:
    """`board` offers i2c, light, tone, reset and every(ms, call)."""

    def __init__(self, board):
        self.board = board
        self.word = ""  # what the screen says; "" = the program is being loaded, or runs
        self._alone = 0  # ticks in which nothing happened at the prompt
        self._heap = -1
        self._warned = False
        self._loading = False

    def begin(self):
        """First picture; from now on a program that does not come is missed."""
        self._loading = True
        self._alone = 0
        self._draw("Tourier", ("bench timer", "starting"))
        self.board.every(_TICK_MS, self.tick)

    def end(self):
        """The program runs."""
        self.board.every(0, None)
        self._loading = False
        self.word = ""

    def show(self, word="STOPPED", lines=_HELP):
        """The program does not run: say so, and count how long the prompt is left alone."""
        board = self.board
        self._loading = False
        self._warned = False
        self._alone = 0
        self.word = word
        board.light(80, 0, 60)
        board.tone(494)
        self._draw(word, lines)
        self._heap = gc.mem_alloc()
        board.every(_TICK_MS, self.tick)

    def _draw(self, word, lines):
        try:
            import framebuf
            from ssd1309 import Display

            display = Display(self.board.i2c, pins.ADDR_OLED)
            canvas = framebuf.FrameBuffer(display.buffer, 128, 64, framebuf.MONO_VLSB)
            big(canvas, framebuf, word, 2, 4)
            for row in range(len(lines)):
                canvas.text(lines[row], 64 - 4 * len(lines[row]), 42 + 11 * row, 1)
            display.begin(140)
        except (OSError, MemoryError):
            pass  # light and sound say it alone

    def tick(self, _timer=None):
        """Twice a second while no program runs."""
        board = self.board
        board.keep_time(False)
        self._alone += 1
        ticks = self._alone
        if self._loading:
            if ticks >= GRACE_S * 1000 // _TICK_MS:
                self.show()
            return
        board.light(80, 0, 60) if ticks & 1 else board.light(0, 0, 0)
        board.tone(494 if ticks % 120 == 0 else 0)  # half a second of each minute
        if ticks & 1:
            return
        heap = gc.mem_alloc()
        if heap != self._heap:  # somebody works here
            self._heap = heap
            self._alone = 0
            if self._warned:
                self.show(self.word)
        elif ticks >= ALONE_S * 1000 // _TICK_MS:
            board.reset()
        elif ticks >= (ALONE_S - WARN_S) * 1000 // _TICK_MS and not self._warned:
            self._warned = True
            board.tone(784)
            self._draw(self.word, ("starts again", "within 1 minute"))
            self._heap = gc.mem_alloc()


def begin():
    """From boot.py: this board's first picture. Never raises: the prompt must stay reachable whatever is missing."""
    global watch
    import sys

    try:
        from board import open_board

        watch = Stopped(open_board())
        watch.begin()
    except Exception as problem:
        sys.print_exception(problem)
