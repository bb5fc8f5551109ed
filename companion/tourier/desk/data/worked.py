"""What the right side of the batch room says: pages of plain lines from a worked-out batch. Called in a thread."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tourier.batch.model import Workup
    from tourier.dayplan.model import DayPlan
    from tourier.design import Design

PAGES = (
    ("sheets", "Sheets"), ("cuts", "Cuts"), ("masses", "Weights"), ("times", "Timetable"), ("mind", "Warnings"),
)  # fmt: skip
_LABEL = 11  # "Sat 13 Mar "
_MINUTES = (15, 20, 30, 60)  # of a cell


def page(name: str, workup: Workup, planned: Design | None, columns: int) -> list[str]:
    """Return the lines of a page; `planned` None: the timetable is not there yet."""
    if name == "sheets":
        return sheets(workup, columns)
    if name == "cuts":
        return cuts(workup, columns)
    if name == "masses":
        return [line for text in masses(workup) for line in _wrapped(text, columns)]
    if name == "times":
        return times(planned, columns)
    return mind(workup, planned, columns)


def sheets(workup: Workup, columns: int) -> list[str]:
    """Every sheet to scale, then the layers by count."""
    from tourier.columns import table
    from tourier.picture.sheets import sheet_picture

    first = "the first one is drawn; Cuts has them all" if _differ(workup) else "all alike"
    alike = [f"{workup.patons} pâtons, {first}."] if workup.patons > 1 else []
    rows = [["after", "fat layers", "dough layers", "layers", "folds multiplied out"]]
    rows += [[r["after"], str(r["fat"]), str(r["dough"]), str(r["total"]), str(r["naive"])] for r in workup.layers]
    lines = sheet_picture(workup, columns)
    return [*alike, *lines, *table(rows, frozenset({1, 2, 3, 4})),
            "Dough meets dough where a fold closes, so layers are fewer than folds multiplied out."]  # fmt: skip


def _differ(workup: Workup) -> bool:
    """Whether the sheets of the pâtons differ by more than a millimetre."""

    def sizes(paton: int) -> list[tuple[float, ...]]:
        own = [stage for stage in workup.stages if stage.paton == paton]
        return [tuple(round(metres, 3) for metres in (one.length_m, one.width_m, one.thickness_m)) for one in own]

    return any(sizes(paton) != sizes(1) for paton in range(2, workup.patons + 1))


def cuts(workup: Workup, columns: int) -> list[str]:
    """The cut map of each different sheet with its ruler marks, as the command line prints it."""
    from tourier.plantext import cut_lines

    return [line for text in cut_lines(workup, max(16, min(columns - 2, 100))) for line in _wrapped(text, columns)]


def _wrapped(text: str, columns: int) -> list[str]:
    """Fold a long line; what follows stands under it."""
    import textwrap

    if len(text) <= columns:
        return [text]
    indent = " " * (len(text) - len(text.lstrip()))
    return textwrap.wrap(text, max(30, columns), subsequent_indent=indent + "  ", break_on_hyphens=False)


def masses(workup: Workup) -> list[str]:
    """The formula, the block, the water, and where all of it goes."""
    from tourier.plantext import formula_lines

    said, block = workup.spec.voice, workup.block

    def mass(g: float) -> str:
        return said.mass(round(g))

    total = workup.dough_g + workup.butter_block_g
    pieces = sum(piece["cut"] * piece["piece_g"] for piece in workup.cuts["pieces"])
    lines = formula_lines(workup)
    each = f", one for each of {workup.patons} pâtons" if workup.patons > 1 else ""
    lines += [
        "",
        f"Butter block{each}: {said.size(block['length_m'], block['width_m'])}, "
        f"{said.thickness(block['thickness_m'])}, {mass(block['mass_kg'] * 1000)}; {block['lock_in']}.",
        "",
        f"Détrempe {mass(workup.dough_g)} + butter {mass(workup.butter_block_g)} = {mass(total)}.",
    ]
    for piece in workup.cuts["pieces"]:
        frozen = f", {piece['freeze']} of them frozen raw" if piece["freeze"] else ""
        lines.append(f"  {piece['cut']} x {piece['name']} of {mass(piece['piece_g'])}{frozen}")
    lines.append(f"  pieces {mass(pieces)}; trim, offcut and scraps {mass(total - pieces)} "
                 f"({(total - pieces) / total * 100:.1f} %)")  # fmt: skip
    return lines


def times(planned: Design | None, columns: int) -> list[str]:
    """The days with their nights, the timetable over the hours, then by the clock."""
    if planned is None:
        return ["The timetable is being looked for."]
    from tourier.dayplan.draw import timeline
    from tourier.plantext import timetable_lines

    return [*day_rows(planned.day, columns), "", *timeline(planned.day, max(60, columns)), "",
            *timetable_lines(planned.day)]  # fmt: skip


def day_rows(day: DayPlan, columns: int) -> list[str]:
    """Return a scale and a line a day from midnight: hands-on work shows before sleep, sleep before what runs alone."""
    from shared_schedule import plan as wire
    from tourier.dayplan.draw import AWAY, COLD, HANDS, HEAT, RESTS, SLEEP
    from tourier.dayplan.hours import zone_of
    from tourier.dayplan.model import from_at_s

    fills = {wire.FRIDGE: COLD, wire.FREEZER: COLD, wire.OVEN: HEAT}
    minutes = next((m for m in _MINUTES if _LABEL + 24 * 60 // m <= columns), _MINUTES[-1])
    cells = 24 * 60 // minutes
    zone = zone_of(day.zone)
    # What lies later in the list is drawn over what lies before.
    spans = [(one.start, one.end, fills.get(one.process.place, RESTS)) for one in day.steps if one.end > one.hands_off]
    spans += [(from_at_s(one.from_s), from_at_s(one.to_s), SLEEP if one.why == "sleep" else AWAY) for one in day.away]
    spans += [(one.start, one.hands_off, HANDS) for one in day.steps if one.hands_off > one.start]
    first = min(one.start for one in day.steps).astimezone(zone).date()
    last = max(one.end for one in day.steps).astimezone(zone).date()
    hour = 60 // minutes
    every = 3 if hour >= 2 else 6
    scale = "".join(f"{at:02d}".ljust(hour * every) for at in range(0, 24, every))
    lines = [" " * _LABEL + scale.rstrip()]
    while first <= last:
        midnight = datetime(first.year, first.month, first.day, tzinfo=zone)
        begins = [midnight + timedelta(minutes=minutes * cell) for cell in range(cells + 1)]  # wall-clock hours
        row = [" "] * cells
        for start, end, fill in spans:
            for cell in range(cells):
                if start < begins[cell + 1] and begins[cell] < end:
                    row[cell] = fill
        lines.append(f"{midnight:%a %d %b} ".ljust(_LABEL) + "".join(row).rstrip())
        first += timedelta(days=1)
    return lines


def mind(workup: Workup, planned: Design | None, columns: int) -> list[str]:
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
        if planned.known.values:
            from tourier import known

            learned = known.lines(planned.known.values, workup.spec.voice)
            lines += ["", "Learned from your batches and used here:", *learned]
    lines += ["", "The timer advises; it is no food-safety instrument. Keep to your local rules for eggs, milk and",
              "holding times, and ask a qualified person where they are at stake."]  # fmt: skip
    return lines if minded(workup, planned) or len(lines) > 3 else ["No warnings.", *lines]


def minded(workup: Workup, planned: Design | None) -> bool:
    """Whether there is a warning."""
    return bool(workup.warnings or (planned is not None and planned.day.warnings))


def figures(workup: Workup, columns: int) -> str:
    """The one line that is always in view: of three wordings the longest that fits so many columns."""
    said, block = workup.spec.voice, workup.block
    water = "" if workup.water_temp_c is None else f"  {workup.water_name} {said.temperature(workup.water_temp_c)}"
    if workup.ice_text:
        water = f"  tap water, {workup.ice_text} of it ice"
    pieces = sum(piece["cut"] for piece in workup.cuts["pieces"])
    patons = f"{workup.patons} pâton{'s' if workup.patons > 1 else ''}"
    middle = (
        f"block {said.size(block['length_m'], block['width_m'])}, {said.rolled(block['thickness_m'])}{water}"
    )
    dough = f"dough {said.weight(round(workup.dough_g))}"
    butter = f"butter {said.weight(round(workup.butter_block_g))}"
    return _longest(
        columns,
        f"{pieces} pieces, {patons}  {middle}  {dough}, {butter}",
        f"{patons}  {middle}  {dough}, {butter}",
        f"{middle}  {butter}",
    )


def hour_line(planned: Design, columns: int) -> str:
    """Begin, ready beside the hour asked for, chance; where that is too long, without the hour's own sentence."""
    from tourier.dayplan.words import asked_words, chance_words

    day = planned.day
    chance = f"; {sure}" if (sure := chance_words(day)) else ""
    begins = f"Begins {day.steps[0].start:%a %H:%M}, ready {day.planned_at:%a %H:%M}"
    return _longest(columns, f"{begins}{asked_words(day)}{chance}", f"{begins}{chance}")


def _longest(columns: int, *wordings: str) -> str:
    """Return the first wording (longest first) that fits; the last when none does."""
    return next((one for one in wordings if len(one) <= columns), wordings[-1])
