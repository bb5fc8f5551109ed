"""`tourier desk`, and `tourier` alone: open the desk application."""

from __future__ import annotations

import argparse
import sys

from tourier.cli.output import Output
from tourier.cli.run import UserError


def run(args: argparse.Namespace, out: Output) -> int:
    """Open the application in its own process image, so that the command line itself never loads Textual."""
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise UserError("The desk application needs a terminal; tourier --help lists what works without one.")
    import os

    out.flush()
    os.execv(sys.executable, [sys.executable, "-m", "tourier.desk"])
