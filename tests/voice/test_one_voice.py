"""A cook in °F and inches meets no °C and no mm on any output, and a metric cook no °F and no inch.

Every paper, page and screen is made and read as text by rules that know nothing of how it was made: a figure followed
by a unit of the other system, or such a unit in a heading. JSON and the batch file are not read: they stay as they are.
"""

from __future__ import annotations

import io
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import logbook_support as support
import pytest
from gallery import shots
from strays import UNITS, batch_text, of_html, strays
from tourier.device.sight import Sight
from tourier.known import Lessons
from tourier.logbook import Logbook, Outcome, review

NOW = datetime(2027, 3, 11, 8, tzinfo=ZoneInfo("UTC"))
@pytest.fixture(scope="module")
def designs():
    """Return {units: the example worked out and planned}."""
    from tourier.design import design

    return {units: design(batch_text(units), "", NOW, Lessons()) for units in ("inch", "metric")}


@pytest.fixture(scope="module")
def reviews(tmp_path_factory):
    """Return {units: the review of a day in which much went wrong}."""
    found = {}
    for units in ("inch", "metric"):
        plan = support.small_plan(units=int(units == "inch"))
        slips = {
            2: {"start_c": 9.0, "end_c": 9.5}, 3: {"lasts_s": 1500, "end_c": 23.0}, 4: {"end_c": 13.0, "lasts_s": 1200},
            5: {"probe": "open"}, 9: {"start_c": 15.0, "end_c": 22.5}, 11: {"start_c": 22.0, "end_c": 31.0},
        }  # fmt: skip
        day = support.Day(plan, slips=slips, bends=((plan.made_at_s + 9000, 1450, 2),), bench_c=27.0)
        with Logbook(tmp_path_factory.mktemp(units) / "log.sqlite") as book:
            number = day.collect(book)
            found[units] = review(book.load(number), Outcome(symptoms=("bready", "dense"), rating=2))
    return found


@UNITS
def test_the_rules_find_what_is_planted(units):
    """The reader itself: each of these would be a stray, and each plain figure is none."""
    planted = {
        "inch": ["13.4 °C", "Start °C", "8.1 mm thick", "63.6 x 21.2 cm", "strips 1 to 4, cm: 2.0", "+0.3 K are added",
                 "probe_c", "a pâton of 2.5 kg", "300 m"],
        "metric": ["56 °F", "1 1/2 in thick", "12.0 oz", "marks in inches", "long cuts, in: 6", "probe_f",
                   "2 lb of it"],
    }  # fmt: skip
    fine = {
        "inch": "10 min in the fridge at 56 °F; 1 1/2 in; 12.0 oz (340 g); 3 of 4 done; rated 2 by Kay; 4-fold",
        "metric": "10 min in the fridge at 13.4 °C; 20 x 8 cm; 4.5 mm; 340 g; fold 2 in 3 min; 30 in all",
    }
    assert [text for text in planted[units] if not strays(units, text)] == []
    assert strays(units, fine[units]) == []


@UNITS
def test_plan_and_its_papers(units, designs):
    from tourier.cli.output import Output
    from tourier.cli.plan import show_plan, show_reasons
    from tourier.dayplan.card import card_html
    from tourier.dayplan.device import to_device
    from tourier.dayplan.ical import calendar
    from tourier.plantext import cut_map_svg

    made = designs[units]
    said = io.StringIO()
    with redirect_stdout(said), redirect_stderr(io.StringIO()):
        out = Output()
        show_plan(out, made.day, True)
        show_reasons(out, made.day.workup)
    papers = {
        "plan": said.getvalue(), "card": of_html(card_html(made.day)), "cut map": of_html(cut_map_svg(made.day.workup)),
        "calendar": calendar(made.day).decode(),
    }  # fmt: skip
    for name, text in papers.items():
        assert len(text) > 200, name
        assert strays(units, text) == [], name
    unit = "°F" if units == "inch" else "°C"
    assert unit in papers["plan"] and unit in papers["card"]
    assert to_device(made.day).units == int(units == "inch")


@UNITS
def test_review_report_and_tables(units, reviews):
    from tourier.cli.review import curve_lines
    from tourier.logbook.reports import prose
    from tourier.logbook.reports.csv import samples_csv, steps_csv
    from tourier.logbook.reports.html import report_html

    found = reviews[units]
    texts = {
        "review": "\n".join(prose.review_lines(found)), "report": of_html(report_html(found)),
        "curve": "\n".join(curve_lines(found.account.batch, 100)),
        "samples": samples_csv(found.account).splitlines()[0], "steps": steps_csv(found.account).splitlines()[0],
    }  # fmt: skip
    for name, text in texts.items():
        assert strays(units, text) == [], name
    unit = "°F" if units == "inch" else "°C"
    assert texts["review"].count(unit) >= 5 and texts["report"].count(unit) >= 10
    # The same reading on both: a window from 12 °C is one from 54 °F.
    assert ("53.6" if units == "inch" else "12.0") in texts["report"]
    assert "bench_f" in texts["samples"] if units == "inch" else "bench_c" in texts["samples"]


@UNITS
def test_watch_and_comparison(units, reviews):
    from tourier.cli.watch import one_line, picture
    from tourier.logbook.findings.compare import compare

    sight = Sight(
        at_s=support.BEGIN, word="ROLL", step="Fold 1", fold="fold 1 of 3", probe_cdeg=1340, bench_cdeg=2150,
        low_cdeg=1200, high_cdeg=1700, left_s=700, slack_s=-300, alarm="butter soon too warm", fault=0, offset_min=60,
        left_of="window", units=int(units == "inch"),
    )  # fmt: skip
    for one in (sight, replace(sight, probe_cdeg=None)):
        text = "\n".join([one_line(one), *picture(one)])
        assert strays(units, text) == []
    assert ("56.1 °F" if units == "inch" else "13.4 °C") in one_line(sight)
    assert "54°" in picture(sight)[2] if units == "inch" else "12°" in picture(sight)[2]
    batch = reviews[units].account.batch
    rows = [row for change in compare([batch, batch]).behaviour for row in change.row(batch.voice)]
    assert strays(units, "\n".join(rows)) == []


@UNITS
def test_pages_of_the_desk(units, designs):
    from tourier.desk.data import fields, worked
    from tourier.desk.data.batchdoc import BatchDoc

    made = designs[units]
    for name, _title in worked.PAGES:
        assert strays(units, "\n".join(worked.page(name, made.day.workup, made, 90))) == [], name
    for columns in (60, 90, 120):
        assert strays(units, worked.figures(made.day.workup, columns)) == []
    said = BatchDoc(batch_text(units)).voice
    for section in fields.SECTIONS:
        for field in section.fields:
            shown = field.said(said)
            text = f"{shown.example}\n{shown.help}"
            assert strays(units, "" if field.key == "units" or field.key == "ruler_marks" else text) == [], field.key
        assert strays(units, said.example(section.help)) == []


@UNITS
def test_screens_of_the_timer(units):
    """Every screen of the showcase, drawn by the firmware under MicroPython."""
    found, _wide = shots(us=units == "inch")
    texts = {shot.name: [mark[4] for mark in shot.marks] for shot in found}
    assert len(texts) > 30
    for name, marks in texts.items():
        assert strays(units, "\n".join(marks)) == [], name
    assert ("53.4" if units == "inch" else "11.9") in texts["roll"]
    assert ("20x7 3/4 in, 1/4 thick" if units == "inch" else "51x20 cm, 7.0 mm") in texts["roll-sheet"]
