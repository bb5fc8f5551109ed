"""The report of one batch as one HTML file: no script, no outside resource, prints on A4 and Letter, reads on a phone.

All text that came from a log, a batch file or a person is escaped where it is put in.
"""

from __future__ import annotations

import math
from importlib import resources

from shared_schedule import plan as plans
from shared_schedule import words as spoken
from shared_schedule.units import NO_CDEG
from shared_schedule.window import VERDICT_WORDS
from tourier.logbook.account import core
from tourier.logbook.account.steps import STATE_WORDS, StepAccount
from tourier.logbook.findings import knowledge
from tourier.logbook.findings.review import Finding, Review
from tourier.logbook.record.model import clock_text, local
from tourier.logbook.reports import drawing
from tourier.logbook.reports.drawing import esc
from tourier.voice import Voice
from tourier.voice import span as lasting


def _style() -> str:
    return resources.files("tourier.logbook.reports").joinpath("report.css").read_text(encoding="utf-8")


def _n(value: float, places: int = 1) -> str:
    return "–" if value is None or math.isnan(value) else f"{value:.{places}f}"


def _c(said: Voice, cdeg: int) -> str:
    return "–" if cdeg == NO_CDEG else said.reading(cdeg)


def _table(caption: str, head: list[str], rows: list[list[str]], marks: list[str] | None = None, numbers=(),
           whole=()) -> str:  # fmt: skip
    """`numbers` are columns set to the right, `whole` those that are not to be broken."""
    out = [f'<div class="wide"><table><caption>{esc(caption)}</caption><thead><tr>']
    out += [f'<th scope="col"{" class=n" if i in numbers else ""}>{esc(h)}</th>' for i, h in enumerate(head)]
    out.append("</tr></thead><tbody>")
    for place, row in enumerate(rows):
        mark = marks[place] if marks else ""
        out.append(f'<tr class="{mark}">' if mark else "<tr>")
        for i, cell in enumerate(row):
            style = " class=n" if i in numbers else " class=d" if i in whole else ""
            out.append(f"<td{style}>{esc(cell)}</td>" if i else f'<th scope="row"{style}>{esc(cell)}</th>')
        out.append("</tr>")
    return "".join([*out, "</tbody></table></div>"])


def _clock(review: Review, at_s: float | None) -> str:
    return "–" if at_s is None else clock_text(review.account.batch.plan, at_s)


def _figures(review: Review, steps: list[StepAccount], caption: str) -> str:
    rows, marks = [], []
    said = review.account.said
    for s in steps:
        outside = []
        if _outside(s.probe.cold_s, s.probe.cold_degmin):
            outside.append(f"too cold {lasting(s.probe.cold_s)}, {said.degree_minutes(s.probe.cold_degmin)}")
        if _outside(s.probe.warm_s, s.probe.warm_degmin):
            outside.append(f"too warm {lasting(s.probe.warm_s)}, {said.degree_minutes(s.probe.warm_degmin)}")
        outside += _gap_words(review, s)
        remark = "; ".join(outside) or s.rest_word or ("fine" if s.probe.known else "no reading")
        p = s.probe
        rows.append([s.title, _clock(review, s.from_s), lasting(s.lasted_s),
                     *(said.degrees(c) for c in (p.start_c, p.end_c, p.min_c, p.max_c)),
                     _span(said, s.low_c, s.high_c), said.rate(p.rate_c_min), said.degrees(s.bench.mean_c),
                     remark])  # fmt: skip
        warm, cold = _outside(p.warm_s, p.warm_degmin), _outside(p.cold_s, p.cold_degmin)
        marks.append("warm" if warm else "cold" if cold else "")
    unit = said.degree
    head = ["Step", "Began", "Lasted", f"Start {unit}", f"End {unit}", "Min", "Max", "Window", f"{unit}/min",
            f"Bench {unit}", "Remark"]  # fmt: skip
    table = _table(caption, head, rows, marks, numbers=(3, 4, 5, 6, 8, 9), whole=(1, 2, 7))
    return f'<div class="figures">{table}</div>'


