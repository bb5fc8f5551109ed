"""The open log: one batch as UTF-8 JSON lines, for any program to read. LOGFORMAT.md beside this file describes it.

Written whole from what the logbook holds; read back with the checks a timer's log goes through, since a file is as
untrusted as a wire.
"""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Iterator
from typing import Any

import numpy as np

from shared_schedule import journal as J
from shared_schedule import plan as plans
from shared_schedule.samples import CHANNELS_MAX, SampleWriter
from shared_schedule.units import NO_CDEG
from tourier.logbook import LogbookError
from tourier.logbook.record import decode
from tourier.logbook.record.decode import clean
from tourier.logbook.record.model import Batch, Outcome
from tourier.logbook.record.pack import MAX_PAIRS, to_cdeg

FORMAT = "tourier-log"
VERSION = 2  # the newest; every one from 1 on is read
MAX_BYTES = 64 << 20
_MAX_LINE = 1 << 20
_ROWS = 256  # samples a line

TYPE_WORDS = {
    J.BOOT: "boot", J.PLAN: "plan", J.STEP: "step", J.TICK: "tick", J.ALARM: "alarm", J.ACK: "acknowledged",
    J.BEND: "bend test", J.CLOCK: "clock set", J.FAULT: "fault", J.NOTE: "note", J.FINISHED: "finished",
    J.CRASH: "crash", J.AIR: "air", J.LOST: "lost",
    J.FORMAT: "format", J.CHANNEL: "channel",
}  # fmt: skip


def write(batch: Batch) -> Iterator[str]:
    """Yield the lines of the open log, each ending in a newline."""

    def line(t: str, **values: Any) -> str:
        return json.dumps({"t": t, **values}, ensure_ascii=False, allow_nan=False, separators=(",", ":")) + "\n"

    plan = batch.plan
    # The oldest version that can say it: the programs that read it may be old.
    version = 2 if any(record.type > J.LOST for record in batch.records) else 1
    yield line("log", format=FORMAT, version=version, name=plan.name, timer=batch.board_id,
               epoch="2020-01-01T00:00:00Z", temperature_unit="0.01 degC", no_reading=None)  # fmt: skip
    fields = {spec[0]: _plain(getattr(plan, spec[0]), spec[1]) for spec in plans.PLAN_FIELDS}
    yield line("plan", bytes=base64.b64encode(batch.plan_bytes).decode(), **fields)
    for step in plan.steps:
        yield line("step", **{spec[0]: _plain(getattr(step, spec[0]), spec[1]) for spec in plans.STEP_FIELDS},
                   kind_word=plans.KIND_WORDS[step.kind], place_word=plans.PLACE_WORDS[step.place])  # fmt: skip
    if batch.batch_text:
        yield line("batch_file", text=batch.batch_text)
    for record in batch.records:
        body = [None if part == NO_CDEG else part for part in record.body]
        yield line("event", seq=record.seq, at_s=record.at_s, type=record.type,
                   word=TYPE_WORDS[record.type], body=body)  # fmt: skip
    samples = batch.samples
    at_s = samples.at_s.tolist()
    bench, probe, *more = (
        [None if c == NO_CDEG else c for c in to_cdeg(samples.columns[channel.number]).tolist()]
        for channel in batch.channels
    )
    for start in range(0, len(at_s), _ROWS):
        part = slice(start, start + _ROWS)
        further = {str(c.number): column[part] for c, column in zip(batch.channels[2:], more, strict=True)}
        keys = {"more": further} if further else {}
        yield line("samples", at_s=at_s[part], bench=bench[part], probe=probe[part], **keys)
    if batch.outcome:
        o = batch.outcome
        yield line("outcome", symptoms=list(o.symptoms), rating=o.rating, photo=o.photo, note=o.note)
    yield line("end", events=len(batch.records), samples=len(at_s))


def _plain(value: Any, kind: str) -> Any:
    if kind == "c":
        return None if value == NO_CDEG else value
    if kind in "Tiq":
        return [list(v) if isinstance(v, tuple) else v for v in value]
    return value


