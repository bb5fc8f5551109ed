"""Calendar, card and timeline: what leaves the planner for other eyes."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from html.parser import HTMLParser

import pytest
from checker import faults
from days import at, spec, workup
from test_plan_days import EARLY_BIRD, NOW, demo  # noqa: F401
from tourier.batch.model import AwaySpan
from tourier.dayplan import calendar, card_html, plan_days, timeline
from tourier.dayplan.draw import cells

vobject = pytest.importorskip("vobject")  # a parser that shares no code with the library that writes the file


@pytest.fixture(scope="module")
def plan():
    s = spec(away=(EARLY_BIRD,))
    return plan_days(s, workup(s), NOW)


@pytest.fixture(scope="module")
def nasty():
    """Texts of a batch file are untrusted: markup, control characters, wide letters, very long names."""
    s = spec(away=(EARLY_BIRD,), name='<script>alert("1")</script>\x1b[31m & 桜' + "x" * 300)
    steps = [
        replace(p, name="<b>Ro\x1b]0;bad\x07ll</b> 生地を伸ばす " + "é" * 60) if p.key == "p1.fold1" else p
        for p in workup(s).process
    ]
    return plan_days(s, workup(s, steps), NOW, chance=False)


def events(data: bytes):
    parsed = vobject.readOne(data.decode())
    parsed.validate(raiseException=True)
    return list(parsed.vevent_list)


def test_the_calendar_stands_in_a_parser_of_its_own(plan):
    """RFC 5545: 3.1 lines end in CRLF and hold at most 75 octets; 3.6.1 UID and DTSTAMP; 3.3.5 UTC form with Z."""
    data = calendar(plan)
    assert data == calendar(plan)
    assert data.count(b"\n") == data.count(b"\r\n")
    assert max(len(line) for line in data.split(b"\r\n")) <= 75
    assert re.findall(rb"DT(?:START|END|STAMP):\d{8}T\d{6}(?!Z)", data) == []
    found = events(data)
    assert len({e.uid.value for e in found}) == len(found)
    hands = [s for s in plan.steps if s.process.attended_s]
    for step in hands:  # every hands-on step lies within an event that rings before it
        inside = [e for e in found if e.dtstart.value <= step.start and step.hands_off <= e.dtend.value]
        assert inside, step.process.key
        assert inside[0].valarm.trigger.value == timedelta(minutes=-5)
    ready = next(e for e in found if e.summary.value.startswith("Ready"))
    assert ready.dtstart.value == plan.planned_at


def test_the_calendar_is_right_across_the_change_of_clocks():
    s = spec(ready=at(25, 8, 30, month=10), away=(EARLY_BIRD,))
    plan = plan_days(s, workup(s), at(23, 18, month=10), chance=False)
    found = events(calendar(plan))
    ready = next(e for e in found if e.summary.value.startswith("Ready")).dtstart.value
    assert ready.astimezone(UTC).hour == 7  # 08:30 in winter time is 07:30Z
    mix = min(e.dtstart.value for e in found)
    assert mix == plan.steps[0].start and plan.steps[0].start.utcoffset() == timedelta(hours=2)


# Nights on which clocks change: IANA time zone database. Half an hour on Lord Howe, a day's change of 2 h nowhere.
CHANGES = [
    ("Europe/Paris", (2026, 3, 29), "spring"),
    ("America/New_York", (2026, 11, 1), "autumn"),
    ("America/Chicago", (2027, 3, 14), "spring"),
    ("Australia/Lord_Howe", (2026, 4, 5), "autumn"),
    ("Asia/Kolkata", (2026, 7, 5), ""),
]


@pytest.mark.parametrize(("zone", "day", "change"), CHANGES, ids=[zone for zone, _, _ in CHANGES])
def test_the_calendar_is_right_in_every_zone(zone, day, change):
    """Read back by vobject, the hour wished stands on the wall clock there, and nobody is called up at night."""
    from zoneinfo import ZoneInfo

    there = ZoneInfo(zone)
    ready_at = datetime(*day, 9, 0, tzinfo=there)
    s = spec(ready=ready_at, away=(EARLY_BIRD,), zone=zone)
    now = (ready_at - timedelta(hours=39)).replace(hour=18)
    plan = plan_days(s, workup(s), now, chance=False)
    assert faults(plan, now) == []
    found = events(calendar(plan))
    ready = next(e for e in found if e.summary.value.startswith("Ready")).dtstart.value
    assert ready == plan.planned_at and ready.astimezone(there).strftime("%H:%M") == "09:00"
    offsets = {step.start.astimezone(there).utcoffset() for step in plan.steps}
    assert len(offsets) == (2 if change else 1)
    for event in found:
        clock = event.dtstart.value.astimezone(there).time()
        assert not time(22, 0) <= clock and not clock < time(3, 30)


def test_untrusted_text_breaks_neither_calendar_card_nor_terminal(nasty):
    assert events(calendar(nasty))
    assert b"\x1b" not in calendar(nasty)
    card = card_html(nasty)
    assert "<script" not in card and "&lt;script&gt;" in card and "<b>Ro" not in card
    assert "\x1b" not in card and "\x07" not in card
    for width in (80, 120):
        lines = timeline(nasty, width)
        assert all(c.isprintable() for line in lines for c in line)
        assert max(cells(line) for line in lines) <= width


class Balanced(HTMLParser):
    """Every tag that is opened is closed, in order."""

    VOID = {"meta", "br", "hr", "img", "link"}

    def __init__(self):
        super().__init__()
        self.open: list[str] = []
        self.text: list[str] = []

    def handle_starttag(self, tag, attrs):
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)


def test_the_card_says_all_that_is_needed_at_the_bench(demo):  # noqa: F811
    html = card_html(demo)
    parser = Balanced()
    parser.feed(html)
    assert parser.open == []
    text = " ".join(parser.text)
    for step in demo.steps:
        for tick in step.process.ticks:
            assert tick in text
        if step.process.attended_s * 2 >= step.duration_s:
            assert f"{step.start:%H:%M}" in text
    assert "3-fold" in text and "fat layers" in text and "Ruler marks" in text
    assert "°C" in text and "local hygiene rules" in text
    assert "http" not in html  # nothing fetched from anywhere


@pytest.mark.parametrize("width", [80, 120])
def test_the_timeline_fits_and_shades_the_hours(demo, plan, width):  # noqa: F811
    lines = timeline(demo, width)
    assert max(cells(line) for line in lines) <= width
    rows = [line for line in lines if re.match(r"\d\d:\d\d ", line)]
    assert len(rows) == len(demo.steps)
    assert all("#" in row for row, s in zip(rows, demo.steps, strict=True) if s.process.attended_s)
    assert "\x1b" not in "".join(lines)


@pytest.mark.parametrize("width", [80, 120])
def test_away_hours_are_shaded(width):
    hours = AwaySpan("away", from_at=at(14, 12), to_at=at(14, 14))
    s = spec(away=(EARLY_BIRD, hours))
    lines = timeline(plan_days(s, workup(s), NOW, chance=False), width)
    assert any("...." in line for line in lines if re.match(r"\d\d:\d\d ", line))
