"""The sheets of a pâton drawn to one scale in terminal cells, stage by stage; creases where the sheet is folded."""

from __future__ import annotations

import re
import textwrap

from tourier.batch.model import SheetStage, Workup
from tourier.voice import Voice

_CELL = 2.0  # a terminal cell is about twice as high as wide
_FOLD = re.compile(r"fold (\d+) rolled")


def sheet_picture(work: Workup, columns: int, paton: int = 1) -> list[str]:
    """Return the lines: every stage of one pâton as a box, all to one scale that fits `columns` (at least 30)."""
    stages = [stage for stage in work.stages if stage.paton == paton]
    if not stages:
        return []
    columns = max(30, columns)
    longest = max(stage.length_m for stage in stages)
    # A rolled sheet stands beside what it is folded to, so the two together must fit.
    pairs = _pairs(stages)
    widest = max(sum(stage.length_m for stage in pair) for pair in pairs)
    gaps = max(len(pair) for pair in pairs) * 5
    scale = min((columns - gaps) / widest, (columns - 4) / longest, 80.0)  # columns a metre
    lines = [f"One column is {work.spec.voice.length(1 / scale)}; the rolling pin goes along the lines.", ""]
    for pair in pairs:
        lines += [*_row(pair, work, scale, columns), ""]
    return lines


def _pairs(stages: list[SheetStage]) -> list[list[SheetStage]]:
    """Group stages that belong beside each other: the start, then rolled and folded, then the final sheet."""
    rows: list[list[SheetStage]] = [[]]
    for stage in stages:
        if _FOLD.match(stage.step) or stage.step in ("dough sheet", "final sheet"):
            rows.append([])
        rows[-1].append(stage)
    return [row for row in rows if row]


def _row(stages: list[SheetStage], work: Workup, scale: float, columns: int) -> list[str]:
    boxes = [_box(stage, work, scale) for stage in stages]
    height = max(len(box) for box in boxes)
    blank = [box + [" " * len(box[0])] * (height - len(box)) for box in boxes]
    joins = [" -> ", *["    "] * (height - 1)]
    drawn = [join.join(cells) for join, cells in zip(joins, zip(*blank, strict=True), strict=True)]
    words = [caption(stage, work.spec.voice) for stage in stages]
    told = [part for line in words for part in textwrap.wrap(line, columns, subsequent_indent="  ")]
    return [*told, *(line.rstrip() for line in drawn)]


def caption(stage: SheetStage, said: Voice) -> str:
    """Return 'fold 1 rolled: 63.6 x 21.2 cm, 8.1 mm, 1 fat layer of 2.7 mm'."""
    text = f"{stage.step}: {said.size(stage.length_m, stage.width_m)}, {said.thickness(stage.thickness_m)}"
    if not stage.fat_layers:
        return text
    layers = "1 fat layer" if stage.fat_layers == 1 else f"{stage.fat_layers} fat layers"
    return f"{text}, {layers} of {said.layer(stage.fat_layer_m)}"


def _box(stage: SheetStage, work: Workup, scale: float) -> list[str]:
    width = max(4, round(stage.length_m * scale))
    height = max(3, round(stage.width_m * scale / _CELL))
    creases = _creases(stage, work, width)
    fill = {"butter block": "▒", "lock-in": "▒"}.get(stage.step, " ")
    top = "┌" + "─" * (width - 2) + "┐"
    middle = "│" + "".join("┊" if column in creases else fill for column in range(1, width - 1)) + "│"
    rows = [middle] * (height - 2)
    # Dough springs back, so it is rolled longer than it rests.
    words = f" roll to {work.spec.voice.length(stage.roll_to_m)} "
    if stage.roll_to_m > stage.length_m and len(words) <= width - 2:
        at = (width - len(words)) // 2
        rows[len(rows) // 2] = middle[:at] + words + middle[at + len(words) :]
    return [top, *rows, "└" + "─" * (width - 2) + "┘"]


def _creases(stage: SheetStage, work: Workup, width: int) -> set[int]:
    found = _FOLD.match(stage.step)
    if not found:
        return set()
    fold = work.spec.folds.folds[int(found.group(1)) - 1]
    return {round(width * part / fold) for part in range(1, fold)}
