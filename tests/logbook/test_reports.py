"""Reports: whole, self-contained, and harmless whatever the log, the batch file or the cook wrote into them."""

import csv
import io
import json
import re
from html.parser import HTMLParser

import logbook_support as support
import numpy as np
import pytest
from tourier.logbook import Logbook, LogbookError, Outcome, review
from tourier.logbook.account.steps import account
from tourier.logbook.record import openlog
from tourier.logbook.reports.csv import cell, samples_csv, steps_csv
from tourier.logbook.reports.html import report_html
from tourier.logbook.reports.json import review_dict

EVIL = "</title></pre><script>alert(1)</script><img src=x onerror=alert(2)>\" onload='x' &"


class _Tags(HTMLParser):
    """Collects tags and attributes; void and SVG elements as written."""

    VOID = {"meta", "img", "br"}

    def __init__(self):
        super().__init__()
        self.open, self.tags, self.attributes = [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs

    def handle_endtag(self, tag):
        assert self.open and self.open[-1] == tag, (tag, self.open[-3:])
        self.open.pop()


@pytest.fixture
def evil(book):
    """A batch whose every free text is an attack, with gaps, alarms, bend tests and an excursion."""
    plan = support.small_plan(name="<b>=cmd|' /C calc'!A0")
    plan.steps[0].name = "=HYPERLINK(\"x\")<i>"
    plan.steps[11].ticks = ("<u>tick</u>",)
    day = support.Day(plan, slips={7: {"lasts_s": 1500, "end_c": 21}, 6: {"probe": "open"}, 12: {"untick": True}},
                      bends=[(support.BEGIN + 1000, 1100, 1), (support.BEGIN + 1100, 1400, 2)],
                      notes=[(support.BEGIN + 1200, EVIL[:90])])  # fmt: skip
    number = day.collect(book, board_id="<svg/onload=alert(3)>", batch_text=f'name = "{EVIL}"')
    book.set_outcome(number, Outcome(("bready",), 2, "javascript:alert(4)", EVIL))
    return book.load(number)


def test_html_is_well_formed_and_holds_nothing_that_runs_or_loads(evil):
    html = report_html(review(evil))
    tags = _Tags()
    tags.feed(html)
    assert tags.open == []
    assert not {"script", "img", "iframe", "object", "link", "a", "form", "input"} & set(tags.tags)
    assert not [name for name, _ in tags.attributes if name.startswith("on") or name in ("src", "href", "xlink:href")]
    assert "url(http" not in html and "@import" not in html and "<i>" not in html
    assert "default-src 'none'" in html and "alert(1)" in html  # shown as text


def test_every_picture_has_its_table_and_title(evil):
    html = report_html(review(evil))
    pictures = html.count('role="img"')
    assert pictures >= 2 and html.count("<desc") == pictures
    assert html.count("The same in figures") == pictures - 1 and "Timetable in figures" in html
    assert "no reading" in html and "@media print" in html and "@page" in html and "viewport" in html


def test_names_of_excursions_never_lie_over_each_other(book):
    """Lock-in and first fold, both too cold: the second name stands a line further down."""
    slips = {n: {"start_c": 4.0, "end_c": 6.0, "lasts_s": 400} for n in (2, 3)}
    html = report_html(review(book.load(support.Day(support.small_plan(), slips=slips).collect(book))))
    names = re.findall(r'<text x="([\d.]+)" y="([\d.]+)"[^>]*>too (?:cold|warm) [^<]*<', html)
    places = [(float(x), float(y)) for x, y in names]
    assert len(places) >= 2
    apart = [abs(a[0] - b[0]) >= 100 or abs(a[1] - b[1]) >= 14 for i, a in enumerate(places) for b in places[:i]]
    assert all(apart) and any(abs(a[0] - b[0]) < 100 for i, a in enumerate(places) for b in places[:i])


def test_an_upright_phone_shows_what_a_step_came_to(book):
    """The remark is the last of eleven columns and would lie outside a narrow screen; the figures between give way."""
    html = report_html(review(book.load(support.Day(support.small_plan()).collect(book))))
    narrow = html.split("@media(max-width:40rem)")[1].split("@page")[0]
    assert ".figures :is(th,td):nth-child(n+4):nth-child(-n+10){display:none}" in narrow
    head = re.search(r'<div class="figures">.*?<thead>(.*?)</thead>', html, re.S).group(1)
    columns = re.findall(r"<th[^>]*>([^<]*)</th>", head)
    assert columns[:3] == ["Step", "Began", "Lasted"] and columns[10:] == ["Remark"]


def test_html_of_an_empty_and_of_a_half_day(book):
    empty = book.load(book.collect("b", support.Day(support.small_plan()).plan_bytes, b"", b""))
    found = review(empty)
    assert found.verdict.startswith("Not enough data") and not found.named
    assert "Not enough data" in report_html(found)
    half = support.Day(support.small_plan(made_at_s=support.BEGIN + 9), until=5)
    _Tags().feed(report_html(review(book.load(half.collect(book)))))


@pytest.mark.parametrize("text", [
    "=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", " =1+1", "＝1+1", "=cmd|' /C x'!A0",
])
def test_cells_that_a_spreadsheet_would_run_get_an_apostrophe(text):
    assert cell(text).startswith("'")


@pytest.mark.parametrize("value", ["-3.25", "+4", "12:30", "", 7, -0.5, "fold 1 (3-fold)", "1e-5"])
def test_numbers_and_plain_words_stay_as_they_are(value):
    assert cell(value) == str(value)


def test_csv_says_what_the_log_says_and_runs_nothing(evil):
    rows = list(csv.reader(io.StringIO(samples_csv(account(evil)), newline="")))
    assert rows[0] == ["time", "at_s", "bench_c", "probe_c", "step"]
    assert len(rows) - 1 == len(evil.samples)
    assert any(row[3] == "" for row in rows[1:])  # a gap is an empty cell, not a number
    probe = [float(row[3]) for row in rows[1:] if row[3]]
    assert np.allclose(probe, evil.samples.probe_c[~np.isnan(evil.samples.probe_c)], atol=0.005)
    steps = list(csv.reader(io.StringIO(steps_csv(account(evil)), newline="")))
    assert len(steps) == 1 + len(evil.plan.steps)
    for row in rows[1:5] + steps[1:]:
        assert not [c for c in row if c.startswith(("=", "@")) or (c.startswith(("+", "-")) and not c[1:2].isdigit())]


def test_json_is_json_without_nan_and_names_the_fold(evil):
    found = review_dict(review(evil))
    text = json.dumps(found, allow_nan=False)
    assert json.loads(text)["findings"][0]["cause"] == "slow-fold"
    assert found["findings"][0]["fold"] == 3 and found["steps"][6]["window_c"] == [12.0, 17.0]
    assert found["sensor_gaps"] and found["sensor_gaps"][0]["channel"] == "probe"


def test_open_log_round_trip_is_the_same_batch(evil, tmp_path):
    file = tmp_path / "batch.jsonl"
    file.write_text("".join(openlog.write(evil)), encoding="utf-8")
    for line in file.read_text(encoding="utf-8").splitlines():
        json.loads(line)
    with Logbook(tmp_path / "second.sqlite") as other:
        assert other.import_from(file) == {"taken": 1, "known": 0}
        assert other.import_from(file) == {"taken": 0, "known": 1}
        back = other.load(other.newest())
    assert back.plan_bytes == evil.plan_bytes and back.journal == evil.journal and back.key == evil.key
    assert np.array_equal(back.samples.at_s, evil.samples.at_s)
    assert np.array_equal(back.samples.probe_c, evil.samples.probe_c, equal_nan=True)
    assert back.outcome == evil.outcome and back.batch_text == evil.batch_text


@pytest.mark.parametrize("spoil, words", [
    (lambda lines: lines[1:], "is no open log"),
    (lambda lines: lines[:-1], "cut off or was changed"),
    (lambda lines: [*lines[:5], "{broken", *lines[5:]], "line 6 is not JSON"),
    (lambda lines: [lines[0].replace('"version":1', '"version":9'), *lines[1:]], "version 9 is not known"),
    (lambda lines: [line for line in lines if '"t":"plan"' not in line], "holds no plan"),
    (lambda lines: [line.replace('"type":3', '"type":77') for line in lines], "no journal record has type 77"),
    (lambda lines: [*lines[:3], "[" * 100_000, *lines[3:]], "is not JSON"),
    (lambda lines: [line.replace('"probe":[', '"probe":[1,') for line in lines], "not equally long"),
    (lambda lines: [line.replace('"at_s":[2', '"at_s":["2') if '"samples"' in line else line for line in lines],
     "JSON"),
])  # fmt: skip
def test_a_spoilt_open_log_is_refused_by_line_and_nothing_is_taken(evil, tmp_path, spoil, words):
    lines = [line.rstrip("\n") for line in openlog.write(evil)]
    file = tmp_path / "spoilt.jsonl"
    file.write_text("\n".join(spoil(lines)), encoding="utf-8")
    with Logbook(tmp_path / "other.sqlite") as other:
        with pytest.raises(LogbookError, match=words):
            other.import_from(file)
        assert other.batches() == []
