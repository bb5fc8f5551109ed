"""Stretches without a reading, and why: a channel at fault, or a needle that was out of the dough.

The timer writes neither an old number nor the room's air as dough: while the needle is moved it logs "no reading" as
well as when its plug is pulled. Only the second is a fault, and only that one has a FAULT record in the journal.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from tourier.logbook.model import FAULT, Batch

CHANNELS = ("bench", "probe")
_LEAST_S = 30  # shorter ones are no news
_AWAY = 5  # fault number of "out of dough" (firmware/sampler.py); earlier timers journaled it like a fault
_BOOT_S = 60  # a first "all well" this soon after the beginning ends no fault: the channels had not been read before


class Gap(NamedTuple):
    """No reading of a channel ("bench" or "probe") in from_s..to_s; `broken` when the timer called it a fault."""

    channel: str
    from_s: int
    to_s: int
    broken: bool


def gaps(batch: Batch) -> tuple[Gap, ...]:
    """Return the stretches of 30 s and more without a reading, per channel, in order of time."""
    out = []
    at_s = batch.samples.at_s
    for number, column in enumerate((batch.samples.bench_c, batch.samples.probe_c)):
        lost = np.isnan(column)
        if not lost.any():
            continue
        spans = fault_spans(batch, number)
        never = bool(lost.all())  # a channel that never read anything was not there, whatever the journal says
        edges = np.flatnonzero(np.diff(np.concatenate(([0], lost.astype(np.int8), [0]))))
        for start, stop in zip(edges[::2], edges[1::2], strict=True):
            from_s, to_s = int(at_s[start]), int(at_s[min(stop, len(at_s) - 1)])
            if to_s - from_s >= _LEAST_S:
                broken = never or number == 0 or any(a < to_s and b > from_s for a, b in spans)
                out.append(Gap(CHANNELS[number], from_s, to_s, broken))
    return tuple(out)


def fault_spans(batch: Batch, number: int) -> list[tuple[int, int]]:
    """Return (from_s, to_s) of the faults of channel `number` (0 bench, 1 probe) that the journal tells of."""
    out: list[tuple[int, int]] = []
    since: int | None = None
    first = True
    for record in batch.records:
        if record.type != FAULT or record.body[0] != number:
            continue
        broken = record.body[1] not in (0, _AWAY)
        if broken and since is None:
            since = record.at_s
        elif not broken and since is not None:
            out.append((since, record.at_s))
            since = None
        elif not broken and first and record.body[1] == 0 and record.at_s > batch.begun_at_s + _BOOT_S:
            out.append((batch.begun_at_s, record.at_s))  # it began before this batch's journal did
        first = False
    if since is not None:
        out.append((since, batch.last_at_s + 1))
    return out