def _gap_words(review: Review, s: StepAccount) -> list[str]:
    """How long the step's own readings are missing: at fault, and with the probe on its way."""
    faults = [g for g in review.account.gaps if g.channel == "probe" and g.broken]
    lost = {True: 0, False: 0}
    for from_s, to_s in s.probe.gaps:
        lost[any(g.from_s < to_s and g.to_s > from_s for g in faults)] += to_s - from_s
    words = ((True, "no reading"), (False, "probe out"))
    return [f"{word} {lasting(lost[broken])}" for broken, word in words if lost[broken] >= 30]


def _span(said: Voice, low_c: float, high_c: float) -> str:
    """A window in a column whose heading has the unit."""
    if math.isnan(low_c) and math.isnan(high_c):
        return "–"
    return said.window(low_c, high_c).removesuffix(f" {said.degree}")


def _outside(seconds: float, degmin: float) -> bool:
    """Whether an excursion is worth a line: half a minute, and more than the noise of a probe at the edge."""
    return seconds >= 30 and degmin >= 0.2


def _finding(f: Finding) -> str:
    parts = [f'<div class="find"><h3>{esc(f.cause.title)}'
             f'{esc(" – " + f.step.title) if f.step is not None and f.cause.about_fold else ""}</h3>',
             f'<p>{esc(f.strength.capitalize())}; probability by the table {f.probability * 100:.0f} %.</p>',
             f'<div class="bar" aria-hidden="true"><i style="width:{100 * f.probability:.0f}%"></i></div>',
             f"<p>In the log: {esc(f.reading.sentence)}.</p>"]  # fmt: skip
    if f.symptoms:
        parts.append(f"<p>Explains: {esc('; '.join(knowledge.SYMPTOMS[s] for s in f.symptoms))}.</p>")
    parts.append(f"<p><b>Try:</b> {esc(f.change)}</p><p class=q>Source: {esc(f.cause.source)}.</p></div>")
    return "".join(parts)


_KEYS = (
    ("probe", '<path d="M0 6H34" stroke="#1d1d1b" stroke-width="2"/>'),
    ("bench", '<path d="M0 6H34" stroke="#6b6b66" stroke-width="1.5" stroke-dasharray="6 3"/>'),
    ("window", '<rect width="34" height="12" fill="#e4efe4" stroke="#8fb08f"/>'),
    ("too warm", '<path d="M0 12L12 0M8 12L20 0M16 12L28 0M24 12L34 2" stroke="#b26a00" stroke-width="1.8"/>'),
    ("too cold", '<path d="M0 0L12 12M8 0L20 12M16 0L28 12M24 0L34 10" stroke="#1f5fa8" stroke-width="1.8"/>'),
    ("no reading, or probe out of the dough",
     '<path d="M4 0V12M11 0V12M18 0V12M25 0V12M32 0V12" stroke="#9a9a94" stroke-width="1.5"/>'),
    ("core estimated where the probe was elsewhere, with its band",
     '<rect width="34" height="12" fill="#6b6b66" fill-opacity=".2"/>'
     '<path d="M0 6H34" stroke="#6b6b66" stroke-dasharray="1 3"/>'),
)  # fmt: skip


def _key() -> str:
    items = (f'<li><svg viewBox="0 0 34 12" aria-hidden="true">{shape}</svg>{word}</li>' for word, shape in _KEYS)
    return f'<ul class="key">{"".join(items)}</ul>'



