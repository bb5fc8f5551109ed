"""`tourier watch`: follow the bench timer; a small picture on a terminal, a line a change with --plain."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from tourier.cli.output import Output, clean
from tourier.voice import clock, span

if TYPE_CHECKING:
    from tourier.device.client import Timer
    from tourier.device.sight import Sight

_BAR = 34  # columns of the window bar


def run(args: argparse.Namespace, out: Output) -> int:
    """Follow through unplugging and restarts until interrupted, or for --for seconds."""
    from shared_schedule import messages as m
    from shared_schedule import plan as wire
    from tourier.device.client import Timer
    from tourier.device.reconnect import Connected, Heard, Lost, stay
    from tourier.device.sight import sight_of

    timers: list[Timer] = []

    def open_one() -> Timer:
        timer = Timer.open(args.port, capture=Path(args.capture) if args.capture else None)
        timers[:] = [timer]
        return timer

    plan: wire.Plan | None = None
    moving = not args.plain and not args.json and sys.stdout.isatty()
    shown = _Shown(out, moving)
    # The first connection fails loudly: a wrong port name should not wait for ever.
    open_one().close()
    for happening in stay(open_one, args.for_s):
        if isinstance(happening, Connected):
            plan = None
            if happening.state.plan_id:
                plan = wire.decode(timers[0].collect(m.STREAM_PLAN))
            if args.json:
                continue
            name = plan.name if plan is not None else "no plan"
            shown.say(("Connected again: " if happening.again else "Connected: ") + name)
        elif isinstance(happening, Lost):
            shown.say(f"{happening.why} Waiting for it to come back.")
        elif isinstance(happening, Heard):
            sight = sight_of(happening.values, plan)
            if args.json:
                # One object a line: a stream can be cut anywhere.
                out.raw(json.dumps({"schema": "tourier/watch/1", **asdict(sight), "judgement": sight.judgement}) + "\n")
                out.flush()
            else:
                shown.show(sight)
    return 0


class _Shown:
    """Draws sights: in place on a terminal, else one line for every change that matters."""

    def __init__(self, out: Output, moving: bool) -> None:
        self._out = out
        self._moving = moving
        self._lines = 0
        self._last: tuple | None = None

    def say(self, text: str) -> None:
        self._lines = 0
        self._out.line(text)
        self._out.flush()

    def show(self, sight: Sight) -> None:
        if self._moving:
            lines = picture(sight)
            if self._lines:
                self._out.raw(f"\x1b[{self._lines}A")
            self._out.raw("".join(f"\x1b[2K{clean(line)}\n" for line in lines))
            self._lines = len(lines)
        else:
            change = (sight.word, sight.step, sight.judgement, sight.alarm, sight.fault,
                      None if sight.probe_cdeg is None else round(sight.probe_cdeg / 50))  # fmt: skip
            if change == self._last:
                return
            self._last = change
            self._out.line(one_line(sight))
        self._out.flush()


def one_line(sight: Sight) -> str:
    """Return a sight as one line."""
    parts = [clock(sight.at_s, sight.offset_min), sight.word]
    if sight.step:
        parts.append(sight.step)
    if sight.fold and sight.fold.split(" (")[0] not in sight.step:
        parts.append(sight.fold)
    said = sight.voice
    parts.append(f"dough {said.reading(sight.probe_cdeg)}" + (f" ({sight.judgement})" if sight.judgement else ""))
    parts.append(f"bench {said.reading(sight.bench_cdeg)}")
    if sight.left_s is not None:
        parts.append(sight.left_words.format(span(sight.left_s)))
    parts.append(sight.spare_words)
    if sight.alarm:
        parts.append(f"ALARM: {sight.alarm}")
    return "  ".join(parts)


def picture(sight: Sight) -> list[str]:
    """Return a sight as a few lines for a terminal."""
    left = "" if sight.left_s is None else sight.left_words.format(span(sight.left_s)) + "   "
    dough, bench = (sight.voice.reading(cdeg) for cdeg in (sight.probe_cdeg, sight.bench_cdeg))
    lines = [
        f"{clock(sight.at_s, sight.offset_min)}   {sight.word}   {sight.step}",
        f"  dough {dough:>10}   bench {bench:>10}   {sight.judgement}",
        f"  {window_bar(sight)}",
        f"  {left}{sight.spare_words}   {sight.fold}",
    ]
    lines.append(f"  ALARM: {sight.alarm}" if sight.alarm else "")
    return lines


def window_bar(sight: Sight) -> str:
    """Return the window as a bar from 4 °C below to 4 °C above it, with the dough's temperature as a mark."""
    if sight.low_cdeg is None or sight.high_cdeg is None:
        return ""
    low, high = sight.low_cdeg - 400, sight.high_cdeg + 400
    cells = []
    for column in range(_BAR):
        at = low + (high - low) * column // (_BAR - 1)
        cells.append("═" if sight.low_cdeg <= at <= sight.high_cdeg else "·")
    if sight.probe_cdeg is not None:
        place = min(max((sight.probe_cdeg - low) * (_BAR - 1) // (high - low), 0), _BAR - 1)
        cells[place] = "▲"
    low_text, high_text = (sight.voice.degrees(cdeg / 100, 0) for cdeg in (sight.low_cdeg, sight.high_cdeg))
    return f"{low_text}° {''.join(cells)} {high_text}°"
