"""The command line: parses arguments, calls the rooms below, writes stdout and decides the exit code.

Exit codes: 0 done, 1 a fault of ours, 2 the cook's input (file, option, impossible wish), 3 the timer or its link,
130 interrupted. Results go to stdout, progress and complaints to stderr.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    try:
        from tourier.cli.parser import build_parser
        from tourier.cli.run import run

        arguments = list(sys.argv[1:] if argv is None else argv)
        parser = build_parser()
    except KeyboardInterrupt:  # before a command has begun; `run` answers for the rest
        sys.stderr.write("Stopped.\n")
        return 130
    return run(parser, arguments)