def read(text: bytes, where: str = "the file") -> dict[str, Any]:
    """Return {"board_id", "plan_bytes", "journal", "samples", "batch_text", "outcome"} as `Logbook.collect` takes them.

    Raises LogbookError naming the line that is wrong. Nothing in the file is believed: the plan is decoded again,
    events are encoded by the journal's own codec, temperatures by the timer's.
    """
    if len(text) > MAX_BYTES:
        raise LogbookError(f"{where} is {len(text)} bytes long; at most {MAX_BYTES} are read.")
    plan_bytes, batch_text, board_id = b"", "", ""
    outcome: Outcome | None = None
    events: list[bytes] = []
    at_s: list[int] = []
    columns: dict[int, list[int]] = {}  # by number of the channel
    ended = False
    for number, raw in enumerate(text.split(b"\n"), 1):
        if not raw.strip():
            continue
        place = f"{where}, line {number}"
        entry = _entry(raw, place)
        kind = entry.get("t")
        if number == 1 and (kind != "log" or entry.get("format") != FORMAT):
            raise LogbookError(f"{where} is no open log; its first line must say so (see LOGFORMAT.md).")
        try:
            if kind == "log":
                if _whole(entry.get("version")) not in range(1, VERSION + 1):
                    raise LogbookError(f"{place}: version {entry.get('version')!r} is not known; update tourier.")
                board_id = clean(str(entry["timer"]), 64)
            elif kind == "plan":
                plan_bytes = base64.b64decode(entry["bytes"], validate=True)
                decode.read_plan(plan_bytes)
            elif kind == "batch_file":
                batch_text = str(entry["text"])
            elif kind == "event":
                body = [NO_CDEG if part is None else part for part in entry["body"]]
                head = [_whole(entry[key]) for key in ("type", "seq", "at_s")]
                events.append(J.encode(*head, *body))
            elif kind == "samples":
                _rows(entry, at_s, columns, place)
            elif kind == "outcome":
                rating = entry.get("rating")
                outcome = Outcome(tuple(clean(str(s), 40) for s in entry.get("symptoms", [])[:40]),
                                  rating if isinstance(rating, int) and 1 <= rating <= 5 else None,
                                  clean(str(entry.get("photo", "")), 500),
                                  clean(str(entry.get("note", "")), 2000, lines=True))  # fmt: skip
            elif kind == "end":
                ended = entry.get("events") == len(events) and entry.get("samples") == len(at_s)
        except LogbookError:
            raise
        except (KeyError, TypeError, ValueError, AttributeError, OverflowError, binascii.Error) as error:
            raise LogbookError(f"{place}: {clean(str(error), 120)}; the entry is not as LOGFORMAT.md says.") from error
    if not plan_bytes:
        raise LogbookError(f"{where} holds no plan.")
    if not ended:
        raise LogbookError(f"{where} is cut off or was changed: its last line does not count what stands before it.")
    return {"board_id": board_id, "plan_bytes": plan_bytes, "journal": b"".join(events),
            "samples": _blocks(at_s, columns), "batch_text": batch_text, "outcome": outcome}  # fmt: skip


def _entry(raw: bytes, place: str) -> dict[str, Any]:
    if len(raw) > _MAX_LINE:
        raise LogbookError(f"{place} is longer than {_MAX_LINE} bytes.")
    try:
        entry = json.loads(raw)
    except (ValueError, RecursionError) as error:
        raise LogbookError(f"{place} is not JSON.") from error
    if not isinstance(entry, dict):
        raise LogbookError(f"{place} is not a JSON object.")
    return entry


def _whole(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise ValueError(f"{value!r} is not a whole number")
    return value


def _rows(entry: dict[str, Any], at_s: list[int], columns: dict[int, list[int]], place: str) -> None:
    more = {int(number): column for number, column in entry.get("more", {}).items()}
    parts = {**more, 0: entry["bench"], 1: entry["probe"]}
    if any(len(part) != len(entry["at_s"]) for part in parts.values()):
        raise LogbookError(f"{place}: the columns are not equally long.")
    if len(at_s) + len(entry["at_s"]) > MAX_PAIRS:
        raise LogbookError(f"{place}: more than {MAX_PAIRS} temperatures of a channel.")
    if len(columns.keys() | parts.keys()) > CHANNELS_MAX or not all(0 <= number <= 255 for number in parts):
        raise LogbookError(f"{place}: more than {CHANNELS_MAX} channels, or one without a number of 0 to 255.")
    for number in columns.keys() | parts.keys():
        column = columns.setdefault(number, [NO_CDEG] * len(at_s))
        part = parts.get(number, [None] * len(entry["at_s"]))
        column.extend(NO_CDEG if v is None else max(-32767, min(32767, _whole(v))) for v in part)
    at_s.extend(_whole(v) for v in entry["at_s"])


def _blocks(times: list[int], columns: dict[int, list[int]]) -> bytes:
    """Return the temperatures as a timer's sample blocks, at the interval that is most frequent."""
    at_s = np.array(times, dtype=np.int64)
    if not len(at_s):
        return b""
    if at_s.min() < 0 or at_s.max() >= plans.S32_MAX:
        raise LogbookError("A temperature's time is outside 2020 to 2054.")
    steps = np.diff(at_s)
    usual = int(np.clip(np.median(steps) if len(steps) else 5, 1, 255))
    numbers = sorted(columns)
    writer = SampleWriter(usual, numbers)
    out = bytearray()
    for one_s, *readings in zip(times, *(columns[number] for number in numbers), strict=True):
        if not writer.add(one_s, readings):
            out.extend(bytes(writer.block()))
            writer.add(one_s, readings)
    out.extend(bytes(writer.block()))
    return bytes(out)
