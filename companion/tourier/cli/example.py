"""`tourier example`: a batch file to start from."""

from __future__ import annotations

import argparse

from tourier.cli.output import Output
from tourier.cli.run import UserError


def run(args: argparse.Namespace, out: Output) -> int:
    """Print one example file as it is."""
    from tourier.batch.examples import NAMES, example_text

    name = args.name or "demo"
    if name not in NAMES:
        raise UserError(f"There is no example {name}; there are: {', '.join(NAMES)}.")
    out.raw(example_text(name))
    return 0
