"""A stand-in for a computer that is no POSIX system, for the product's own modules alone.

    python elsewhere.py COMMAND...         runs `tourier COMMAND...` there
    python elsewhere.py --desk FILE PORT   plans FILE on the desk there, without a terminal, and connects to PORT

What the product imports finds no `termios`, `pty` and their like, an `os` without what only POSIX has, and a `signal`
with two signals. Other people's libraries keep theirs: they have their own way for each system.
"""

from __future__ import annotations

import asyncio
import builtins
import os
import signal
import sys
import types
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
OURS = (str(ROOT / "companion"), str(ROOT / "shared_schedule"))
MODULES = {"termios", "fcntl", "pty", "tty", "pwd", "grp", "resource", "posix", "syslog"}
FUNCTIONS = {
    "fork", "forkpty", "openpty", "getuid", "geteuid", "getgid", "setsid", "ttyname", "killpg", "getpgid", "mkfifo",
    "chown", "fchmod", "fchown", "set_blocking", "posix_fadvise", "sched_getaffinity", "uname", "wait4", "sync",
}  # fmt: skip
SIGNALS = {"SIGINT", "SIGTERM"}


def _without(module: types.ModuleType, gone) -> types.ModuleType:
    less = types.ModuleType(module.__name__)
    less.__dict__.update({name: value for name, value in vars(module).items() if not gone(name)})
    return less


LESS = {
    "os": _without(os, FUNCTIONS.__contains__),
    "signal": _without(signal, lambda name: name.startswith("SIG") and name.isupper() and name not in SIGNALS
                       and name not in ("SIG_DFL", "SIG_IGN")),
}  # fmt: skip


def move_there() -> None:
    """From now on the product's imports are answered as on such a computer."""
    real = builtins.__import__

    def answered(name, globals=None, locals=None, fromlist=(), level=0):
        if str((globals or {}).get("__file__", "")).startswith(OURS) and level == 0:
            if name in MODULES:
                raise ModuleNotFoundError(f"No module named {name!r}", name=name)
            if name in LESS:
                return LESS[name]
        return real(name, globals, locals, fromlist, level)

    builtins.__import__ = answered


async def _desk(file: str, port: str) -> None:
    from tourier.desk.app import Desk

    desk = Desk(Path(file), port)
    async with desk.run_test(size=(100, 36)) as pilot:

        async def until(what: str, condition) -> None:
            for _ in range(3000):
                if condition():
                    print(what)
                    return
                await pilot.pause(0.02)
            raise SystemExit(f"not {what}")

        await until("planned", lambda: "eady" in desk.batch_line)
        await until("connected", lambda: desk.fleet.berth is not None and desk.fleet.berth.connected)
        for key in ("f2", "f3", "f4", "f1"):
            await pilot.press(key)
            await pilot.pause(0.1)


def main() -> int:
    move_there()
    if sys.argv[1] == "--desk":
        asyncio.run(_desk(sys.argv[2], sys.argv[3]))
        return 0
    from tourier.cli import main as tourier

    return tourier(sys.argv[1:])


if __name__ == "__main__":
    sys.exit(main())
