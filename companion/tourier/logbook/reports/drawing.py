"""Inline SVG for the report: temperature panels and the timetable. Strings in, strings out; every text is escaped.

Colour never stands alone: too cold and too warm are hatched in different directions and named, lines differ by dash.
"""

from __future__ import annotations

import html
import math
from dataclasses import dataclass

import numpy as np

from shared_schedule import plan as plans
from shared_schedule import states
from shared_schedule.units import NO_CDEG
from tourier.logbook.account.steps import Account, StepAccount
from tourier.logbook.record.model import Floats, Samples, channel_title, clock_text
from tourier.voice import span as lasting

INK, PAPER, COLD, WARM, QUIET, RULE = "#1d1d1b", "#ffffff", "#1f5fa8", "#b26a00", "#6b6b66", "#d9d9d4"
_WINDOW = "#e4efe4"
_PLACE_FILL = {
    plans.BENCH: "#f6e3c3", plans.FRIDGE: "#d5e3f3", plans.FREEZER: "#b9d0ea", plans.ROOM: "#efefeb",
    plans.PROOF_SPACE: "#f3d9c9", plans.OVEN: "#e8c3b5",
}  # fmt: skip
_NAME_W, _NAME_H = 100.0, 14.0  # of "too cold 13 min"
WIDTH = 960
_LEFT, _RIGHT = 48, 14
# One for each channel: bench, probe, and what else there is.
_LINES = (f'stroke="{QUIET}" stroke-width="1.3" stroke-dasharray="6 3"', f'stroke="{INK}" stroke-width="1.9"',
          f'stroke="{COLD}" stroke-width="1.5" stroke-dasharray="2 2"',
          f'stroke="{WARM}" stroke-width="1.5" stroke-dasharray="9 2 2 2"')  # fmt: skip


def esc(text: object) -> str:
    """Return text safe inside HTML and SVG, attribute values included."""
    return html.escape(str(text), quote=True)


@dataclass(frozen=True)
class Span:
    """A stretch of time drawn on one axis."""

    from_s: float
    to_s: float

    def x(self, at_s: float) -> float:
        """Return the horizontal place of an instant."""
        return _LEFT + (at_s - self.from_s) / max(1.0, self.to_s - self.from_s) * (WIDTH - _LEFT - _RIGHT)


def sittings(acc: Account, longest_gap_s: float = 3 * 3600) -> list[Span]:
    """Return the stretches in which something is done: long cold hours are cut out, each with ten minutes around."""
    busy = sorted(
        (s.from_s, s.to_s if s.to_s is not None else s.from_s)
        for s in acc.steps
        if s.from_s is not None and (math.isnan(s.lasted_s) or s.lasted_s < longest_gap_s or s.step.kind == plans.PROOF)
    )
    out: list[list[float]] = []
    for from_s, to_s in busy:
        if out and from_s - out[-1][1] < longest_gap_s:
            out[-1][1] = max(out[-1][1], to_s)
        else:
            out.append([from_s, to_s])
    return [Span(a - 600, b + 600) for a, b in out if b - a >= 300]


def _hours(span: Span) -> list[float]:
    wanted = (span.to_s - span.from_s) / 9
    every = next((e for e in (600, 900, 1800, 3600, 7200, 10800, 21600, 43200) if e >= wanted), 86400)
    first = math.ceil(span.from_s / every) * every
    return list(np.arange(first, span.to_s, every))


def _axis(acc: Account, span: Span, top: float, bottom: float) -> str:
    out = []
    day = ""
    for at_s in _hours(span):
        x = span.x(at_s)
        text = clock_text(acc.batch.plan, at_s, with_day=False)
        now = clock_text(acc.batch.plan, at_s).split(" ")[0]
        if now != day:
            text, day = f"{now} {text}", now
        out.append(f'<line x1="{x:.1f}" y1="{top:.1f}" x2="{x:.1f}" y2="{bottom:.1f}" stroke="{RULE}"/>')
        out.append(f'<text x="{x:.1f}" y="{bottom + 15:.1f}" text-anchor="middle" class="s">{esc(text)}</text>')
    return "".join(out)


