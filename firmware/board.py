"""Choose the board this interpreter runs on. The application never constructs a pin or opens a device file.

Both boards offer the same attributes and methods; `board_pico.Board` is the one to read for what they mean.
"""

import sys


def open_board():
    """Return the one Board of this machine, not yet started."""
    if sys.platform == "rp2":
        from board_pico import Board
    else:
        from board_virtual import Board
    return Board()
