"""The commands to begin with: the desk application, an example to start from, the paths that are used."""

from __future__ import annotations

import argparse
import os
import sys

from tourier.cli.output import Output, table
from tourier.cli.run import UserError


def desk(args: argparse.Namespace, out: Output) -> int:
    """Open the application in its own process image, so that the command line itself never loads Textual."""
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise UserError("The desk application needs a terminal; tourier --help lists what works without one.")
    if args.file and not os.path.isfile(args.file):
        raise UserError(f"There is no file {args.file}; check the name.")
    out.flush()
    given = [*([args.file] if args.file else []), *(["--port", args.port] if args.port else [])]
    os.execv(sys.executable, [sys.executable, "-m", "tourier.desk", *given])


def example(args: argparse.Namespace, out: Output) -> int:
    """Print one example file as it is."""
    from tourier.batch.examples import NAMES, example_text

    name = args.name or "demo"
    if name not in NAMES:
        raise UserError(f"There is no example {name}; there are: {', '.join(NAMES)}.")
    out.raw(example_text(name))
    return 0


def where(args: argparse.Namespace, out: Output) -> int:
    """Print every path the program reads or writes on its own."""
    from tourier import places

    rows = places.all_places()
    out.result({"schema": "tourier/where/1", **{key: str(path) for key, _text, path in rows}})
    out.lines(table([["what", "path"]] + [[text, str(path)] for _key, text, path in rows]))
    return 0
