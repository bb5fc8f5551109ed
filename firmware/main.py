"""Starts the bench timer. The middle button held at power-up leaves the prompt instead (safe mode)."""

import sys

from board import open_board

board = None


def start():
    """Run the timer; a crash is kept on flash and the board starts anew. Returns or raises only towards the prompt."""
    global board
    board = open_board()
    formatted = board.mount()
    if board.buttons() & 2:
        print("safe mode: the bench timer was not started")
        return
    try:
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
