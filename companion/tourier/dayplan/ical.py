"""The plan as a calendar (RFC 5545): one event for every stretch of hands-on work, with an alarm, times in UTC.

UTC needs no time-zone table and stays right on the night the clocks change; calendars show it in local time.
"""

from __future__ import annotations

from datetime import UTC, timedelta

from icalendar import Alarm, Calendar, Event

from shared_schedule import plan as wire
from tourier.dayplan.device import fit
from tourier.dayplan.model import DayPlan, PlannedStep, to_at_s

ALARM_BEFORE = timedelta(minutes=5)
JOIN = timedelta(minutes=5)  # hands-on steps this close together are one event: nobody wants an alarm every 8 min
DOMAIN = "tourier.invalid"  # RFC 2606: names nobody, so the ids can clash with nobody's


def calendar(plan: DayPlan) -> bytes:
    """Return the calendar file: UTF-8, CRLF, folded lines. The same plan gives the same bytes."""
    result = Calendar()
    result.add("prodid", "-//Tourier//day plan//EN")
    result.add("version", "2.0")
    result.add("method", "PUBLISH")
    result.add("x-wr-calname", fit(plan.name, 200))
    for run in stretches(plan):
        result.add_component(_event(plan, run))
    ready = Event()
    ready.add("uid", f"{_stem(plan)}-ready@{DOMAIN}")
    ready.add("dtstamp", plan.made_at.astimezone(UTC))
    ready.add("dtstart", plan.planned_at.astimezone(UTC))
    ready.add("dtend", plan.planned_at.astimezone(UTC))
    ready.add("summary", f"Ready: {fit(plan.name, 100)}")
    result.add_component(ready)
    return result.to_ical()


def stretches(plan: DayPlan) -> list[list[PlannedStep]]:
    """Return the hands-on steps, joined where less than five minutes lie between."""
    runs: list[list[PlannedStep]] = []
    for step in plan.steps:
        if not step.process.attended_s or step.done:
            continue
        if runs and step.start - max(s.hands_off for s in runs[-1]) < JOIN:
            runs[-1].append(step)
        else:
            runs.append([step])
    return runs


def _stem(plan: DayPlan) -> str:
    """An id that stays the same when the day is planned again, so that a calendar replaces its events."""
    name = "".join(c for c in plan.name.lower() if c.isascii() and c.isalnum())[:24] or "batch"
    return f"{name}-{to_at_s(plan.wished[0])}"


def _event(plan: DayPlan, run: list[PlannedStep]) -> Event:
    event = Event()
    first = run[0]
    names = list(dict.fromkeys(_name(plan, step) for step in run))
    more = len(names) - 3
    event.add("uid", f"{_stem(plan)}-{first.step_id}@{DOMAIN}")
    event.add("dtstamp", plan.made_at.astimezone(UTC))
    event.add("dtstart", first.start.astimezone(UTC))
    event.add("dtend", max(step.hands_off for step in run).astimezone(UTC))
    event.add("summary", ", ".join(names[:3]) + (f" and {more} more" if more > 0 else ""))
    event.add("description", "\n".join(f"{step.start:%H:%M} {_name(plan, step)}{_how(step)}" for step in run))
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", names[0])
    alarm.add("trigger", -ALARM_BEFORE)
    event.add_component(alarm)
    return event


def _name(plan: DayPlan, step: PlannedStep) -> str:
    name = fit(step.process.name, 100)
    if plan.numbers_patons and step.process.paton:
        name += f" (pâton {step.process.paton})"
    return f"{name}, {plan.jobs[step.job].spec.name}" if len(plan.jobs) > 1 else name


def _how(step: PlannedStep) -> str:
    process = step.process
    parts = []
    if process.place:
        parts.append(wire.PLACE_WORDS[process.place])
    if process.ticks:
        parts.append("; ".join(fit(tick, 60) for tick in process.ticks))
    return f" ({'; '.join(parts)})" if parts else ""