def report_html(review: Review, estimates: bool = True) -> str:
    """Return the whole report; `estimates` adds the computed core where the probe was elsewhere (up to a second)."""
    acc = review.account
    batch, plan = acc.batch, acc.batch.plan
    begun = local(plan, batch.begun_at_s)
    out = [
        '<!doctype html><html lang="en"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width,initial-scale=1">',
        # Nothing may be fetched or run, whatever a log holds.
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">",
        f"<title>{esc(batch.name)} – batch {batch.id}</title><style>{_style()}</style></head><body>",
        f"<h1>{esc(batch.name)}</h1><p class=q>Batch {batch.id}, begun {esc(begun.strftime('%A %d %B %Y, %H:%M'))}, "
        f"wanted for {esc(clock_text(plan, plan.ready_at_s))}{esc(_slip(acc.slip_s))}. "
        f"Timer {esc(batch.board_id)}.</p>",
        f'<div class="cards"><section class="card"><h2>What the log says</h2><p>{esc(review.verdict)}</p></section>'
        f'<section class="card warm"><h2>One thing to change</h2><p>{esc(_one_change(review))}</p>'
        "</section></div>",
    ]
    if review.outcome.symptoms or review.outcome.rating or review.outcome.note:
        seen = "; ".join(knowledge.SYMPTOMS[s] for s in review.outcome.symptoms) or "no complaint"
        rating = f" Rating {review.outcome.rating} of 5." if review.outcome.rating else ""
        photo = f" Photo: {review.outcome.photo}" if review.outcome.photo else ""
        out.append(f"<p><b>What the cook saw:</b> {esc(seen)}.{esc(rating)} {esc(review.outcome.note)}{esc(photo)}</p>")
    out.append("<h2>Temperatures</h2>" + _key())
    spans = drawing.sittings(acc)
    cores = core.for_report(acc, spans) if estimates else {}
    for number, span in enumerate(spans, 1):
        day = local(plan, span.from_s).strftime("%A %d %B")
        same = local(plan, span.from_s).date() == local(plan, span.to_s).date()
        title = f"{day}, {clock_text(plan, span.from_s, False)} to {clock_text(plan, span.to_s, not same)}"
        picture = drawing.temperatures(acc, span, f"Temperatures, {title}", number, cores.get(number, ()))
        out.append(f'<h3>{esc(title)}</h3><div class="pic" tabindex="0" role="group" aria-label="{esc(title)}">'
                   f"{picture}</div>")  # fmt: skip
        steps = [s for s in acc.steps if s.from_s is not None and span.from_s <= s.from_s <= span.to_s]
        out.append(_figures(review, steps, f"The same in figures, {title}"))
        out += [f"<p class=q>{esc(_estimated(review, e))}</p>" for e in cores.get(number, ())]
    out.append("<h2>Timetable, planned and real</h2>"
               "<p class=q>Outlined: the plan. Filled: what happened (blue in the cold, amber a rest cut short or "
               'overdone, black the rest).</p><div class="pic" tabindex="0" role="group" aria-label="Timetable">'
               f"{drawing.timetable(acc, 900)}</div>")  # fmt: skip
    out.append(_planned_and_real(review))
    out.append("<h2>Findings</h2>")
    if not review.named:
        out.append(f"<p>{esc(review.verdict)}</p>")
    out += [_finding(f) for f in review.named]
    if review.possible:
        out.append("<h3>Less likely, but marked in the log</h3>")
        out += [_finding(f) for f in review.possible]
    if review.rivals:
        out.append(f"<p><b>Other causes the log cannot rule out:</b> {esc('; '.join(review.rivals))}.</p>")
    if review.missing:
        items = "".join(f"<li>{esc(m)}</li>" for m in review.missing)
        out.append(f"<section><h3>What this log cannot tell</h3><ul>{items}</ul></section>")
    if review.kitchen:
        items = "".join(f"<li>{esc(fact)}</li>" for fact in review.kitchen)
        out.append(f"<section><h3>The kitchen was not as the plan believed</h3><ul>{items}</ul>"
                   "<p class=q>Put it in the batch file, or let the plan learn it.</p></section>")  # fmt: skip
    out.append(_events(review))
    out.append(_inputs(review))
    out.append("<footer>The timer and this report advise; they are no food-safety instruments. For keeping times and "
               "temperatures of food that is sold or shared, local rules and qualified people decide.</footer>"
               "</body></html>")  # fmt: skip
    return "".join(out)


def _one_change(review: Review) -> str:
    if review.change:
        return review.change
    if review.outcome.symptoms or not review.enough_data:
        return "This log is not enough to name one; what it cannot tell stands below."
    return "Nothing; do it again."


