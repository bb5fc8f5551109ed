"""From the bytes a timer hands over to records and samples; the only place that calls the shared codecs.

Bytes are untrusted: lengths are capped before anything is built, damage ends the reading and is counted, text is
cleaned. A clock that was set during the batch is put right backwards: records written since a boot without a trusted
clock are moved by what the setting moved.
"""

from __future__ import annotations

import struct
import unicodedata

import numpy as np

from shared_schedule import journal as J
from shared_schedule import plan as plans
from shared_schedule import samples as sampling
from shared_schedule.channels import USUAL
from shared_schedule.units import CDEG_MAX, CDEG_MIN, NO_CDEG
from tourier.logbook import LogbookError
from tourier.logbook.record.model import Record, Samples
from tourier.logbook.record.pack import MAX_CHANNELS, MAX_PAIRS, from_cdeg

MAX_JOURNAL_BYTES = 1 << 20  # a two-day journal is about 10 KB; the timer's whole flash is 2 MB
MAX_SAMPLE_BYTES = 4 << 20
MAX_RECORDS = 100_000
MAX_AT_S = plans.S32_MAX  # the year 2054

# Cc control, Cf format (bidirectional overrides hide what a line says), Cs surrogates, Co private use, Zl/Zp breaks.
_DROPPED = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def clean(text: str, cap: int = 200, lines: bool = False) -> str:
    """Return text with control characters replaced by spaces, at most cap characters; `lines` keeps newlines."""
    kept = []
    for char in text[: cap + 1]:
        if lines and char == "\n":
            kept.append(char)
        else:
            kept.append(" " if unicodedata.category(char) in _DROPPED else char)
    if len(kept) > cap:
        kept[cap - 1 :] = ["…"]
    return "".join(kept)


def read_plan(data: bytes) -> plans.Plan:
    """Return the plan in canonical bytes. Raises LogbookError with the field that is wrong."""
    try:
        return plans.decode(data)
    except plans.PlanError as error:
        raise LogbookError(f"The log's plan cannot be read: {clean(str(error))}") from error


def read_journal(data: bytes) -> tuple[tuple[Record, ...], int, tuple[tuple[int, int, int], ...]]:
    """Return (records, bytes not read, clock corrections as (from_s, to_s, moved_by_s)).

    Raises LogbookError when the journal is larger than any timer can hold.
    """
    if len(data) > MAX_JOURNAL_BYTES:
        raise LogbookError(f"The journal is {len(data)} bytes long; at most {MAX_JOURNAL_BYTES} are taken.")
    reader = J.read(data, 0, True)  # past damage: what follows still counts
    raw: list[Record] = []
    try:
        for item in reader:
            body = tuple(clean(part, 120) if isinstance(part, str) else part for part in item.body)
            raw.append(Record(item.type, item.seq, item.at_s, body))
            if len(raw) >= MAX_RECORDS:
                break
    except ValueError as error:  # a newer timer's
        raise LogbookError(f"The log cannot be read: {clean(str(error))}") from error
    records, corrections = _right_clock(raw)
    return records, int(reader.unread), corrections


def _right_clock(raw: list[Record]) -> tuple[tuple[Record, ...], tuple[tuple[int, int, int], ...]]:
    """Move what was written under an untrusted clock to where it belongs, once the clock was set.

    The rule is history's: all that was stamped while the clock was unknown, over however many power cuts, moves by what
    the setting moved. That setting then says that nothing is left to move, so a log written out and read again stays.
    """
    out = list(raw)
    corrections = []
    spells: list[list[int]] = []  # of each boot without a clock: the places of its records
    unknown = False
    for index, record in enumerate(raw):
        if record.type == J.BOOT:
            unknown = not record.body[1]
            if unknown:
                spells.append([])
        elif record.type == J.CLOCK:
            old_s, new_s = record.body[0], record.body[1]
            moved_by_s = new_s - old_s
            for spell in spells:
                for place in spell:
                    held = raw[place]
                    out[place] = Record(held.type, held.seq, held.at_s + moved_by_s, held.body)
                end = spell[-1] + 1
                corrections.append((raw[spell[0]].at_s, old_s if end == index else raw[end].at_s, moved_by_s))
            if spells:
                out[index] = Record(record.type, record.seq, new_s, (new_s, new_s))
            spells, unknown = [], False
        if unknown:
            spells[-1].append(index)
    return tuple(out), tuple(corrections)


def read_samples(data: bytes, corrections: tuple[tuple[int, int, int], ...] = ()) -> tuple[Samples, int]:
    """Return (history in time order, bytes not read) from a timer's sample blocks."""
    if len(data) > MAX_SAMPLE_BYTES:
        raise LogbookError(f"The temperatures are {len(data)} bytes long; at most {MAX_SAMPLE_BYTES} are taken.")
    reader = sampling.read_blocks(data)
    rows: list[tuple[int, ...]] = []
    runs: list[tuple[int, tuple[int, ...]]] = []  # (first row, channels): a timer may be given another sensor
    unread = 0
    try:
        for row in reader:
            if not runs or runs[-1][1] != reader.channels:
                runs.append((len(rows), reader.channels))
            rows.append(row)
            if len(rows) > MAX_PAIRS:
                raise LogbookError(f"The log holds more than {MAX_PAIRS} temperature pairs; it cannot be a batch.")
    except (IndexError, struct.error):  # a block that promises more pairs than it holds, with a checksum to match
        unread = len(data) - reader.at
    unread += int(reader.unread)
    if not rows:
        return Samples.empty(), unread
    numbers = sorted({channel.number for channel in USUAL}.union(*(channels for _start, channels in runs)))
    if len(numbers) > MAX_CHANNELS:
        raise LogbookError(f"The log holds {len(numbers)} channels; at most {MAX_CHANNELS} are taken.")
    table = np.full((len(rows), 1 + len(numbers)), NO_CDEG, dtype=np.int64)
    for (start, channels), (stop, _channels) in zip(runs, [*runs[1:], (len(rows), ())], strict=True):
        places = [0, *(1 + numbers.index(number) for number in channels)]
        table[start:stop, places] = np.array(rows[start:stop], dtype=np.int64)
    table = table[(table[:, 0] >= 0) & (table[:, 0] < MAX_AT_S)]
    odd = (table[:, 1:] < CDEG_MIN) | (table[:, 1:] > CDEG_MAX)
    table[:, 1:][odd] = NO_CDEG  # outside anything the product reads: no reading, not a wrong one
    if not len(table):
        return Samples.empty(), unread
    at_s = table[:, 0].copy()
    for from_s, to_s, moved_by_s in corrections:
        at_s[(table[:, 0] >= from_s) & (table[:, 0] <= to_s)] += moved_by_s
    at_s = np.clip(at_s, 0, MAX_AT_S)
    order = np.argsort(at_s, kind="stable")
    at_s = at_s[order]
    keep = np.ones(len(at_s), bool)
    keep[1:] = np.diff(at_s) > 0  # a block written twice across a power cut counts once
    table = table[order][keep]
    columns = {number: from_cdeg(table[:, 1 + place].astype(np.int16)) for place, number in enumerate(numbers)}
    return Samples(at_s[keep], columns), unread
