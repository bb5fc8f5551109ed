"""What several commands need: an open timer, a batch file worked out and planned, times as a cook reads them."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from tourier.cli.output import Output
from tourier.cli.run import UserError

if TYPE_CHECKING:
    from shared_schedule import plan as wire
    from tourier.design import Design
    from tourier.device.client import Timer
    from tourier.known import Lessons


@contextmanager
def open_timer(args: argparse.Namespace, out: Output) -> Iterator[Timer]:
    """Open the timer that --port names (or the one that answers), keep its bytes where --capture says."""
    from tourier.device.client import Timer

    if args.port is not None and not args.port.strip():
        raise UserError("The name of the port is empty; leave --port away to have the timer searched for.")
    capture = Path(args.capture) if args.capture else None
    with Timer.open(args.port, capture=capture) as timer:
        for warning in timer.warnings:
            out.complain(warning)
        yield timer


def batch_text(path: str) -> tuple[str, str]:
    """Return (text, short name) of a batch file. Raises BatchError, FileNotFoundError, PermissionError."""
    from tourier.batch.read import read_raw

    if not path.strip():
        raise UserError("The name of the batch file is empty.")
    return read_raw(Path(path)), Path(path).name


def check_batch(path: str, now: datetime | None) -> None:
    """Complain about a batch file before a timer is looked for; `now` None: only that it can be read."""
    from tourier.batch.read import read_batch_text

    text, name = batch_text(path)
    if now is not None:
        read_batch_text(text, name, now)


def lessons(logbook: str | None = None) -> Lessons:
    """Return what the logbook has taught, the usual one or the one --logbook names."""
    from tourier import design, places

    return design.lessons_of(Path(logbook) if logbook else places.logbook_file())


def design_file(path: str, now: datetime, out: Output, logbook: str | None = None) -> Design:
    """Read a batch file and plan it back from its hour with what the logbook taught. Raises what those rooms raise."""
    from tourier.design import design

    return design(*batch_text(path), now, lessons(logbook), out.progress)


_SAME_DAY_S = 12 * 3600  # a wish moved by less is the same morning or evening


def refuse_second_day(timer: Timer, plan: wire.Plan, replace: bool, another_day: bool = False) -> None:
    """Complain when the timer runs another day than `plan`'s; `replace`: the same batch planned anew may take over.

    A weekday in the batch file that has come too near means next week's: such a plan takes over only when asked to
    (`another_day`).

    The timer itself takes no plan of another name while a day runs, so nothing is advised that it would refuse.
    """
    from shared_schedule import messages as m
    from shared_schedule import plan as wire
    from shared_schedule.plan_writer import encode_plan
    from tourier.dayplan.model import from_at_s

    info = timer.info
    if info is None or not info.running or info.plan_id == wire.plan_id(encode_plan(plan)):
        return
    held = wire.decode(timer.collect(m.STREAM_PLAN))
    if held.name != plan.name:
        raise UserError(
            f"The timer is in the middle of {held.name}: finish and collect it first. To give it up, collect it (what "
            "happened stays in the logbook), run tourier device forget --yes and send again."
        )
    if not replace:
        raise UserError(
            "The timer is in the middle of this batch with another plan: tourier replan plans the rest of the day from "
            "what has happened; send --replace puts this plan in its place (steps that both have keep what has "
            "happened)."
        )
    if abs(plan.ready_at_s - held.ready_at_s) >= _SAME_DAY_S and not another_day:
        was, now = (
            f"{from_at_s(at_s + 60 * wire.offset_min_at(plan, at_s)):%a %d %b %H:%M}"
            for at_s in (held.ready_at_s, plan.ready_at_s)
        )
        raise UserError(
            f"The day on the timer is for {was}; planned now, this batch is for {now}. tourier replan plans the rest "
            "of the day that runs; send --replace --another-day gives that day up for the other one."
        )


def progress_of(out: Output, text: str):
    """Return a (done, total) callback that shows progress."""

    def show(done: int, total: int) -> None:
        out.progress(text, done / total if total else 1.0)

    return show
