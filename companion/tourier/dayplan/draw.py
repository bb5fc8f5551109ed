"""The timetable as plain text: one line a step, bars over the hours, sleep and away shaded. No colour codes."""

from __future__ import annotations

import unicodedata
from datetime import datetime, timedelta
from textwrap import wrap

from shared_schedule import plan as wire
from tourier.dayplan.hours import zone_of
from tourier.dayplan.model import DayPlan, PlannedStep, from_at_s
from tourier.dayplan.words import chance_words, ready_words
from tourier.voice import span

HANDS, RESTS, COLD, HEAT = "#", "=", "-", "+"
SLEEP, AWAY = ":", "."
LEGEND = f"{HANDS} hands-on   {RESTS} rest   {COLD} cold   {HEAT} oven   {SLEEP} sleep   {AWAY} away"


def timeline(plan: DayPlan, width: int = 80, now: datetime | None = None) -> list[str]:
    """Return the lines of the timeline, none longer than `width` (at least 60); one block for every stretch of work.

    Long quiet stretches (a night) are not drawn at scale: the timeline breaks there, and says for how long.
    """
    width = max(60, width)
    lines = [clean(plan.name)[: width - 1], *wrap(ready_words(plan), width - 1), *wrap(_summary(plan), width - 1)]
    for block in _blocks(plan):
        lines += ["", *_block(plan, block, width, now)]
    lines += ["", LEGEND[:width]]
    return [line.rstrip() for line in lines]


def clean(text: str) -> str:
    """Return text with control and unprintable characters taken out."""
    return "".join(c if c.isprintable() else " " for c in text)


def cells(text: str) -> int:
    """Return how many terminal cells text takes."""
    return sum(0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)


def fit(text: str, width: int) -> str:
    """Return text cut (and then ended by "…") or padded to a number of terminal cells."""
    text = clean(text)
    if cells(text) > width:
        while text and cells(text) > width - 1:
            text = text[:-1]
        text = text.rstrip(" ,") + "…"
    return text + " " * (width - cells(text))


def _summary(plan: DayPlan) -> str:
    duty = f"{span(plan.duty_s // 60 * 60)} from first job to last, breaks included"
    return f"{sure}; {duty}" if (sure := chance_words(plan)) else duty


def _blocks(plan: DayPlan) -> list[list[PlannedStep]]:
    """Steps split where nothing begins for three hours."""
    blocks: list[list[PlannedStep]] = []
    for step in plan.steps:
        if blocks and step.start - blocks[-1][-1].start <= timedelta(hours=3):
            blocks[-1].append(step)
        else:
            blocks.append([step])
    return blocks


def _block(plan: DayPlan, steps: list[PlannedStep], width: int, now: datetime | None) -> list[str]:
    many = plan.numbers_patons
    # As wide as the names want, within reason: the bars need their room.
    names = max(cells(s.process.name) + (2 if many and s.process.paton else 0) for s in steps)
    label = max(20, min(34, width * 2 // 5, names + 2))
    room = width - label - 6  # "HH:MM " before the name
    begin = steps[0].start
    # A cold hold that leads out of the stretch of work does not set its scale.
    inner = [s.end for s in steps if s.end - s.start <= timedelta(hours=4)] or [steps[-1].end]
    end = max([*inner, steps[-1].start + timedelta(minutes=10)])
    step_min = next(
        m for m in (2, 3, 5, 10, 15, 20, 30, 60, 120, 240, 100000) if (end - begin).total_seconds() <= m * 60 * room
    )
    zone = zone_of(plan.zone)
    lines = [f"{begin:%A %d %B} ({step_min} min a column)", " " * (label + 6) + _scale(begin, step_min, room, zone)]
    columns = [begin + timedelta(minutes=step_min * c) for c in range(room + 1)]
    shade = [_shade(plan, columns[c], columns[c + 1]) for c in range(room)]
    for step in steps:
        mark = ">" if now is not None and step.start <= now < step.end else ""
        number = f" {step.process.paton}" if many and step.process.paton else ""
        name = fit(f"{mark}{step.process.name}", label - 1 - len(number)) + number + " "
        lines.append(f"{step.start:%H:%M} {name}{_bar(step, columns, shade)}")
    return lines


def _scale(begin: datetime, step_min: int, room: int, zone) -> str:
    row = [" "] * room
    every = next(m for m in (30, 60, 120, 180, 360, 720, 1440, 10**6) if m / step_min >= 7)
    at = begin.astimezone(zone).replace(minute=0, second=0)
    while True:
        column = int((at - begin).total_seconds() // 60 / step_min)
        if column + 5 > room:
            return "".join(row)
        if column >= 0:
            for offset, char in enumerate(f"{at:%H:%M}"):
                row[column + offset] = char
        at = (at.astimezone(zone_of("UTC")) + timedelta(minutes=every)).astimezone(zone)


def _shade(plan: DayPlan, begin: datetime, end: datetime) -> str:
    middle = begin + (end - begin) / 2
    for hours in plan.away:
        if from_at_s(hours.from_s) <= middle < from_at_s(hours.to_s):
            return SLEEP if hours.why == "sleep" else AWAY
    return " "


def _bar(step: PlannedStep, columns: list[datetime], shade: list[str]) -> str:
    fill = RESTS
    if step.process.place in (wire.FRIDGE, wire.FREEZER):
        fill = COLD
    elif step.process.place == wire.OVEN:
        fill = HEAT
    row = []
    for c, back in enumerate(shade):
        begin, end = columns[c], columns[c + 1]
        if step.start < end and begin < step.hands_off:
            row.append(HANDS)
        elif step.start < end and begin < step.end:
            row.append(fill)
        else:
            row.append(back)
    if step.end > columns[-1]:
        row[-5:] = f"{step.end:%H:%M}"
    return "".join(row)
