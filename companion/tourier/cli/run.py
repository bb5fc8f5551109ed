"""Runs one parsed command and turns every exception into one sentence and an exit code."""

from __future__ import annotations

import argparse
import contextlib
import errno
import os
import signal
import sys
import threading
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

from tourier.cli.output import Output, OutputError

OK = 0
OUR_FAULT = 1
USER_INPUT = 2
TIMER = 3
INTERRUPTED = 130

# Which exceptions are whose. Looked up only in modules that are loaded: an exception of a module that was never
# imported cannot have been raised, and importing it here would cost every command its start-up time.
_KNOWN = (
    ("tourier.quantities", "QuantityError", USER_INPUT),
    ("tourier.batch.fields", "BatchError", USER_INPUT),
    ("tourier.batch.workup", "Unworkable", USER_INPUT),
    ("tourier.dayplan.model", "Refused", USER_INPUT),
    ("shared_schedule.plan", "PlanError", USER_INPUT),
    ("tourier.logbook", "LogbookError", USER_INPUT),
    ("tourier.device.trace", "CaptureError", USER_INPUT),
    ("tourier.device.errors", "LinkError", TIMER),
    ("tourier.device.virtual.interpreter", "VirtualTimerError", TIMER),
    ("tourier.device.install", "InstallError", TIMER),
)


_WHY_CAP = 120
_NO_ROOM = (errno.ENOSPC, errno.EFBIG, errno.EROFS, getattr(errno, "EDQUOT", errno.ENOSPC))


def _stdout_to_nowhere() -> None:
    with contextlib.suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


class UserError(Exception):
    """A complaint about the command's own arguments; str() is one sentence."""


def exit_code_of(error: BaseException) -> int | None:
    """Return the exit code of a foreseen exception, None for one nobody foresaw."""
    if isinstance(error, (UserError, OutputError)):
        return USER_INPUT
    for module_name, class_name, code in _KNOWN:
        module = sys.modules.get(module_name)
        known = getattr(module, class_name, None) if module else None
        if known is not None and isinstance(error, known):
            return code
    return None


def _is_database_error(error: BaseException) -> bool:
    """Whether the logbook's file gave way under a command: damaged, locked, on a full disk."""
    return any(kind.__module__ == "sqlite3" and kind.__name__ == "DatabaseError" for kind in type(error).__mro__)


def about_file(error: OSError) -> str:
    """Return one sentence about a file or folder that the system did not let us use."""
    file = Path(os.fsdecode(error.filename))
    if isinstance(error, FileNotFoundError):
        if not file.parent.exists():
            return f"There is no folder {file.parent} for {file.name}; make it first, or name another."
        return f"There is no file {file}; check the name."
    return f"{file} cannot be used ({error.strerror}); check the name, its rights and the room on the disk."


def _offer_start(error: Exception, out: Output) -> None:
    """A board that stands at its prompt watches no dough: where somebody can answer, ask whether to start it again."""
    if not (getattr(error, "prompt", False) and sys.stdin.isatty() and sys.stderr.isatty()):
        return
    sys.stderr.write("Start the timer again now? [Y/n] ")
    sys.stderr.flush()
    if sys.stdin.readline().strip().lower() in ("", "y", "yes"):
        from tourier.device.prompt import start_again

        start_again(error.port)  # type: ignore[attr-defined]
        out.complain("It starts anew; repeat the command in ten seconds.")


@contextlib.contextmanager
def _ended_as_by_ctrl_c() -> Iterator[None]:
    """Let a kill and a closed terminal end a command as Ctrl-C does: ports are closed, a virtual timer is ended."""
    if threading.current_thread() is not threading.main_thread():
        yield  # Python gives signals to the main thread only
        return

    def stop(_number: int, _frame: object) -> None:
        raise KeyboardInterrupt

    names = [name for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {name: signal.getsignal(getattr(signal, name)) for name in names}
    # One that was ignored stays ignored: nohup means it.
    taken = [name for name in names if before[name] is signal.SIG_DFL]
    for name in taken:
        signal.signal(getattr(signal, name), stop)
    try:
        yield
    finally:
        for name in taken:
            signal.signal(getattr(signal, name), before[name])


def run(parser: argparse.ArgumentParser, arguments: list[str]) -> int:
    """Parse, run, and return the exit code."""
    try:
        parsed = parser.parse_args(arguments)
    except SystemExit as stop:  # argparse: 0 after --help, 2 after a wrong option
        return int(stop.code or 0)
    out = Output(as_json=getattr(parsed, "json", False))
    try:
        with _ended_as_by_ctrl_c():
            module, _, name = parsed.module.partition(".")
            code = getattr(import_module(f"tourier.cli.{module}"), name or "run")(parsed, out)
        out.flush()
        return int(code or OK)
    except KeyboardInterrupt:
        out.complain("Stopped.")
        return INTERRUPTED
    except BrokenPipeError:
        # The reader of a pipe went away: not a fault. Point stdout at nothing so that closing it stays quiet.
        _stdout_to_nowhere()
        return OK
    except Exception as error:
        code = exit_code_of(error)
        if code is None and _is_database_error(error):
            # What could not be decoded is quoted by the database and is no help to read.
            why = str(error).partition(" with text ")[0][:_WHY_CAP]
            out.complain(f"The logbook cannot be used ({why}); see tourier logbook check, or restore a backup.")
            return USER_INPUT
        if isinstance(error, OutputError):
            _stdout_to_nowhere()  # or closing it at the end complains a second time
        if code is None and isinstance(error, OSError) and error.filename is None and error.errno in _NO_ROOM:
            out.complain(f"A file could not be written ({error.strerror}); make room on the disk and run it again.")
            return USER_INPUT
        if code is None and isinstance(error, OSError) and error.filename is not None:
            out.complain(about_file(error))
            return USER_INPUT
        if code is None:
            if os.environ.get("TOURIER_DEBUG"):
                raise
            out.complain(
                f"Something went wrong inside Tourier ({type(error).__name__}: {error}). Nothing was changed by the "
                "last step. Set TOURIER_DEBUG=1 and run it again for the details to report."
            )
            return OUR_FAULT
        out.complain(error)
        _offer_start(error, out)
        if hasattr(error, "give_up"):  # dayplan's Impossible, not imported here: the command line starts without it
            from tourier.dayplan.words import offers

            for offer in offers(error):  # type: ignore[arg-type]
                out.complain(f"- {offer}")
        return code
