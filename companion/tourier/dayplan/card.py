"""The bench card: one printed sheet beside the dough, legible at arm's length, with boxes to tick.

Normal sight reads letters of 5 arc minutes (Snellen); at arm's length, 0.7 m, that is 1.0 mm, and signs read in passing
want 16. The timetable is set in 12.5 pt (capitals 3.2 mm, 16 arc minutes) down to 10 pt (2.6 mm, 13) for what stands on
one page; a day of several pâtons that would need smaller type takes two pages, front and back of one sheet.
"""

from __future__ import annotations

from datetime import timedelta
from html import escape

from shared_schedule import plan as wire
from tourier.dayplan import cardfoot
from tourier.dayplan.cardsize import FOOT, Page, Part, Row, size_pt, widths_em
from tourier.dayplan.model import DayPlan, PlannedStep
from tourier.dayplan.words import asked_words
from tourier.voice import Voice, span

SOON = timedelta(minutes=2)  # a rest that begins this soon after its fold shares its row
ONE_PAGE_PT = 10.0  # smaller than this on one page, and the card takes two

STYLE = """
@page { size: auto; margin: 9mm 10mm; }
* { box-sizing: border-box; }
body { font-family: "DejaVu Sans", "Liberation Sans", Arial, sans-serif; color: #000; background: #fff; margin: 0;
  font-size: %(size)spt; line-height: 1.2; }
main { width: 190mm; max-width: 100%%; margin: 0 auto; }
header { display: flex; justify-content: space-between; align-items: baseline; border-bottom: 1.2mm solid #000;
  padding-bottom: 1mm; margin-bottom: 1.5mm; }
h1 { font-size: 19pt; margin: 0; overflow-wrap: anywhere; }
.ready { text-align: right; font-size: 19pt; font-weight: bold; white-space: nowrap; padding-left: 5mm; }
.asked { font-size: 10pt; font-weight: normal; text-align: right; line-height: 1; }
.window { display: flex; gap: 0 4mm; align-items: baseline; font-size: 12.5pt; margin: 1mm 0 1.5mm; flex-wrap: wrap; }
.window b { font-size: 17pt; }
table { width: 100%%; table-layout: fixed; border-collapse: collapse; }
td, th { text-align: left; vertical-align: top; padding: 0.18em 0.5em 0.18em 0; border-bottom: 0.2mm solid #777; }
td.t { font-weight: bold; white-space: nowrap; font-variant-numeric: tabular-nums; }
td.n { white-space: nowrap; }
td.s { white-space: nowrap; text-align: right; padding-right: 0; }
td.w { overflow-wrap: anywhere; }
tr.rest td { font-weight: normal; }
tr.hands td.w { font-weight: bold; }
tr.day td { border-bottom: 0.6mm solid #000; font-weight: bold; padding-top: 0.4em; }
.box { display: inline-block; width: 1em; height: 1em; border: 0.35mm solid #000; vertical-align: -0.12em;
  margin: 0 0.3em 0 0; }
main + main { break-before: page; }
.page { margin-left: auto; }
td.p { font-weight: bold; text-align: center; }
td.p i { font-style: normal; border: 0.35mm solid #000; border-radius: 0.8em; padding: 0 0.38em; }
td.p i.even { background: #000; color: #fff; print-color-adjust: exact; -webkit-print-color-adjust: exact; }
th { font-size: 0.8em; font-weight: normal; padding-bottom: 0; border-bottom: 0; }
.tick { display: inline-block; margin-left: 0.7em; font-weight: normal; }
.foot .tick, .tick:empty { margin-left: 0; }
section:only-child { columns: 3; column-gap: 6mm; }
section:only-child h2 { column-span: all; }
tr.over td { border-bottom: 0; font-weight: bold; padding-top: 0.4em; }
.foot { display: flex; gap: 6mm; margin-top: 2mm; font-size: %(foot)spt; }
.foot section { flex: 1 1 0; min-width: 0; }
h2 { font-size: 1.1em; margin: 0 0 0.6mm; border-bottom: 0.4mm solid #000; }
.foot p { margin: 0.5mm 0; }
small { display: block; margin-top: 1.5mm; font-size: 7.5pt; }
@media screen { body { padding: 6mm; } main + main { margin-top: 12mm; } }
@media print { tr, section { break-inside: avoid; } }
"""

CAUTION = (
    "A baking guide, not a food-safety check: keep to local hygiene rules, and take care with hot trays and hot butter."
)


def safe(text: str, most: int = 120) -> str:
    """Return text of a batch file fit for HTML: no control characters, no markup, not longer than `most`."""
    return escape("".join(c if c.isprintable() else " " for c in text)[:most])


