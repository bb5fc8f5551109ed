"""The bench card: one printed sheet beside the dough, legible at arm's length, with boxes to tick.

Normal sight reads letters of 5 arc minutes (Snellen); at arm's length, 0.7 m, that is 1.0 mm, and signs read in passing
want 16. The timetable is set in 12.5 pt (capitals 3.2 mm, 16 arc minutes) down to 10 pt (2.6 mm, 13) for what stands on
one page; a day of several pâtons that would need smaller type takes two pages, front and back of one sheet.
"""

from __future__ import annotations

import re
from datetime import timedelta
from html import escape, unescape

from shared_schedule import plan as wire
from tourier.batch.model import Workup
from tourier.dayplan.model import DayPlan, PlannedStep
from tourier.dayplan.problem import span
from tourier.dayplan.words import asked_words

PAGE_MM = 258.0  # Letter leaves 261 mm between its margins; the rest is for text wider than reckoned
WIDTH_MM = 189.0  # A4 leaves 190 mm
LETTER, BOLD = 0.52, 0.585  # width of a letter in em: DejaVu Sans, the widest of the fonts named
FIXED_MM = 29.0  # header, window line, headings of the foot, caution
MM_PER_PT = 25.4 / 72
SOON = timedelta(minutes=2)  # a rest that begins this soon after its fold shares its row
LARGEST_PT, SMALLEST_PT = 12.5, 5.0
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
.ready { font-size: 19pt; font-weight: bold; white-space: nowrap; padding-left: 5mm; }
.asked { font-size: 10pt; font-weight: normal; text-align: right; line-height: 1; }
.window { display: flex; gap: 4mm; align-items: baseline; font-size: 12.5pt; margin: 1mm 0 1.5mm; flex-wrap: wrap; }
.window b { font-size: 17pt; }
table { width: 100%%; border-collapse: collapse; }
td, th { text-align: left; vertical-align: top; padding: 0.18em 0.5em 0.18em 0; border-bottom: 0.2mm solid #777; }
td.t { font-weight: bold; white-space: nowrap; font-variant-numeric: tabular-nums; }
td.n { white-space: nowrap; }
td.s { white-space: nowrap; text-align: right; padding-right: 0; }
tr.rest td { font-weight: normal; }
tr.hands td.w { font-weight: bold; }
tr.day td { border-bottom: 0.6mm solid #000; font-weight: bold; padding-top: 0.4em; }
.box { display: inline-block; width: 1em; height: 1em; border: 0.35mm solid #000; vertical-align: -0.12em;
  margin: 0 0.3em 0 0; }
main + main { break-before: page; }
.page { font-size: 12.5pt; font-weight: normal; padding-left: 3mm; }
.tick { white-space: nowrap; margin-left: 0.7em; font-weight: normal; }
.foot { display: flex; gap: 6mm; margin-top: 2mm; font-size: %(foot)spt; }
.foot section { flex: 1 1 0; min-width: 0; }
h2 { font-size: 1.1em; margin: 0 0 0.6mm; border-bottom: 0.4mm solid #000; }
.foot p { margin: 0.5mm 0; }
small { display: block; margin-top: 1.5mm; font-size: 7.5pt; }
@media screen { body { padding: 6mm; } main + main { margin-top: 12mm; } }
@media print { tr, section { break-inside: avoid; } }
"""

CAUTION = (
    "Guidance for the craft, no food-safety control: keep to local hygiene rules, and mind hot trays and hot butter."
)


def safe(text: str, most: int = 120) -> str:
    """Return text of a batch file fit for HTML: no control characters, no markup, not longer than `most`."""
    return escape("".join(c if c.isprintable() else " " for c in text)[:most])


def card_html(plan: DayPlan) -> str:
    """Return one self-contained HTML page; every text from the batch file is escaped."""
    rows = _rows(plan)
    weigh, below = _formula(plan), [_sheets(plan), _marks(plan)]
    pages = [(rows, [weigh, *below])]
    size = _size_pt(*pages[0])
    if size < ONE_PAGE_PT:
        pages, size = _two_pages(rows, weigh, below)
    style = STYLE % {"size": size, "foot": round(size * 0.85, 2)}
    title = safe(plan.name, 60)
    body = "".join(
        f'<main>\n<header><h1>{title}{_page(number, len(pages))}</h1>'
        f'<div class="ready">Ready {plan.ready_at:%a %H:%M}{_asked(plan)}</div></header>\n'
        f"{_window(plan)}<table>\n{''.join(part)}</table>\n"
        f'<div class="foot">{"".join(foot)}</div>\n<small>{CAUTION}</small>\n</main>'
        for number, (part, foot) in enumerate(pages, 1)
    )
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width">'
        f"<title>{title}: bench card</title><style>{style}</style></head><body>{body}</body></html>\n"
    )


def _page(number: int, pages: int) -> str:
    if pages == 1:
        return ""
    return f' <span class="page">page {number} of {pages}{", next: overleaf" if number < pages else ""}</span>'


def _two_pages(rows: list[str], weigh: str, below: list[str]) -> tuple[list[tuple[list[str], list[str]]], float]:
    """Return the rows on two pages, cut where the type can be largest, and that size; the day is named on both."""
    best: tuple[list[tuple[list[str], list[str]]], float] = ([], 0.0)
    for cut in range(len(rows) // 3, len(rows) * 2 // 3 + 1):
        day = next((row for row in reversed(rows[:cut]) if 'class="day"' in row), "")
        first, second = rows[:cut], rows[cut:]
        if 'class="day"' in first[-1]:
            continue  # a heading alone at the foot of a page
        if 'class="day"' not in second[0]:
            second = [day.replace("</td>", ", continued</td>"), *second]
        pages = [(first, [weigh]), (second, below)]
        size = min(_size_pt(*page) for page in pages)
        if size > best[1]:
            best = pages, size
    return best


def _asked(plan: DayPlan) -> str:
    """The hour asked for under the hour aimed at, when they differ."""
    words = asked_words(plan).lstrip(", ")
    return f'<div class="asked">{words}</div>' if words else ""


def _size_pt(rows: list[str], foot: list[str]) -> float:
    """Return the largest type size, in steps of a quarter point, at which all stands on one Letter or A4 page."""
    size = LARGEST_PT
    while size > SMALLEST_PT and _height_mm(rows, foot, size) > PAGE_MM:
        size -= 0.25
    return size


def _height_mm(rows: list[str], foot: list[str], size: float) -> float:
    """Return about how high a card stands at a type size, and far too much when its columns are too wide."""
    em = size * MM_PER_PT
    cells = [[_text(cell) for cell in row.split("<td")[1:]] for row in rows]
    full = [row for row in cells if len(row) == 4]
    time_mm = 4.9 * em
    lasts_mm, size_mm = (max((len(row[c]) for row in full), default=0) * LETTER * em + 0.5 * em for c in (2, 3))
    name_mm = WIDTH_MM - time_mm - lasts_mm - size_mm - 1.0 * em
    longest_word = max((len(word) for row in full for word in row[1].split()), default=1)
    if name_mm < max(longest_word * BOLD, 9.0) * em:
        return 10 * PAGE_MM
    height = FIXED_MM
    for row in rows:
        parts = row.split('class="tick"')
        name = _text(parts[0].split("<td")[-1]) if len(parts) > 1 else _text(row.split("<td")[min(2, row.count("<td"))])
        ticks = [1.9 + len(_text("<i>" + part.split("</td>")[0])) * LETTER for part in parts[1:]]
        lines, at = 1, len(name) * (BOLD if 'class="hands' in row else LETTER) * em
        if at > name_mm:
            lines, at = lines + int(at // name_mm), at % name_mm
        for tick in ticks:
            lines, at = (lines, at + tick * em) if at + tick * em <= name_mm else (lines + 1, tick * em)
        height += (0.36 + 1.2 * lines) * em + 0.25
    small = 0.85 * em
    column_mm = (WIDTH_MM - 6.0 * (len(foot) - 1)) / max(1, len(foot))
    below = 0.0
    for part in foot:
        texts = [_text("<p" + p) for p in part.split("<p")[1:]]
        boxes = [p.count("box") * 1.9 for p in part.split("<p")[1:]]
        wide = [(len(t) * LETTER + b) * small for t, b in zip(texts, boxes, strict=True)]
        below = max(below, sum((1 + w // (column_mm * 0.92)) * 1.2 * small + 1.0 for w in wide))
    return height + below


def _text(markup: str) -> str:
    """Return what is read of a cell: its text without tags."""
    return unescape(re.sub(r"<[^>]*>", "", "<" + markup.lstrip("<"))).strip()


def _window(plan: DayPlan) -> str:
    """The butter's window and the air of the proof."""
    folds = [s.process for s in plan.steps if s.process.kind == wire.FOLD and s.process.low_c is not None]
    parts = []
    if folds:
        parts.append(f"<span>Dough while rolling</span><b>{folds[0].low_c:.0f}–{folds[0].high_c:.0f} °C</b>")
    proofs = [s.process.air_max_c for s in plan.steps if s.process.air_max_c is not None]
    if proofs:
        parts.append(f"<span>Proof: air below</span><b>{min(proofs):.0f} °C</b>")
    water = plan.workup.water_temp_c
    if water is not None:
        ice = plan.workup.ice_text
        said = f"<b>from the tap</b><span>{ice} of it ice</span>" if ice else f"<b>{water:.0f} °C</b>"
        parts.append(f"<span>Water</span>{said}")
    return f'<div class="window">{"".join(parts)}</div>\n' if parts else ""


def _rows(plan: DayPlan) -> list[str]:
    rows = []
    many = sum(job.workup.patons for job in plan.jobs) > 1
    day = None
    rest_of = _rest_of(plan)
    resting = {id(rest) for rest in rest_of.values()}
    for step in plan.steps:
        if id(step) in resting:
            continue
        if step.start.date() != day:
            day = step.start.date()
            rows.append(f'<tr class="day"><td colspan="4">{step.start:%A %d %B}</td></tr>\n')
        process = step.process
        name = safe(process.name)
        if many and process.paton:
            name += f" · pâton {process.paton}"
        ticks = "".join(f'<span class="tick"><i class="box"></i>{safe(t)}</span>' for t in process.ticks)
        kind = "hands" if process.attended_s * 2 >= step.duration_s else "rest"
        lasts = _lasts(step)
        rest = rest_of.get(step.step_id)
        if rest is not None:
            where = "" if wire.PLACE_WORDS[rest.process.place] in ("fridge", "freezer") else f"{_word(rest)} "
            lasts += f", then {where}{_lasts(rest)}"
        rows.append(
            f'<tr class="{kind}"><td class="t"><i class="box"></i>{step.start:%H:%M}</td>'
            f'<td class="w">{name}{ticks}</td><td class="n">{lasts}</td>'
            f'<td class="s">{_size(step)}</td></tr>\n'
        )
    return rows


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


def _lasts(step: PlannedStep) -> str:
    place = wire.PLACE_WORDS[step.process.place]
    minutes = step.duration_s // 60
    long = minutes >= 240
    until = f"until {step.end:%a %H:%M}" if long else f"{minutes} min" if minutes < 100 else span(step.duration_s)
    core = step.process.core_c
    to = f" to {core:.0f} °C" if core is not None and step.process.ends_by == wire.BY_CORE else ""
    return f"{place} {until}{to}" if place in ("fridge", "freezer") else f"{until}{to}"


def _half_mm(metres: float) -> str:
    """Thickness of a thin sheet to the half millimetre, as rolling guides have it (4.5, not 5); whole from 6 mm on."""
    return f"{round(metres * 2000) / 2:g}" if metres < 0.006 else f"{metres * 1000:.0f}"


def _size(step: PlannedStep) -> str:
    process = step.process
    if process.kind not in (wire.FLATTEN, wire.BLOCK, wire.LOCK_IN, wire.FOLD, wire.SHEET) or not process.length_m:
        return ""
    return f"{process.length_m * 100:.0f} × {process.width_m * 100:.0f} cm, {_half_mm(process.thickness_m)} mm"


def _formula(plan: DayPlan) -> str:
    parts = []
    for job in plan.jobs[:2]:
        lines = "".join(
            f'<p><i class="box"></i>{safe(line.name)} <b>{line.g:.0f} g</b></p>' if line.g >= 100
            else f'<p><i class="box"></i>{safe(line.name)} <b>{line.g:.1f} g</b></p>'
            for line in job.workup.lines
        )  # fmt: skip
        if lines:
            parts.append(f"{lines}{_blocks(job.workup)}")
    return f"<section><h2>Weigh</h2>{''.join(parts)}</section>" if parts else ""


def _blocks(work: Workup) -> str:
    """The butter blocks to be made, each with its own mass."""
    each = [p["butter_g"] for p in work.patons_g]
    if len(each) < 2:
        return f"<p>Butter block <b>{work.butter_block_g:.0f} g</b></p>"
    if len(set(each)) == 1:
        return f"<p>{len(each)} butter blocks of <b>{each[0]:.0f} g</b></p>"
    return "".join(f"<p>Butter block, pâton {p['paton']} <b>{p['butter_g']:.0f} g</b></p>" for p in work.patons_g)


def _sheets(plan: DayPlan) -> str:
    rows = []
    for row in plan.workup.layers:
        rows.append(f"<p>{safe(str(row['after']))}: <b>{row['fat']}</b> fat layer{'' if row['fat'] == 1 else 's'}</p>")
    folds = [s.process for s in plan.steps if s.process.kind == wire.FOLD]
    patons = sorted({p.paton for p in folds})
    boxes = "".join(
        f"<p>pâton {n or 1}: "
        + " ".join(
            f'<span class="tick"><i class="box"></i>{p.fold_n} ({p.fold}-fold)</span>' for p in folds if p.paton == n
        )
        + "</p>"
        for n in patons
    )
    return f"<section><h2>Folds done</h2>{boxes}{''.join(rows)}</section>"


def _marks(plan: DayPlan) -> str:
    """Ruler marks of the first sheet that has them, in cm to the millimetre or in inches to the nearest 1/16."""
    from tourier.quantities import inch_text

    cuts = plan.workup.cuts
    inch = plan.spec.units == "inch"
    marks = cuts.get("marks_mm") or []
    first = marks[0] if marks and isinstance(marks[0], list) else []
    rows = []
    groups: dict[str, list[dict]] = {}
    for mark in first:
        at = ", ".join(inch_text(mm / 1000).removesuffix(" in") if inch else f"{mm / 10:.1f}" for mm in mark["at"])
        groups.setdefault(at, []).append(mark)
    for at, same_at in groups.items():
        rows.append(f"<p>{safe(_where(same_at))}: {at}</p>")
    unit = "inch" if inch else "cm"
    same = "" if len(marks) < 2 else (" (every sheet)" if all(m == first for m in marks) else " (first sheet)")
    return f"<section><h2>Ruler marks, {unit}{same}</h2>{''.join(rows)}</section>" if rows else ""


def _where(marks: list[dict]) -> str:
    """Name the edges that take the same ruler marks, strips together where both their edges do."""
    strips = sorted({int(m["strip"]) for m in marks if m["strip"]})
    if not strips:
        return "long cuts"
    edges = sorted({m["edge"] for m in marks if m["strip"]}, reverse=True)
    if len(marks) == len(strips) * len(edges):
        one = f"strip {strips[0]}" if len(strips) == 1 else f"strips {', '.join(map(str, strips))}"
        return f"{one}, {' and '.join(edges)} edge{'s' if len(edges) > 1 else ''}"
    return "; ".join(f"strip {int(m['strip'])} {m['edge']}" if m["strip"] else "long cuts" for m in marks)
