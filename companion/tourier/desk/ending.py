"""A kill and a closed terminal end the desk as Leave does: edits kept, the terminal sane, no virtual timer left."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import threading
from collections.abc import Callable

_PATIENCE_S = 6.0  # a virtual timer is switched off within five


def on_signals(leave: Callable[[int], None], at_worst: Callable[[], None], end: Callable[[int], object]) -> None:
    """Call `leave(exit code)` on the loop at SIGTERM and SIGHUP; an ignored one stays ignored, as nohup means it.

    A terminal that is gone takes no more output, and whoever waits for it to take some waits for ever: after six
    seconds `at_worst` and then `end(exit code)`, which ends the process, are called in a thread of their own.
    """
    loop = asyncio.get_running_loop()

    def told(number: int) -> None:
        def end_anyway() -> None:
            with contextlib.suppress(Exception):
                at_worst()
            end(128 + number)

        last = threading.Timer(_PATIENCE_S, end_anyway)
        last.daemon = True
        last.start()
        leave(128 + number)

    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is None or signal.getsignal(number) is signal.SIG_IGN:
            continue
        with contextlib.suppress(NotImplementedError, RuntimeError, ValueError):  # Windows; a loop beside the main one
            loop.add_signal_handler(number, told, number)
