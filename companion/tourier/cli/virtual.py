"""`tourier virtual`: a bench timer without a board, served on a port for every other command."""

from __future__ import annotations

import argparse
import shlex
import tempfile
import time
from datetime import datetime, timedelta, timezone
from pathlib import Path

from shared_schedule.units import EPOCH_UNIX_S
from tourier.cli.output import Output
from tourier.cli.run import UserError

_SLOWEST, _FASTEST = 0.1, 2000.0
_CALM_S = 0.3  # so long after the last octet from the computer time goes as in life


def run(args: argparse.Namespace, out: Output) -> int:
    """Serve until interrupted (or for --for seconds); print the port first."""
    from tourier.device.virtual.interpreter import ready

    ready()
    from tourier.device.virtual.board import VirtualTimer
    from tourier.device.virtual.cook import Cook
    from tourier.device.virtual.flash import BLOCK, BLOCKS
    from tourier.device.virtual.kitchen import KitchenConfig, PlayedKitchen
    from tourier.device.virtual.scenarios import SCENARIOS

    if not _SLOWEST <= args.speed <= _FASTEST:
        raise UserError(f"--speed is {_SLOWEST:g} to {_FASTEST:g}, not {args.speed:g}.")
    if args.scenario not in SCENARIOS:
        raise UserError(f"There is no scenario {args.scenario}; there are: {', '.join(SCENARIOS)}.")
    scenario = SCENARIOS[args.scenario]
    flash = Path(args.flash) if args.flash else Path(tempfile.mkdtemp(prefix="bench-timer-")) / "flash.img"
    if not flash.parent.is_dir():
        raise UserError(f"There is no folder {flash.parent} for the flash image.")
    if flash.exists() and (not flash.is_file() or flash.stat().st_size != BLOCK * BLOCKS):
        raise UserError(f"{flash} is no flash image of a bench timer; name another file, or none for a new one.")
    start_at_s, offset_s = _start(args.at)
    kitchen = PlayedKitchen(scenario.configure(KitchenConfig(second_of_day=(start_at_s + offset_s) % 86400)), args.seed)
    cook = None if args.no_cook else Cook(None, scenario, args.seed)
    # The firmware's patience with a transfer is counted in its own time, which must not run away meanwhile.
    heard_at = 0.0

    def hear(direction: str, _ms: int, _octets: bytes) -> None:
        nonlocal heard_at
        if direction == ">":
            heard_at = time.monotonic()
            board.speed = min(1.0, args.speed)

    board = VirtualTimer(
        flash, kitchen, cook, start_at_s=start_at_s, seed=args.seed, speed=args.speed, capture=hear
    )  # fmt: skip
    with board:
        out.line(board.port)
        out.line(f"A virtual bench timer runs {args.speed:g} times as fast as life; its flash is {flash}.")
        out.line("Give the port above to send, watch and collect, or to any serial tool. Ctrl-C ends it.")
        out.flush()
        end = None if args.for_s is None else time.monotonic() + args.for_s
        try:
            while end is None or time.monotonic() < end:
                time.sleep(0.05)
                if time.monotonic() - heard_at > _CALM_S:
                    board.speed = args.speed
                board.raise_trouble()
        finally:
            at = datetime.fromtimestamp(EPOCH_UNIX_S + board.now_s, timezone(timedelta(seconds=offset_s)))
            out.line(
                "The timer can go on where it stopped (in another kitchen, without its dough): tourier virtual "
                f'--speed {args.speed:g} --flash {shlex.quote(str(flash))} --at "{at.isoformat(sep=" ")}"'
            )
    return 0


def _start(text: str | None) -> tuple[int, int]:
    """Return (project seconds, local offset in seconds) of the instant at which the virtual clock starts."""
    if text is None:
        begin = datetime.now().astimezone()
    else:
        try:
            begin = datetime.fromisoformat(text)
        except ValueError:
            raise UserError(f'"{text}" is no moment for --at; write it such as "2027-03-12 17:00+01:00".') from None
        begin = begin if begin.tzinfo else begin.astimezone()
    at_s = int(begin.timestamp()) - EPOCH_UNIX_S
    if not 0 < at_s < 2**30:
        raise UserError(f"--at {text} is outside what the timer's clock can tell (2020 to 2053).")
    offset = begin.utcoffset()
    return at_s, int(offset.total_seconds()) if offset is not None else 0