def card_html(plan: DayPlan) -> str:
    """Return one self-contained HTML page; every text from the batch file is escaped."""
    pages = card_pages(plan)
    size = min(map(size_pt, pages))
    style = STYLE % {"size": size, "foot": round(size * FOOT, 2)}
    title = safe(plan.name, 60)
    body = "".join(_page_html(page, number, len(pages)) for number, page in enumerate(pages, 1))
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width">'
        f"<title>{title}: bench card</title><style>{style}</style></head><body>{body}</body></html>\n"
    )


def card_pages(plan: DayPlan) -> list[Page]:
    """Return what stands on each side of the sheet: one, or two when one would need too small a type."""
    rows, foot = timetable(plan), [cardfoot.folds(plan), *cardfoot.marks(plan)]
    first = [part] if (part := cardfoot.weigh(plan)) else []
    page = _one(plan, rows, [*first, *foot])
    return [page] if size_pt(page) >= ONE_PAGE_PT else _two_pages(plan, rows, first, foot)


def _one(plan: DayPlan, rows: list[Row], foot: list[Part]) -> Page:
    head = (plan.name[:60], f"Ready {plan.planned_at:%a %H:%M}", asked_words(plan).lstrip(", "))
    return Page(head, tuple(window_facts(plan)), tuple(rows), tuple(foot))


def _two_pages(plan: DayPlan, rows: list[Row], first: list[Part], foot: list[Part]) -> list[Page]:
    """Return the rows on two pages, cut where the type can be largest and, if it may be, where a day ends; the day is
    named on both, and the first says what comes overleaf."""
    best: tuple[float, bool, int] = (0.0, False, 0)
    pages: list[Page] = []
    for cut in range(1, len(rows)):
        day = next((row for row in reversed(rows[:cut]) if row.kind == "day"), None)
        upper, lower = rows[:cut], rows[cut:]
        if upper[-1].kind == "day":
            continue  # a heading alone at the foot of a page
        new_day = lower[0].kind == "day"
        if not new_day and day is not None:
            lower = [Row("day", name=f"{day.name}, continued"), *lower]
        after = lower[1]
        whose = f", pâton {after.paton}" if after.paton else ""
        upper = [*upper, Row("over", name=f"\u2192 overleaf: {after.start} {after.name}{whose}")]
        made = [_one(plan, upper, first), _one(plan, lower, foot)]
        value = min(map(size_pt, made)), new_day, cut
        if value > best:
            best, pages = value, made
    return pages


def _page_html(page: Page, number: int, pages: int) -> str:
    title, ready, asked = page.head
    under = f'<div class="asked">{asked}</div>' if asked else ""
    facts = "".join(
        f"<span>{name} <b>{figure}</b>{f' {note}' if note else ''}</span>" for name, figure, note in page.facts
    )
    if pages > 1:
        facts += f'<span class="page">page {number} of {pages}</span>'
    foot = "".join(_part_html(part) for part in page.foot)
    return (
        f'<main>\n<header><h1>{safe(title)}</h1><div class="ready">{ready}{under}</div></header>\n'
        + (f'<div class="window">{facts}</div>\n' if facts else "")
        + f'<table>\n{_table_html(page.rows)}</table>\n<div class="foot">{foot}</div>\n'
        f"<small>{CAUTION}</small>\n</main>"
    )


def _table_html(rows: tuple[Row, ...]) -> str:
    """Rows as table rows; which pâton stands in a column of its own, in a disc that is dark for even numbers."""
    many = any(row.paton for row in rows)
    columns, out = 5 if many else 4, []
    wide = {name: f'style="width:{em:.2f}em"' for name, em in widths_em(rows).items() if em}
    cols = [wide[name] if name else "" for name in ("start", "paton", "", "lasts", "size") if not name or name in wide]
    out.append(f"<colgroup>{''.join(f'<col {style}/>' for style in cols)}</colgroup>\n")
    if many:
        out.append("<tr><th></th><th>pâton</th><th></th><th></th><th></th></tr>\n")
    for row in rows:
        if row.kind in ("day", "over"):
            out.append(f'<tr class="{row.kind}"><td colspan="{columns}">{safe(row.name)}</td></tr>\n')
            continue
        disc = f"<i{' class=even' if row.paton % 2 == 0 else ''}>{row.paton}</i>" if row.paton else ""
        ticks = "".join(f' <span class="tick"><i class="box"></i>{safe(tick)}</span>' for tick in row.ticks)
        out.append(
            f'<tr class="{row.kind}"><td class="t"><i class="box"></i>{row.start}</td>'
            + (f'<td class="p">{disc}</td>' if many else "")
            + f'<td class="w">{safe(row.name)}</td>'
            + (
                f'<td colspan="2">{row.lasts}{ticks}</td></tr>\n'
                if row.ticks
                else f'<td class="n">{row.lasts}</td><td class="s">{row.size}</td></tr>\n'
            )
        )
    return "".join(out)


