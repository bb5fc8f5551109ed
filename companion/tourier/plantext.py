"""A plan in lines of plain text: formula, sheets, cuts, timetable. Command line and desk application share them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from tourier.columns import table
from tourier.voice import Voice, span

if TYPE_CHECKING:
    from tourier.batch.model import Workup
    from tourier.dayplan.model import DayPlan


def formula_lines(work: Workup) -> list[str]:
    """Return the scaled formula, the block and the water."""
    said = work.spec.voice
    rows = [["ingredient", "weight", "% of flour"]]
    rows += [[line.name, said.mass(line.g), f"{line.percent_of_flour:.1f}"] for line in work.lines]
    rows.append(["détrempe", said.mass(round(work.dough_g)), ""])
    rows.append(["butter for the block", said.mass(round(work.butter_block_g)), f"{work.roll_in_percent_of_flour:.1f}"])
    lines = table(rows, frozenset({1, 2}))
    lines.append(
        f"Roll-in: {work.roll_in_percent_of_dough:.1f} % of dough, {work.roll_in_percent_of_flour:.1f} % of flour."
    )
    lines += paton_lines(work)
    if work.water_temp_c is not None:
        name = f"{work.water_name[:1].upper()}{work.water_name[1:]}"
        dough = said.temperature(work.spec.dough_temp_c)
        line = f"{name} at {said.temperature(work.water_temp_c)} for dough at {dough}."
        if ice := work.ice_text:
            tap = said.temperature(work.spec.kitchen.tap_c)
            line = f"Water from the tap, {tap}, with {ice} of it as ice, for dough at {dough}."
        if work.water_rule_c is not None:
            rule = said.temperature(work.water_rule_c)
            line += f" Every ingredient counts at its own temperature; the three-factor rule of thumb says {rule}."
        lines.append(line)
    return lines


def paton_lines(work: Workup) -> list[str]:
    """Return how dough and butter are shared out; nothing for a single pâton."""
    if len(work.patons_g) < 2:
        return []
    mass = work.spec.voice.mass
    shares = [(p["dough_g"], p["butter_g"]) for p in work.patons_g]
    if len(set(shares)) == 1:
        dough, butter = shares[0]
        return [f"Each of {len(shares)} pâtons: {mass(dough)} of dough, a butter block of {mass(butter)}."]
    return [
        f"Pâton {p['paton']}: {mass(p['dough_g'])} of dough, a butter block of {mass(p['butter_g'])}."
        for p in work.patons_g
    ]


def sheet_lines(work: Workup) -> list[str]:
    """Return sizes and layers stage by stage, once for pâtons that are alike."""
    lines: list[str] = []
    said = work.spec.voice
    groups = _alike(work, lambda n: [replace(stage, paton=0) for stage in work.stages if stage.paton == n])
    for patons, stages in groups:
        if len(groups) > 1:
            lines.append(_patons(patons))
        rows = [["stage", "length", "width", "thick", "fat layers", "one fat layer"]]
        for stage in stages:
            fat = said.layer(stage.fat_layer_m) if stage.fat_layer_m else ""
            rows.append([
                stage.step, said.length(stage.length_m), said.length(stage.width_m),
                said.thickness(stage.thickness_m), str(stage.fat_layers or ""), fat,
            ])  # fmt: skip
        lines += table(rows, frozenset({1, 2, 3, 4, 5}))
    return lines


def cut_lines(work: Workup, columns: int = 64) -> list[str]:
    """Return cut map (so many columns wide) and ruler marks, once for pâtons that are alike."""
    from tourier.craft import cutmap

    lines: list[str] = []
    groups = _alike(work, lambda n: _sheet(work, n)["layout"])
    for patons, layout in groups:
        if layout is None:
            continue
        sheet, way = _sheet(work, patons[0]), "across" if layout.across_bench else "along"
        said = work.spec.voice
        size, edge = said.size(layout.length_m, layout.width_m), said.rolled(sheet["edge_m"])
        lines += [
            f"{_patons(patons)}: trim {edge} off every edge; {size} is left. "
            f"Strips run {way} the bench.",
            *cutmap.cells(layout, columns), *cutmap.legend(layout),
            "Capitals and small letters only tell neighbours apart; a dot is offcut. The near edge is at the bottom.",
            *mark_lines(work, patons[0]), "",
        ]  # fmt: skip
    if not lines:
        return ["Nothing is cut."]
    return [*lines, f"Offcut {work.cuts['offcut_percent']:.1f} % of the rolled sheet, trimmed edges included."]


def cut_map_svg(work: Workup) -> str:
    """Return the cut maps of all pâtons as one drawing, once for pâtons that are alike, marks in the cook's unit."""
    from tourier.craft import cutmap

    groups = _alike(work, lambda n: (_sheet(work, n)["layout"], _sheet(work, n)["edge_m"]))
    sheets = [
        (_patons(patons) if work.patons > 1 else "", layout, edge_m)
        for patons, (layout, edge_m) in groups if layout is not None
    ]  # fmt: skip
    title = f"Cut map: {work.spec.name}"
    said = work.spec.voice
    return cutmap.sheets_svg(sheets, said.mark_figure, said.mark, title)


