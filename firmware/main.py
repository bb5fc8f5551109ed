"""Starts the bench timer. The middle button held at power-up leaves the prompt instead (safe mode)."""

import gc
import sys

from board import open_board

board = None
_LONG_ENOUGH_S = 120  # a crash later than this after a restart is a new one
_LAST_WORDS = ("TIMER STOPPED", "", "Unplug it, plug", "it in again. If", "it stays so, see", "the manual.")

# Loaded one by one, largest first, with the garbage of each cleared away: what a program leaves behind while it is
# loaded would otherwise lie scattered among what stays, and a plan of 3 KB would find no room in one piece.
_MODULES = (
    "shared_schedule.plan", "shared_schedule.messages", "shared_schedule.link", "shared_schedule.states",
    "shared_schedule.day", "shared_schedule.journal", "shared_schedule.samples", "shared_schedule.timeline",
    "shared_schedule.window", "shared_schedule.slab", "fonts", "files", "store", "canvas", "view", "alarms", "lines",
    "ui", "bench", "keeper", "watch", "serve", "app",
)  # fmt: skip


def start():
    """Run the timer; a crash is kept on flash and the board starts anew. Returns or raises only towards the prompt."""
    global board
    board = open_board()
    formatted = board.mount()
    if board.buttons() & 2:
        print("safe mode: the bench timer was not started")
        return
    try:
        for name in _MODULES:
            __import__(name)
            gc.collect()
        from app import App
    except ImportError as problem:
        # Half an installation: the prompt must stay reachable for the other half.
        sys.print_exception(problem)
        return
    app = None
    try:
        app = App(board, formatted)
        app.run()
    except KeyboardInterrupt:
        board.watchdog_hold()
        raise
    except Exception as problem:
        _crashed(board, app, problem)


def _crashed(board, app, problem):
    """Keep the text of a crash and start anew; after a crash at once after a restart stay at the prompt instead.

    A board that restarts for ever could hardly be reached, would wear its flash, and looks alive.
    """
    import io

    import files

    text = io.StringIO()
    sys.print_exception(problem, text)
    sys.print_exception(problem)
    files.keep_crash(text.getvalue())
    if board.reset_cause() == 1 or (app is not None and app.uptime_s() >= _LONG_ENOUGH_S):
        board.reset()
    board.watchdog_hold()
    board.tone(0)
    board.light(80, 0, 60)
    try:
        import framebuf
        import pins
        from ssd1309 import Display

        display = Display(board.i2c, pins.ADDR_OLED)
        canvas = framebuf.FrameBuffer(display.buffer, 128, 64, framebuf.MONO_VLSB)
        for row in range(len(_LAST_WORDS)):
            canvas.text(_LAST_WORDS[row], 0, 10 * row, 1)
        display.begin(140)
    except OSError:
        pass


if __name__ == "__main__":
    start()
