"""Which dough the needle was in, and where there is no reading at all, and why.

Two pâtons share one needle. The timer takes it to be in what hands work on, else in the rest begun last; a cook who
leaves it in the other dough is not seen by the timer, but mostly in the log: no pâton on a tray in the cold falls or
climbs like that. Such readings belong to no step.

The timer writes neither an old number nor the room's air as dough: while the needle is moved it logs "no reading" as
well as when its plug is pulled. Only the second is a fault, and only that one has a FAULT record in the journal.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from shared_schedule import journal as J
from shared_schedule import plan as plans
from shared_schedule import states, thermistor
from shared_schedule.history import History
from tourier.logbook.record.model import Batch, Floats, Samples, channel_title

_SETTLE_S = 120.0  # after the needle's move the reading may run as it likes
_WITHIN_S = 30.0
_JUMP_C = 1.0  # within that time; a thin pâton in a freezer makes three quarters of it
_WARMER_C = 0.4  # dough that went on resting in the cold has not warmed, apart from the needle's place in it
_COLDER_C, _COLDER_C_MIN = 0.6, {plans.FRIDGE: 0.15, plans.FREEZER: 1.5}  # nor cooled faster than this
_LEAST_S = 30  # shorter ones are no news
_BOOT_S = 60  # a first "all well" this soon after the beginning ends no fault: the channels had not been read before


def owners(plan: plans.Plan, past: History, samples: Samples, last_at_s: int) -> NDArray[np.int64]:
    """Return for each sample the place in the plan of the step whose dough the needle was in, -1 for none.

    The timer's own rule (states.probe_at): what hands work on; else, of the rests that ask for it, the one begun last.
    """
    at_s = samples.at_s
    out = np.full(len(at_s), -1, np.int64)
    asking = []
    for place, step in enumerate(plan.steps):
        if states.asks_probe(step) and past.started_at_s[place]:
            works = not states.runs_itself(step)
            asking.append((works, past.started_at_s[place], place, past.ended_at_s[place] or last_at_s + 1))
    for _works, from_s, place, to_s in sorted(asking):
        low, high = np.searchsorted(at_s, [from_s, to_s])
        out[low:high] = place
    for works, _from, place, _to in asking:
        if not works and plan.steps[place].place in _COLDER_C_MIN and plan.steps[place].kind in _PATONS:
            _disown(out, place, plan.steps[place].place, at_s.astype(float), samples.probe_c)
    return out


_PATONS = (plans.REST, plans.HOLD)


def _disown(owner: NDArray[np.int64], place: int, where: int, at_s: Floats, probe_c: Floats) -> None:
    """Set to -1 what a rest in the cold cannot have read: after a jump, and after a return to other dough."""
    own = np.flatnonzero(owner == place)
    if not len(own):
        return
    before_c = before_s = np.nan
    for run in np.split(own, np.flatnonzero(np.diff(own) > 1) + 1):
        t, c = at_s[run], probe_c[run]
        settled = ~np.isnan(c) & (t >= t[0] + _SETTLE_S)
        if not np.isnan(before_c):
            early = c[settled][:6] if settled.any() else c[~np.isnan(c)][-6:]
            moved = float(np.median(early)) - before_c if len(early) else 0.0
            longest_min = (float(t[-1]) - before_s) / 60.0
            if not -_COLDER_C - _COLDER_C_MIN[where] * longest_min <= moved <= _WARMER_C:
                owner[run] = -1
                continue
        cut = _jump(t[settled], c[settled])
        if cut is not None:
            owner[own[own >= run[np.searchsorted(t, cut)]]] = -1
            return
        if settled.any():
            before_c, before_s = float(np.median(c[settled][-6:])), float(t[-1])


def _jump(t: Floats, c: Floats) -> float | None:
    """Return the instant before which the readings hang together, or None when all do."""
    if len(t) < 2:
        return None
    ahead = np.minimum(np.searchsorted(t, t + _WITHIN_S, side="right") - 1, len(t) - 1)
    far = np.flatnonzero(np.abs(c[ahead] - c) > _JUMP_C)
    return float(t[far[0]]) if len(far) else None


class Gap(NamedTuple):
    """No reading of a channel (its name) in from_s..to_s; `broken` when the timer called it a fault."""

    channel: str
    from_s: int
    to_s: int
    broken: bool


def gaps(batch: Batch) -> tuple[Gap, ...]:
    """Return the stretches of 30 s and more without a reading, per channel, in order of time."""
    out = []
    at_s = batch.samples.at_s
    for channel in batch.channels:
        number = channel.number
        lost = np.isnan(batch.samples.columns[number])
        if not lost.any():
            continue
        spans = fault_spans(batch, number)
        never = bool(lost.all())  # a channel that never read anything was not there, whatever the journal says
        edges = np.flatnonzero(np.diff(np.concatenate(([0], lost.astype(np.int8), [0]))))
        for start, stop in zip(edges[::2], edges[1::2], strict=True):
            from_s, to_s = int(at_s[start]), int(at_s[min(stop, len(at_s) - 1)])
            if to_s - from_s >= _LEAST_S:
                broken = never or number != 1 or any(a < to_s and b > from_s for a, b in spans)
                out.append(Gap(channel_title(channel), from_s, to_s, broken))
    return tuple(out)


def fault_spans(batch: Batch, number: int) -> list[tuple[int, int]]:
    """Return (from_s, to_s) of the faults of channel `number` (0 bench, 1 probe) that the journal tells of."""
    out: list[tuple[int, int]] = []
    since: int | None = None
    first = True
    for record in batch.records:
        if record.type != J.FAULT or record.body[0] != number:
            continue
        broken = record.body[1] not in (thermistor.OK, thermistor.AWAY)  # earlier timers journaled AWAY like a fault
        if broken and since is None:
            since = record.at_s
        elif not broken and since is not None:
            out.append((since, record.at_s))
            since = None
        elif not broken and first and record.body[1] == thermistor.OK and record.at_s > batch.begun_at_s + _BOOT_S:
            out.append((batch.begun_at_s, record.at_s))  # it began before this batch's journal did
        first = False
    if since is not None:
        out.append((since, batch.last_at_s + 1))
    return out
