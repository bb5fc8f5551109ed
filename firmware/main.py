"""Starts the bench timer on a real board. The middle button held at power-up leaves the prompt instead (safe mode)."""

import sys

from board import open_board


def start():
    """Run the timer; a crash is kept on flash and the board starts anew."""
    board = open_board()
    if board.buttons() & 2:
        print("safe mode: the bench timer was not started")
        return
    from app import App

    app = None
    try:
        app = App(board)
        app.run()
    except KeyboardInterrupt:
        raise
    except Exception as problem:
        import io

        text = io.StringIO()
        sys.print_exception(problem, text)
        if app is not None:
            app.store.write_crash(text.getvalue())
        else:
            sys.print_exception(problem)
        board.reset()


if __name__ == "__main__":
    start()
