"""`tourier where`: the paths that are used."""

from __future__ import annotations

import argparse

from tourier.cli.output import Output, table


def run(args: argparse.Namespace, out: Output) -> int:
    """Print every path the program reads or writes on its own."""
    from tourier import places

    rows = places.all_places()
    out.result({"schema": "tourier/where/1", **{key: str(path) for key, _text, path in rows}})
    out.lines(table([["what", "path"]] + [[text, str(path)] for _key, text, path in rows]))
    return 0