def _part_html(part: Part) -> str:
    lines = []
    for line in part.lines:
        bits = []
        for style, text in line:
            if style == "box":
                bits.append(f'<span class="tick"><i class="box"></i>{safe(text)}</span>')
            else:
                bits.append(f"<b>{safe(text)}</b>" if style == "b" else safe(text))
        lines.append(f"<p>{' '.join(bits)}</p>")
    return f"<section><h2>{safe(part.title)}</h2>{''.join(lines)}</section>"


def window_facts(plan: DayPlan) -> list[tuple[str, str, str]]:
    """The butter's window, the air of the proof and the water, as (name, figure, note)."""
    said = plan.spec.voice
    folds = [s.process for s in plan.steps if s.process.kind == wire.FOLD]
    edges = [(p.low_c, p.high_c) for p in folds if p.low_c is not None and p.high_c is not None]
    facts = []
    if edges:
        facts.append(("Dough while rolling", said.window(*edges[0]), ""))
    proofs = [s.process.air_max_c for s in plan.steps if s.process.air_max_c is not None]
    if proofs:
        facts.append(("Proof: air below", said.temperature(min(proofs)), ""))
    water = plan.workup.water_temp_c
    if water is not None:
        if ice := plan.workup.ice_text:
            facts.append(("Water", "from the tap", f"{ice} of it ice"))
        else:
            name = plan.workup.water_name
            facts.append((safe(name[:1].upper() + name[1:], 30), said.temperature(water), ""))
    return facts


def timetable(plan: DayPlan) -> list[Row]:
    """Every step that takes time, a heading for each day; a rest that follows alone shares its work's row."""
    rows = []
    many = sum(job.workup.patons for job in plan.jobs) > 1
    said = plan.spec.voice
    day = None
    rest_of = _rest_of(plan)
    resting = {id(rest) for rest in rest_of.values()}
    for step in plan.steps:
        process = step.process
        if id(step) in resting or (step.duration_s < 60 and not process.ticks):
            continue
        if step.start.date() != day:
            day = step.start.date()
            rows.append(Row("day", name=f"{step.start:%A %d %B}"))
        lasts = _lasts(step, said)
        rest = rest_of.get(step.step_id)
        if rest is not None and rest.duration_s >= 60:
            where = "" if wire.PLACE_WORDS[rest.process.place] in ("fridge", "freezer") else f"{_word(rest)} "
            lasts += f", then {where}{_lasts(rest, said)}"
        kind = "hands" if process.attended_s * 2 >= step.duration_s else "rest"
        rows.append(Row(kind, f"{step.start:%H:%M}", process.paton if many else 0, _clean(process.name), process.ticks,
                        lasts, _size(step, said)))  # fmt: skip
    return rows


def _clean(name: str) -> str:
    return "".join(c if c.isprintable() else " " for c in name)[:120]


def _rest_of(plan: DayPlan) -> dict[int, PlannedStep]:
    """Return {step id of hands-on work: the rest that begins as it ends and follows it alone}: one row for both."""
    found = {}
    for rest in plan.steps:
        if len(rest.process.after) != 1 or rest.process.ticks or rest.process.place == wire.OVEN:
            continue
        if rest.process.kind not in (wire.BULK, wire.CHILL, wire.REST, wire.HOLD):
            continue
        for step in plan.steps:
            same = step.job == rest.job and step.process.key == rest.process.after[0]
            if same and rest.start - step.end <= SOON and 0 < step.duration_s <= step.process.attended_s * 2:
                found[step.step_id] = rest
    return found


def _word(step: PlannedStep) -> str:
    return wire.KIND_WORDS[step.process.kind]


def _lasts(step: PlannedStep, said: Voice) -> str:
    place = wire.PLACE_WORDS[step.process.place]
    until = f"until {step.end:%a %H:%M}" if step.duration_s >= 4 * 3600 else span(step.duration_s // 60 * 60)
    core = step.process.core_c
    to = f" to {said.temperature(core)}" if core is not None and step.process.ends_by == wire.BY_CORE else ""
    return f"{place} {until}{to}" if place in ("fridge", "freezer") else f"{until}{to}"


def _size(step: PlannedStep, said: Voice) -> str:
    """The sheet to roll: cm and mm, or inches to a quarter with the thickness to a sixteenth."""
    process = step.process
    if process.kind not in (wire.FLATTEN, wire.BLOCK, wire.LOCK_IN, wire.FOLD, wire.SHEET) or not process.length_m:
        return ""
    long, wide = said.rough(process.length_m), said.rough(process.width_m)
    return f"{long} × {wide} {said.mark}, {said.rolled(process.thickness_m)}"