def _columns(part: Samples, column_c: Floats, span: Span) -> list[list[tuple[float, float]]]:
    """Return polylines, broken at gaps, that keep each pixel column's first, least, greatest and last reading."""
    lines: list[list[tuple[float, float]]] = []
    known = ~np.isnan(column_c)
    at_s, c = part.at_s[known].astype(float), column_c[known]
    if not len(at_s):
        return lines
    place = np.floor((at_s - span.from_s) / max(1.0, span.to_s - span.from_s) * (WIDTH - _LEFT - _RIGHT))
    usual = float(np.median(np.diff(at_s))) if len(at_s) > 1 else 5.0
    broken = np.concatenate(([True], np.diff(at_s) > max(60.0, 3 * usual)))
    edges = np.flatnonzero(np.concatenate(([True], (np.diff(place) != 0) | broken[1:], [True])))
    for start, stop in zip(edges[:-1], edges[1:], strict=True):
        picks = sorted({start, start + int(np.argmin(c[start:stop])), start + int(np.argmax(c[start:stop])), stop - 1})
        if broken[start] or not lines:
            lines.append([])
        lines[-1].extend((span.x(float(at_s[i])), float(c[i])) for i in picks)
    return lines


def temperatures(acc: Account, span: Span, title: str, number: int, cores=()) -> str:
    """Return one panel: probe and bench over time, windows, excursions hatched, steps below, gaps as gaps.

    `cores` are `core.Estimate`s of the core where the needle was elsewhere or gave no reading.
    """
    top, bottom, lane = 16.0, 300.0, 330.0
    part = acc.batch.samples.between(span.from_s, span.to_s)
    values = [v for v in part.columns.values() if len(v) and not np.isnan(v).all()]
    low = min([float(np.nanmin(v)) for v in values] + [8.0])
    # A bake would flatten everything else: what is above 45 °C runs out of the picture and the table says so.
    high = min(45.0, max([float(np.nanmax(v)) for v in values] + [22.0]))
    low, high = math.floor(low / 5) * 5, math.ceil(high / 5) * 5

    def y(c: float) -> float:
        return bottom - (min(max(c, low), high) - low) / max(1.0, high - low) * (bottom - top)

    out = [f'<svg viewBox="0 0 {WIDTH} 404" role="img" aria-labelledby="t{number} d{number}">',
           f'<title id="t{number}">{esc(title)}</title>',
           f'<desc id="d{number}">Probe and bench temperature; the table beside says the same in figures.</desc>',
           _patterns(number)]  # fmt: skip
    out.append(_axis(acc, span, top, bottom))
    said = acc.said
    step_deg = 10 if said.us else 5
    first = math.ceil(said.shown(low) / step_deg) * step_deg
    for label in range(first, math.floor(said.shown(high)) + 1, step_deg):
        c = said.celsius(label)
        out.append(f'<line x1="{_LEFT}" y1="{y(c):.1f}" x2="{WIDTH - _RIGHT}" y2="{y(c):.1f}" stroke="{RULE}"/>'
                   f'<text x="{_LEFT - 6}" y="{y(c) + 4:.1f}" text-anchor="end" class="s">{label}</text>')  # fmt: skip
    out.append(f'<text x="4" y="12" class="s">{said.degree}</text>')
    times = [(s, s.from_s, s.to_s or s.from_s) for s in acc.steps if s.from_s is not None]
    inside = [s for s, from_s, to_s in times if to_s >= span.from_s and from_s <= span.to_s]
    labels: list[tuple[float, float]] = []
    for step in inside:
        out.append(_window(acc, step, span, y, number, labels))
    for core in cores:
        seen = (core.at_s >= span.from_s) & (core.at_s <= span.to_s)
        at_s = core.at_s[seen]
        upper = " ".join(f"{span.x(t):.1f},{y(v):.1f}" for t, v in zip(at_s, core.high_c[seen], strict=True))
        lower = " ".join(f"{span.x(t):.1f},{y(v):.1f}" for t, v in zip(at_s[::-1], core.low_c[seen][::-1], strict=True))
        middle = " ".join(f"{span.x(t):.1f},{y(v):.1f}" for t, v in zip(at_s, core.middle_c[seen], strict=True))
        out.append(f'<polygon points="{upper} {lower}" fill="{QUIET}" fill-opacity="0.2"/>')
        out.append(f'<polyline points="{middle}" fill="none" stroke="{QUIET}" stroke-dasharray="2 3"/>')
    for channel, style in zip(acc.batch.channels, _LINES, strict=False):
        if channel.number > 1:  # the first two are explained beside the picture
            row = top + 12 + 13 * (style == _LINES[-1])
            out.append(_text(WIDTH - _RIGHT, row, channel_title(channel), "s", "end"))
            out.append(f'<path d="M{WIDTH - 190} {row - 4:.1f}h44" {style}/>')
        for line in _columns(part, part.columns[channel.number], span):
            points = " ".join(f"{x:.1f},{y(c):.1f}" for x, c in line)
            out.append(f'<polyline points="{points}" fill="none" {style} stroke-linejoin="round"/>')
    for channel, from_s, to_s, broken in acc.gaps:
        if channel == "probe" and to_s > span.from_s and from_s < span.to_s:
            a, b = span.x(max(from_s, span.from_s)), span.x(min(to_s, span.to_s))
            out.append(f'<rect x="{a:.1f}" y="{top}" width="{max(2.0, b - a):.1f}" height="{bottom - top}" '
                       f'fill="url(#gap{number})"/>')  # fmt: skip
            if b - a > 24:
                out.append(_text((a + b) / 2, top + 14, "no reading" if broken else "probe out", "s b"))
    out.append(_lane(inside, span, lane, 34.0))
    for at_s, cdeg, verdict in acc.bends:
        if span.from_s <= at_s <= span.to_s:
            word = ("", "✕ cracked", "○ clean", "◆ greasy")[verdict if 0 < verdict < 4 else 0]
            out.append(_text(span.x(at_s), y(cdeg / 100) - 6, word, "s b"))
    out.append("</svg>")
    return "".join(out)


