"""Starts the bench timer. The middle button held at power-up and let go again leaves the prompt instead (safe mode)."""

import gc
import sys

import micropython
from board import open_board

board = None
_LONG_ENOUGH_S = 120  # a crash later than this after a restart is a new one
_HELD_MS = 10000  # a middle button down for longer than this at power-up is stuck
_LAST_WORDS = ("It failed twice.", "See the manual.")

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
    micropython.kbd_intr(-1)  # an octet 3 is an octet; who wants the prompt knocks, see knock.py
    import stopped

    watch = stopped.watch
    if watch is None:  # no boot.py came first
        watch = stopped.watch = stopped.Stopped(open_board())
        watch.begin()
    board = watch.board
    formatted = board.mount()
    if _safe_mode(watch):
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
        watch.show("STOPPED", ("Its program is", "not complete."))
        return
    app = None
    try:
        app = App(board, formatted)
        watch.end()
        watch = stopped = None  # loaded again when it is needed: a plan wants the memory now
        del sys.modules["stopped"]
        app.run()
    except KeyboardInterrupt:
        board.watchdog_hold()
        app = None  # its memory is wanted for the picture, and by whoever works at the prompt
        gc.collect()
        _stopped_again().show()
        raise
    except Exception as problem:
        _crashed(app, problem)


def _stopped_again():
    """The Stopped of this board, loaded anew."""
    import stopped

    if stopped.watch is None:
        stopped.watch = stopped.Stopped(board)
    return stopped.watch


def _safe_mode(watch):
    """True when the middle button was held and let go again; one that stays down is stuck, and no reason to stand."""
    if not board.buttons() & 2:
        return False
    watch.show("HELD", ("Let go: safe", "Stuck: wait 10 s"))
    begun = board.ticks_ms()
    while board.buttons() & 2:
        if (board.ticks_ms() - begun) & 0x3FFFFFFF > _HELD_MS:
            watch.begin()
            return False
        board.idle(100)
    watch.show("SAFE MODE", ("For mpremote.", "Starts in 10 min"))
    return True


def _crashed(app, problem):
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
    _stopped_again().show("STOPPED", _LAST_WORDS)


if __name__ == "__main__":
    start()
