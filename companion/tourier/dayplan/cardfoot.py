"""The foot of the bench card: what to weigh, folds to tick with their layers, ruler marks of every sheet."""

from __future__ import annotations

from shared_schedule import plan as wire
from tourier.batch.model import Workup
from tourier.dayplan.cardsize import Part
from tourier.dayplan.model import DayPlan
from tourier.plantext import mark_figures

Line = tuple[tuple[str, str], ...]


def weigh(plan: DayPlan) -> Part | None:
    """Ingredients and butter blocks of at most two batches; None when there is nothing to weigh."""
    lines: list[Line] = []
    for job in plan.jobs[:2]:
        if job.workup.lines:
            mass = plan.spec.voice.mass
            lines += [(("box", line.name), ("b", mass(line.g))) for line in job.workup.lines]
            lines += _blocks(job.workup)
    return Part("Weigh", tuple(lines)) if lines else None


def _blocks(work: Workup) -> list[Line]:
    """The butter blocks to be made, each with its own mass."""
    each, said = [p["butter_g"] for p in work.patons_g], work.spec.voice
    if len(each) < 2:
        return [(("box", "butter block"), ("b", said.mass(round(work.butter_block_g))))]
    if len(set(each)) == 1:
        return [(("box", f"{len(each)} butter blocks of"), ("b", said.mass(round(each[0]))))]
    return [
        (("box", f"butter block, pâton {p['paton']}"), ("b", said.mass(round(p["butter_g"])))) for p in work.patons_g
    ]


def folds(plan: DayPlan) -> Part:
    """One line a fold: a box for each pâton, and the fat layers it leaves."""
    found = [s.process for s in plan.steps if s.process.kind == wire.FOLD]
    patons = sorted({p.paton for p in found})
    layers = [row["fat"] for row in plan.workup.layers if row["after"] != "lock-in"]
    lines: list[Line] = []
    for n in sorted({p.fold_n for p in found}):
        same = [p for p in found if p.fold_n == n]
        boxes = tuple(("box", str(p) if len(patons) > 1 else "") for p in patons if any(f.paton == p for f in same))
        fat = layers[n - 1] if 0 < n <= len(layers) else same[0].layers
        said = ("", f"{fat} fat layer{'' if fat == 1 else 's'}")
        lines.append((*boxes, ("b", f"{n} ({same[0].fold}-fold)"), said))
    return Part("Folds done" + (", by pâton" if len(patons) > 1 else ""), tuple(lines))


def marks(plan: DayPlan) -> list[Part]:
    """Ruler marks, once for sheets that are alike, in cm or in inches to the nearest 1/16."""
    work, unit = plan.workup, plan.spec.voice.mark
    groups: list[tuple[list[int], list[Line]]] = []
    for sheet in work.cuts.get("sheets") or []:
        if sheet["layout"] is None:
            continue
        lines = _sheet_marks(work, sheet)
        for patons, common in groups:
            if common == lines:
                patons.append(sheet["paton"])
                break
        else:
            groups.append(([sheet["paton"]], lines))
    parts = []
    for patons, lines in groups:
        whose = "" if work.patons < 2 or len(groups) < 2 else f", pâton {' and '.join(map(str, patons))}"
        parts.append(Part(f"Ruler marks, {unit}{whose or (', every sheet' if work.patons > 1 else '')}", tuple(lines)))
    return parts


def _sheet_marks(work: Workup, sheet: dict) -> list[Line]:
    edge = work.spec.voice.rolled(sheet["edge_m"])
    way = "across" if sheet["layout"].across_bench else "along"
    lines: list[Line] = [(("", f"trim {edge} all round; strips run {way} the bench"),)]
    for where, figures in mark_figures(work, sheet["paton"]):
        lines.append((("", f"{where}:"), ("b", ", ".join(f.replace(" ", "\xa0") for f in figures))))
    return lines