def mark_figures(work: Workup, paton: int, said: Voice | None = None) -> list[tuple[str, list[str]]]:
    """Return one pâton's ruler marks as (where, figures in the cook's unit), in the order a cook walks the ruler.

    Strips and edges that take the same marks are named together.
    """
    index = next(i for i, sheet in enumerate(work.cuts["sheets"]) if sheet["paton"] == paton)
    groups: dict[tuple, list[dict]] = {}
    for mark in work.cuts["marks_mm"][index]:
        groups.setdefault((mark["edge"] == "slit", *mark["at"]), []).append(mark)
    found = []
    for (_, *at), same in groups.items():
        found.append((_where(same), [(said or work.spec.voice).mark_figure(mm / 1000) for mm in at]))
    return found


def _where(marks: list[dict]) -> str:
    """Name the edges that take the same ruler marks, strips together where both their edges do."""
    if marks[0]["edge"] == "slit":
        return "long cuts"
    edges: dict[int, list[str]] = {}
    for mark in marks:
        edges.setdefault(int(mark["strip"]), []).append(str(mark["edge"]))
    said: dict[str, list[int]] = {}
    for strip, own in edges.items():
        said.setdefault("both edges" if len(own) > 1 else f"{own[0]} edge", []).append(strip)
    return "; ".join(f"strip{'s' if len(n) > 1 else ''} {_numbers(n)}, {edge}" for edge, n in said.items())


def _numbers(numbers: list[int]) -> str:
    """Return "1", "1 and 3", "1 to 4", "1, 3 and 5"."""
    if len(numbers) > 2 and numbers[-1] - numbers[0] == len(numbers) - 1:
        return f"{numbers[0]} to {numbers[-1]}"
    return " and ".join(x for x in (", ".join(map(str, numbers[:-1])), str(numbers[-1])) if x)


def mark_lines(work: Workup, paton: int) -> list[str]:
    """Return one pâton's ruler marks in the cook's unit, or in both where the batch file asks for both."""
    lines = ["Marks, from the left end of the trimmed sheet; long cuts from its near edge:"]
    for said in work.spec.rulers:
        lines += [f"  {where}, {said.mark}: {'  '.join(figures)}" for where, figures in mark_figures(work, paton, said)]
    return lines


def _sheet(work: Workup, paton: int) -> dict:
    return next(sheet for sheet in work.cuts["sheets"] if sheet["paton"] == paton)


def _alike(work: Workup, what: Callable[[int], Any]) -> list[tuple[list[int], Any]]:
    """Return ([pâton, ...], what they have in common) in the order of the pâtons."""
    groups: list[tuple[list[int], Any]] = []
    for paton in sorted({stage.paton for stage in work.stages}):
        own = what(paton)
        for patons, common in groups:
            if common == own:
                patons.append(paton)
                break
        else:
            groups.append(([paton], own))
    return groups


def _patons(patons: list[int]) -> str:
    names = " and ".join([", ".join(map(str, patons[:-1])), str(patons[-1])]) if len(patons) > 1 else str(patons[0])
    return f"Pâton {names}" if len(patons) == 1 else f"Pâtons {names}"


def timetable_lines(day: DayPlan) -> list[str]:
    """Return the steps by the clock: start, end, hands-on, time to spare, place."""
    from shared_schedule import plan as wire

    rows = [["start", "end", "hands on", "to spare", "step", "where"]]
    many = day.numbers_patons
    for step in day.steps:
        process = step.process
        paton = f", pâton {process.paton}" if many and process.paton else ""
        hands = span(process.attended_s // 60 * 60) if process.attended_s else ""
        rows.append([
            step.start.strftime("%a %H:%M"), step.end.strftime("%a %H:%M"), hands, span(step.slack_s // 60 * 60),
            process.name + paton, wire.PLACE_WORDS[process.place],
        ])  # fmt: skip
    return table(rows, frozenset({2, 3}))


def rise_lines(day: DayPlan) -> list[str]:
    """Return what each load has risen by when it is baked, in percent of a whole proof; nothing for puff."""
    rows = []
    for own in day.rises:
        for load in own:
            rows.append([load.name, _percent(load.bulk), _percent(load.lamination), _percent(load.nights),
                         f"{100 * (load.cold + load.proof):.0f}", f"{100 * load.wait:.0f}", f"{100 * load.dose:.0f}"])
    if not rows:
        return []
    head = ["of a proof, in %", "bulk", "lamination", "nights", "proof", "wait", "proof and wait"]
    doubt = "How fast yeast works in the cold is little known, so what comes before the proof stands as a span."
    return [*table([head, *rows], frozenset(range(1, 7))), doubt]


def _percent(share: tuple[float, float, float]) -> str:
    low, high = (round(100 * x) for x in (share[0], share[2]))
    return f"{low} to {high}" if high > low else f"{low}" if high else ""
