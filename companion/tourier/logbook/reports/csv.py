"""CSV of a batch: temperatures, or the steps. Opens in a spreadsheet, and nothing in it runs there.

A cell that a spreadsheet would take for a formula (it begins with = + - @ or a tab or return) gets an apostrophe in
front, unless it is a plain number. Comma separated, quoted where needed, lines end CR LF (RFC 4180).
"""

from __future__ import annotations

import csv
import io
import math
import re

from shared_schedule import plan as plans
from tourier.logbook.account.steps import STATE_WORDS, Account
from tourier.logbook.record.model import channel_title, local
from tourier.voice import Voice

_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?\Z", re.ASCII)
# Full-width forms too: some spreadsheets fold them to the plain ones.
_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def cell(value: object) -> str:
    """Return the text of one cell, with formulas made harmless."""
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    text = str(value)
    # A space in front does not stop every spreadsheet from seeing the sign behind it.
    if text.lstrip(" \u00a0\ufeff").startswith(_STARTS) and not _NUMBER.match(text):
        return "'" + text
    return text


def _write(head: list[str], rows) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([cell(title) for title in head])
    for row in rows:
        writer.writerow([cell(value) for value in row])
    return out.getvalue()


def samples_csv(acc: Account) -> str:
    """Return every sample: local time, seconds since 2020-01-01Z, each channel, the step at hand.

    Headings end in `_c`, or in `_f` for a cook who reads °F.
    """
    plan, samples, said, channels = acc.batch.plan, acc.batch.samples, acc.said, acc.batch.channels
    unit = _unit(said)
    spans = sorted((s.from_s, s.to_s if s.to_s is not None else acc.batch.last_at_s, s.title)
                   for s in acc.steps if s.from_s is not None)  # fmt: skip

    def rows():
        place = 0
        columns = (samples.columns[channel.number].tolist() for channel in channels)
        for at_s, *readings in zip(samples.at_s.tolist(), *columns, strict=True):
            while place + 1 < len(spans) and spans[place + 1][0] <= at_s:
                place += 1
            title = spans[place][2] if spans and spans[place][0] <= at_s <= spans[place][1] else ""
            yield (local(plan, at_s).isoformat(), at_s, *(_t(said, c) for c in readings), title)

    return _write(["time", "at_s", *(f"{channel_title(channel)}_{unit}" for channel in channels), "step"], rows())


def steps_csv(acc: Account) -> str:
    """Return every step, planned and real, with its figures; headings as in `samples_csv`."""
    plan, said = acc.batch.plan, acc.said
    u, step = _unit(said), 1.8 if said.us else 1.0

    def when(at_s):
        return "" if at_s is None else local(plan, at_s).isoformat()

    head = ["step_id", "step", "kind", "place", "paton", "planned_start", "planned_s", "start", "end", "lasted_s",
            "state", "ended_by", f"probe_start_{u}", f"probe_end_{u}", f"probe_min_{u}", f"probe_max_{u}",
            f"rate_{u}_min", f"window_low_{u}", f"window_high_{u}", "cold_degmin", "warm_degmin", f"bench_mean_{u}",
            "dose_s"]  # fmt: skip
    rows = (
        (s.step.step_id, s.title, plans.KIND_WORDS[s.step.kind], plans.PLACE_WORDS[s.step.place], s.step.paton,
         when(s.planned_from_s), s.step.planned_for_s, when(s.from_s), when(s.to_s), _r(s.lasted_s, 0),
         STATE_WORDS[s.state], s.ended_by,
         *(_t(said, c) for c in (s.probe.start_c, s.probe.end_c, s.probe.min_c, s.probe.max_c)),
         _r(s.probe.rate_c_min * step), _t(said, s.low_c), _t(said, s.high_c), _r(s.probe.cold_degmin * step),
         _r(s.probe.warm_degmin * step), _t(said, s.bench.mean_c), _r(s.dose_s, 0))
        for s in acc.steps
    )  # fmt: skip
    return _write(head, rows)


def _unit(said: Voice) -> str:
    return "f" if said.us else "c"


def _t(said: Voice, c: float) -> str:
    return "" if math.isnan(c) else said.degrees(c, 2)


def _r(value: float, places: int = 2) -> str:
    return "" if math.isnan(value) else f"{value:.{places}f}"
