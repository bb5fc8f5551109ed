"""`tourier link`: the bytes of the link as text, live or from a capture."""

from __future__ import annotations

import argparse
from pathlib import Path

from tourier.cli.output import Output
from tourier.cli.run import UserError


def run(args: argparse.Namespace, out: Output) -> int:
    """Trace live, or decode a file."""
    from tourier.device.trace import Tracer, decode_file

    if args.part == "decode":
        frames = 0
        for line in decode_file(Path(args.file)):
            out.line(line)
            frames += not line.endswith(")") or "octets that are no frame" not in line
        if not frames:
            raise UserError(
                f"{args.file} holds no frame of the link: name a file that --capture made, or one with the octets of "
                "one direction."
            )
        return 0
    from tourier.device.client import Timer

    tracer = Tracer()

    def show(direction: str, at_ms: int, octets: bytes) -> None:
        out.lines(tracer.lines(direction, at_ms, octets))
        out.flush()

    capture = Path(args.capture) if args.capture else None
    with Timer.open(args.port, capture=capture, watchers=(show,)) as timer:
        for _ in timer.telemetry(args.for_s):
            pass
    return 0
