"""`tourier batches`: what the logbook holds."""

from __future__ import annotations

import argparse

from tourier.cli.common import clock
from tourier.cli.output import Output, table
from tourier.cli.review import open_book


def run(args: argparse.Namespace, out: Output) -> int:
    """List the batches, newest first."""
    from datetime import UTC, datetime, timedelta, timezone

    from shared_schedule.units import EPOCH_UNIX_S

    with open_book(args) as book:
        listed = book.batches()

    def day(one) -> datetime:
        zone = timezone(timedelta(minutes=one.offset_min))
        return datetime.fromtimestamp(EPOCH_UNIX_S + one.begun_at_s, UTC).astimezone(zone)

    out.result({
        "schema": "tourier/batches/1",
        "batches": [
            {"batch": one.id, "name": one.name, "begun": day(one).isoformat(), "finished": one.finished,
             "rating": one.rating, "symptoms": list(one.symptoms), "board": one.board_id, "bytes": one.bytes_held}
            for one in listed
        ],
    })  # fmt: skip
    rows = [["batch", "begun", "ready", "name", "came out", "you saw"]]
    for one in listed:
        rating = f"{one.rating} of 5" if one.rating else ("finished" if one.finished else "not finished")
        rows.append([
            str(one.id), day(one).strftime("%Y-%m-%d %H:%M"), clock(one.ready_at_s, one.offset_min), one.name, rating,
            ", ".join(one.symptoms),
        ])  # fmt: skip
    out.lines(table(rows, frozenset({0})) if listed else ["The logbook is empty."])
    return 0
