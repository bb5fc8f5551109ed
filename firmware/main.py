"""Starts the bench timer. The middle button held at power-up leaves the prompt instead (safe mode)."""

import gc
import sys

from board import open_board

board = None

# Loaded one by one, largest first, with the garbage of each cleared away: what a program leaves behind while it is
# loaded would otherwise lie scattered among what stays, and a plan of 3 KB would find no room in one piece.
_MODULES = (
    "shared_schedule.plan", "shared_schedule.messages", "shared_schedule.link", "shared_schedule.states",
    "shared_schedule.day", "shared_schedule.journal", "shared_schedule.samples", "shared_schedule.timeline",
    "shared_schedule.window", "shared_schedule.slab", "fonts", "store", "canvas", "view", "alarms", "lines", "ui",
    "bench", "serve", "app",
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
        import io

        text = io.StringIO()
        sys.print_exception(problem, text)
        sys.print_exception(problem)
        if app is not None:
            app.store.write_crash(text.getvalue())
        board.reset()


if __name__ == "__main__":
    start()
