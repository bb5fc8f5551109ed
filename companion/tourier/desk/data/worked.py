"""What the right side of the batch room says: pages of plain lines from a worked-out batch. Called in a thread."""

from __future__ import annotations

from typing import Any

PAGES = (
    ("sheets", "Sheets"), ("cuts", "Cuts"), ("masses", "Masses"), ("times", "Timetable"), ("mind", "Mind"),
)  # fmt: skip


def page(name: str, workup: Any, planned: Any, columns: int) -> list[str]:
    """Return the lines of a page; `planned` None: the timetable is not there yet."""
    if name == "sheets":
        return sheets(workup, columns)
    if name == "cuts":
        return cuts(workup, columns)
    if name == "masses":
        return masses(workup)
    if name == "times":
        return times(planned, columns)
    return mind(workup, planned, columns)


def sheets(workup: Any, columns: int) -> list[str]:
    """Every sheet to scale, then the layers by count."""
    from tourier.columns import table
    from tourier.picture.sheets import sheet_picture

    alike = [f"{workup.patons} pâtons; the first one is drawn."] if workup.patons > 1 else []
    rows = [["after", "fat layers", "dough layers", "layers", "naive count"]]
    rows += [[r["after"], str(r["fat"]), str(r["dough"]), str(r["total"]), str(r["naive"])] for r in workup.layers]
    lines = sheet_picture(workup, columns)
    return [*alike, *lines, *table(rows, frozenset({1, 2, 3, 4})),
            "Dough meets dough where a fold closes, so layers are fewer than the naive product."]  # fmt: skip


def cuts(workup: Any, columns: int) -> list[str]:
    """The cut map of each different sheet with its ruler marks."""
    from tourier.craft import cutmap

    lines: list[str] = []
    drawn: list[tuple] = []
    inch = workup.spec.units == "inch"
    for number, sheet in enumerate(workup.cuts["sheets"]):
        layout = sheet["layout"]
        if layout is None:
            continue
        like = (layout.counts, round(layout.length_m, 3), round(layout.width_m, 3))
        if like in drawn:
            lines += [f"Pâton {sheet['paton']}: as pâton {drawn.index(like) + 1}.", ""]
            drawn.append(like)
            continue
        drawn.append(like)
        way = "across the bench" if layout.across_bench else "along the bench"
        lines += [
            f"Pâton {sheet['paton']}: trimmed sheet {layout.length_m * 100:.1f} x {layout.width_m * 100:.1f} cm, "
            f"strips {way}; trim {sheet['edge_m'] * 1000:.0f} mm off each edge",
            *cutmap.cells(layout, max(16, min(columns - 2, 100))), *cutmap.legend(layout), "",
            "Ruler marks from the left edge, " + ("in 1/16 inch" if inch else "in mm") + ":",
        ]  # fmt: skip
        marks = workup.cuts["marks_inch" if inch else "marks_mm"][number]
        for mark in marks:
            where = "slit at" if mark["edge"] == "slit" else f"strip {mark['strip']}, {mark['edge']} edge"
            at = mark.get("at") or mark.get("at_16") or []
            lines.append(f"  {where:18} " + "  ".join(f"{value:g}" for value in at))
        lines.append("")
    if not lines:
        return ["Nothing is cut."]
    lines.append(f"Offcut {workup.cuts['offcut_percent']:.1f} % of the rolled sheet, trimmed edges included.")
    return lines


def masses(workup: Any) -> list[str]:
    """The formula, the block, the water, and where all of it goes."""
    from tourier.plantext import formula_lines
    from tourier.quantities import length_text

    inch = workup.spec.units == "inch"
    unit = "in" if inch else "cm"
    block = workup.block
    total = workup.dough_g + workup.butter_block_g
    pieces = sum(piece["cut"] * piece["piece_g"] for piece in workup.cuts["pieces"])
    lines = formula_lines(workup, inch)
    lines += [
        "",
        f"Butter block, one for each of {workup.patons} pâton(s): {length_text(block['length_m'], unit)} x "
        f"{length_text(block['width_m'], unit)}, {block['thickness_m'] * 1000:.1f} mm, "
        f"{block['mass_kg'] * 1000:.0f} g; {block['lock_in']}.",
        "",
        f"Détrempe {workup.dough_g:.0f} g + butter {workup.butter_block_g:.0f} g = {total:.0f} g.",
    ]
    for piece in workup.cuts["pieces"]:
        frozen = f", {piece['freeze']} of them frozen raw" if piece["freeze"] else ""
        lines.append(f"  {piece['cut']} x {piece['name']} of {piece['piece_g']:.0f} g{frozen}")
    lines.append(f"  pieces {pieces:.0f} g; trim, offcut and scraps {total - pieces:.0f} g "
                 f"({(total - pieces) / total * 100:.1f} %)")  # fmt: skip
    return lines


def times(planned: Any, columns: int) -> list[str]:
    """The timetable over the hours, then by the clock."""
    if planned is None:
        return ["The timetable is being looked for."]
    from tourier.dayplan.draw import timeline
    from tourier.plantext import timetable_lines

    return [*timeline(planned.day, max(60, columns)), "", *timetable_lines(planned.day)]


def mind(workup: Any, planned: Any, columns: int) -> list[str]:
    """Warnings with their reasons, and what was learned of this kitchen."""
    import textwrap

    lines: list[str] = []

    def say(text: str, why: str = "") -> None:
        lines.extend(textwrap.wrap("! " + text, max(20, columns), subsequent_indent="  "))
        if why:
            lines.extend(textwrap.wrap(f"why: {why}", max(20, columns - 2), initial_indent="  ",
                                       subsequent_indent="  "))  # fmt: skip

    for warning in workup.warnings:
        say(warning.text, warning.why)
    if planned is not None:
        for text in planned.day.warnings:
            say(text)
        if planned.taught:
            from tourier.planning import taught_lines

            lines += ["", "Learned from your batches and used here:", *taught_lines(planned.taught)]
    lines += ["", "The timer advises; it is no food-safety instrument. Keep to your local rules for eggs, milk and",
              "holding times, and ask a qualified person where they are at stake."]  # fmt: skip
    return lines if len(lines) > 3 else ["Nothing to mind.", *lines]


def figures(workup: Any) -> str:
    """The one line that is always in view."""
    from tourier.quantities import length_text

    unit = "in" if workup.spec.units == "inch" else "cm"
    block = workup.block
    water = "" if workup.water_temp_c is None else f"  water {workup.water_temp_c:.0f} °C"
    if workup.ice_g >= 1:
        water += f" + {workup.ice_g:.0f} g ice"
    pieces = sum(piece["cut"] for piece in workup.cuts["pieces"])
    return (
        f"{pieces} pieces  {workup.patons} pâton(s)  block {length_text(block['length_m'], unit)} x "
        f"{length_text(block['width_m'], unit)}, {block['thickness_m'] * 1000:.0f} mm{water}  "
        f"dough {workup.dough_g:.0f} g  butter {workup.butter_block_g:.0f} g"
    )


def hour_line(planned: Any) -> str:
    """Ready, begin, chance."""
    day = planned.day
    chance = "" if day.chance is None else f", {round(day.chance.ready_by * 100)} % sure"
    return f"Ready {day.ready_at:%a %d %b %H:%M}{chance}; begins {day.steps[0].start:%a %H:%M}"
