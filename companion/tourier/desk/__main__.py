"""The desk application as a process: `python -m tourier.desk [BATCH.toml] [--port P]`.

A kill and a closed terminal end it as Leave does: edits kept, the terminal sane, no virtual timer left.
"""

from __future__ import annotations

import argparse
import asyncio
import atexit
import contextlib
import os
import signal
import threading
from collections.abc import Callable
from pathlib import Path

from tourier.desk.app import Desk

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


def run_desk(batch_file: Path | None = None, port: str | None = None, *, end: Callable[[int], object]) -> int:
    """Run the application; return its exit code. `end` ends the process at once where leaving is no longer possible."""
    desk = Desk(batch_file, port)

    async def live() -> None:
        on_signals(lambda code: desk.exit(return_code=code), desk.switch_virtual_off, end)
        await desk.run_async()

    asyncio.run(live())
    return desk.return_code or 0


if __name__ == "__main__":
    arguments = argparse.ArgumentParser(prog="tourier desk")
    arguments.add_argument("file", nargs="?", type=Path)
    arguments.add_argument("--port")
    given = arguments.parse_args()
    code = run_desk(given.file, given.port, end=os._exit)
    # Python's own way out flushes the terminal, and aborts where a thread still writes to one that takes nothing.
    atexit._run_exitfuncs()
    os._exit(code)