def _patterns(number: int) -> str:
    def hatch(name: str, colour: str, path: str) -> str:
        return (f'<pattern id="{name}{number}" width="7" height="7" patternUnits="userSpaceOnUse">'
                f'<path d="{path}" stroke="{colour}" stroke-width="1.6"/></pattern>')  # fmt: skip

    warm = hatch("warm", WARM, "M0 7L7 0M-1 1L1 -1M6 8L8 6")
    cold = hatch("cold", COLD, "M0 0L7 7M-1 6L1 8M6 -1L8 1")
    return f'<defs>{warm}{cold}{hatch("gap", "#9a9a94", "M3.5 0V7")}</defs>'


def _text(x: float, y: float, text: str, style: str = "s", anchor: str = "middle") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" class="{style}">{esc(text)}</text>'


def _window(acc: Account, step: StepAccount, span: Span, y, number: int, labels: list[tuple[float, float]]) -> str:
    """The step's window as a pale band, what lay outside it hatched and named, and the cap of a proof as a line.

    `labels` are the places of the names written so far; a name that would lie over another stands a line further out.
    """
    at_s, c = acc.readings(step)
    from_s, to_s = float(step.from_s or 0), float(step.to_s or acc.batch.last_at_s)
    a, b = span.x(max(from_s, span.from_s)), span.x(min(to_s, span.to_s))
    if b - a < 1 or not len(at_s):
        return ""
    cap = acc.batch.plan.proof_cap_cdeg
    if step.step.kind == plans.PROOF and cap != NO_CDEG:
        line = f'<path d="M{a:.1f} {y(cap / 100):.1f}H{b:.1f}" stroke="{WARM}" stroke-dasharray="8 4"/>'
        return line + _text(a + 6, y(cap / 100) - 5, f"butter's cap {acc.deg(cap / 100)}", "s", "start")
    if math.isnan(step.low_c) and math.isnan(step.high_c):
        return ""
    times: list[float] = at_s.tolist()
    low = step.low_c if not math.isnan(step.low_c) else -99.0
    high = step.high_c if not math.isnan(step.high_c) else 99.0
    out = [f'<rect x="{a:.1f}" y="{y(high):.1f}" width="{b - a:.1f}" height="{max(0.0, y(low) - y(high)):.1f}" '
           f'fill="{_WINDOW}" stroke="#8fb08f" stroke-width="0.7"/>']  # fmt: skip
    for name, edge, outside in (("warm", high, c > high), ("cold", low, c < low)):
        runs = np.flatnonzero(np.diff(np.concatenate(([0], outside.astype(np.int8), [0]))))
        for start, stop in zip(runs[::2], runs[1::2], strict=True):
            pick = np.unique(np.linspace(start, stop - 1, min(stop - start, 160)).astype(int))
            upper = " ".join(f"{span.x(times[i]):.1f},{y(c[i]):.1f}" for i in pick)
            ends = f"{span.x(times[pick[-1]]):.1f},{y(edge):.1f} {span.x(times[pick[0]]):.1f},{y(edge):.1f}"
            out.append(f'<polygon points="{upper} {ends}" fill="url(#{name}{number})"/>')
            lasted = times[stop - 1] - times[start]
            if lasted >= 120:
                extreme = float(c[start:stop].max() if name == "warm" else c[start:stop].min())
                middle = span.x((times[start] + times[stop - 1]) / 2)
                place = y(extreme) + (-7 if name == "warm" else 16)
                while any(abs(middle - x) < _NAME_W and abs(place - at) < _NAME_H for x, at in labels):
                    place += -_NAME_H if name == "warm" else _NAME_H
                labels.append((middle, place))
                out.append(_text(middle, place, f"too {name} {lasting(lasted)}", "s b"))
    return "".join(out)