def _estimated(review: Review, e: core.Estimate) -> str:
    """The estimate in words, for those who do not see the picture."""
    said = review.account.said
    return (
        f"Core of pâton {e.paton} estimated from {_clock(review, e.at_s[0])} to {_clock(review, e.at_s[-1])}: from "
        f"{said.degrees(e.middle_c[0])} to {said.tenths(e.middle_c[-1])}, nine times in ten between "
        f"{said.degrees(e.low_c.min())} and {said.tenths(e.high_c.max())}."
    )


def _slip(slip_s: float) -> str:
    if math.isnan(slip_s):
        return ""
    if abs(slip_s) < 120:
        return ", ready on time"
    return f", ready {lasting(slip_s)} late" if slip_s > 0 else f", ready {lasting(-slip_s)} early"


def _planned_and_real(review: Review) -> str:
    rows = []
    for s in review.account.steps:
        late = "–" if math.isnan(s.late_s) else f"{'+' if s.late_s >= 0 else ''}{lasting(round(s.late_s / 60) * 60)}"
        rows.append([s.title, plans.PLACE_WORDS[s.step.place], _clock(review, s.planned_from_s),
                     lasting(s.step.planned_for_s), _clock(review, s.from_s),
                     lasting(s.lasted_s), late,
                     _state(s)])  # fmt: skip
    head = ["Step", "Place", "Planned", "For", "Real", "For", "Late", "State"]
    return _table("Timetable in figures", head, rows, numbers=(6,), whole=(2, 3, 4, 5))


def _state(s: StepAccount) -> str:
    odd = {"early": " before its time", "override": " by a long press", "undone": ", once taken back"}
    words = STATE_WORDS[s.state] + odd.get(s.ended_by, f" by {s.ended_by}" if s.ended_by else "")
    return f"{words}, {s.rest_word}" if s.rest_word else words


def _events(review: Review) -> str:
    acc = review.account
    out = ["<h2>Alarms, bend tests, notes</h2>"]
    rows = []
    for a in acc.alarms:
        step = acc.step(a.step_id)
        word = spoken.ALARM_WORDS.get(a.kind, f"kind {a.kind}")
        rows.append([_clock(review, a.at_s), word, step.title if step else "–", _c(acc.said, a.cdeg), a.answer])
    rows = rows[:200]
    if rows:
        out.append(_table("Alarms", ["At", "What", "Step", "Reading", "Answer"], rows))
    bends = [[_clock(review, at), _c(acc.said, cdeg), VERDICT_WORDS.get(v, "?")] for at, cdeg, v in acc.bends]
    if bends:
        out.append(_table("Bend tests", ["At", "Butter", "Verdict"], bends))
    notes = [[_clock(review, at), text] for at, text in acc.notes]
    if notes:
        out.append(_table("Notes", ["At", "Note"], notes))
    if len(out) == 1:
        out.append("<p>None.</p>")
    return "".join(out)


def _inputs(review: Review) -> str:
    plan, said = review.account.batch.plan, review.account.said

    def deg(cdeg: int) -> str:
        return _c(said, cdeg)

    rows = [
        ["butter window", f"{deg(plan.butter_low_cdeg)} to {deg(plan.butter_high_cdeg)}"],
        ["butter breaks below / is absorbed above", f"{deg(plan.butter_brittle_cdeg)} / {deg(plan.butter_stop_cdeg)}"],
        ["proof cap", deg(plan.proof_cap_cdeg)],
        ["room, humidity", f"{deg(plan.room_cdeg)}, {plan.room_rh_pct} %"],
        ["fridge / freezer", f"{deg(plan.fridge_cdeg)} / {deg(plan.freezer_cdeg)}"],
        ["proof space", deg(plan.proof_cdeg)],
        ["bench", f"{said.thickness(plan.bench_um / 1e6)}, effusivity {said.effusivity(plan.bench_effusivity)}"],
        ["folds", ", ".join(f"{s.fold}-fold" for s in plan.steps if s.kind == plans.FOLD and s.paton <= 1) or "none"],
    ]
    out = ["<h2>Inputs</h2>", _table("What the plan counted on", ["What", "Value"], rows)]
    if review.account.batch.batch_text:
        text = esc(review.account.batch.batch_text)
        out.append(f"<details><summary>Batch file as written</summary><pre>{text}</pre></details>")
    return "".join(out)