def _lane(steps: list[StepAccount], span: Span, top: float, height: float) -> str:
    """Boxes for the steps, coloured by place; a label where it fits, else its number in the table."""
    out = []
    lanes: list[float] = []
    for step in sorted(steps, key=lambda s: s.from_s or 0):
        a = span.x(max(float(step.from_s or 0), span.from_s))
        b = span.x(min(float(step.to_s if step.to_s is not None else span.to_s), span.to_s))
        b = max(b, a + 2.5)
        row = next((n for n, end in enumerate(lanes) if end <= a + 0.5), len(lanes))
        if row > 1:
            row = 1
        if row == len(lanes):
            lanes.append(b)
        else:
            lanes[row] = max(lanes[row], b)
        y = top + row * (height + 3)
        fill = _PLACE_FILL.get(step.step.place, "#efefeb")
        out.append(f'<rect x="{a:.1f}" y="{y:.1f}" width="{b - a:.1f}" height="{height:.1f}" fill="{fill}" '
                   f'stroke="{INK}" stroke-width="0.6"><title>{esc(step.title)}</title></rect>')  # fmt: skip
        words = f"fold {step.step.fold_n}" if step.step.kind == plans.FOLD else step.step.name
        kind = f"{step.step.fold}-fold" if step.step.kind == plans.FOLD else plans.PLACE_WORDS[step.step.place]
        if b - a > 6.2 * len(words) + 4:
            out.append(_text((a + b) / 2, y + 15, words))
            if b - a > 6.2 * len(kind) + 4:
                out.append(_text((a + b) / 2, y + 28, kind, "s q"))
        elif step.step.kind == plans.FOLD and b - a > 9:
            out.append(_text((a + b) / 2, y + 15, str(step.step.fold_n), "s b"))
    return "".join(out)


def timetable(acc: Account, number: int) -> str:
    """Return the timetable: planned as outlined bars above, real as filled bars below, one row a step."""
    rows = [s for s in acc.steps]
    begin = min([s.planned_from_s for s in rows] + [s.from_s for s in rows if s.from_s is not None])
    end = max([s.planned_to_s for s in rows] + [s.to_s for s in rows if s.to_s is not None])
    span = _Wide(begin - 300, end + 300)
    height = 22 * len(rows) + 46
    out = [f'<svg viewBox="0 0 {WIDTH} {height}" role="img" aria-labelledby="t{number} d{number}">',
           f'<title id="t{number}">Timetable, planned and real</title>',
           f'<desc id="d{number}">Outlined bars are the plan, filled bars what happened; the table below says the same.'
           "</desc>"]  # fmt: skip
    out.append(_axis(acc, span, 8, height - 26))
    for row, step in enumerate(rows):
        y = 12 + 22 * row
        out.append(_text(_Wide.LEFT - 8, y + 12, _short(step.title), anchor="end"))
        a, b = span.x(step.planned_from_s), span.x(step.planned_to_s)
        out.append(f'<rect x="{a:.1f}" y="{y}" width="{max(1.5, b - a):.1f}" height="7" fill="{PAPER}" stroke="{INK}" '
                   'stroke-width="0.8"/>')  # fmt: skip
        if step.from_s is not None:
            a, b = span.x(step.from_s), span.x(step.to_s if step.to_s is not None else step.from_s)
            odd = step.rest_word in ("cut short", "overdone")
            fill = WARM if odd else COLD if step.step.place in (plans.FRIDGE, plans.FREEZER) else INK
            out.append(f'<rect x="{a:.1f}" y="{y + 8}" width="{max(1.5, b - a):.1f}" height="8" fill="{fill}"/>')
        elif step.state == states.SKIPPED:
            out.append(f'<text x="{a:.1f}" y="{y + 17}" class="s q">skipped</text>')
    out.append("</svg>")
    return "".join(out)


def _short(text: str) -> str:
    return text if len(text) <= 30 else text[:29] + "…"


class _Wide(Span):
    LEFT = 210

    def x(self, at_s: float) -> float:
        return self.LEFT + (at_s - self.from_s) / max(1.0, self.to_s - self.from_s) * (WIDTH - self.LEFT - _RIGHT)
