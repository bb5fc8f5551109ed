"""The bench card of every example stands on one sheet of either paper, front and back if need be, in legible type.

Printed by a browser without a window, pages counted by pypdf: neither shares anything with the card's own reckoning.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from datetime import datetime
from fractions import Fraction
from html import unescape
from zoneinfo import ZoneInfo

import pytest
from tourier.batch.examples import NAMES, example_text
from tourier.batch.read import read_batch_text
from tourier.batch.workup import work_up
from tourier.dayplan import card, card_html, cardsize, plan_days
from tourier.known import Known

from shared_schedule import plan as wire

NOW = datetime(2026, 3, 9, 8, tzinfo=ZoneInfo("Europe/Paris"))
PAPERS = {"A4": (595, 842), "Letter": (612, 792)}  # points: ISO 216; ANSI/ASME Y14.1
# Capitals of DejaVu Sans are 0.729 em high. At 0.7 m normal sight reads 5 arc minutes, 1.0 mm (Snellen; definition of
# 6/6 in ISO 8596); a card is asked for 13, so that it is read in passing.
DANISH = """
name = "Danish and pain au chocolat, christening"
ready = "Sunday 12:00"
buffer = "30 min"
zone = "Europe/Copenhagen"
patons = 2
[[pieces]]
name = "Danish square"
count = 24
shape = "rectangle"
base = "10 cm"
height = "10 cm"
thickness = "3.5 mm"
[[pieces]]
name = "pain au chocolat"
count = 16
shape = "rectangle"
base = "8 cm"
height = "13 cm"
thickness = "4.5 mm"
[formula]
"bread flour" = "100 %"
"whole milk" = "35 %"
egg = "14 %"
sugar = "12 %"
"fresh yeast" = "5 %"
salt = "1.8 %"
butter = "6 %"
[butter]
roll_in = "30 % of dough"
[folds]
sequence = [3, 3, 3]
[kitchen]
room = "21 °C"
[kitchen.bench]
material = "granite"
thickness = "30 mm"
length = "110 cm"
width = "60 cm"
[kitchen.fridge]
temperature = "4 °C"
[kitchen.proof]
place = "box"
temperature = "26 °C"
[kitchen.oven]
trays = 2
pieces_per_tray = 18
[[away]]
from = "22:30"
to = "05:00"
"""
CAPITAL_EM, PT_MM, ARC_MIN_MM = 0.729, 25.4 / 72, 700 * 2.909e-4


@pytest.fixture(scope="module")
def cards():
    found = {}
    for name in (*NAMES, "danish"):
        spec = read_batch_text(DANISH if name == "danish" else example_text(name), name, NOW)
        plan = plan_days(spec, work_up(spec, Known()), NOW, chance=False)
        found[name] = plan, card_html(plan)
    return found


def browser():
    names = ("chromium", "chromium-browser", "google-chrome", "chrome")
    return next((path for path in map(shutil.which, names) if path), None)


@pytest.mark.parametrize("paper", PAPERS)
def test_each_card_prints_on_one_sheet(cards, paper, tmp_path):
    chromium = browser()
    if chromium is None:
        pytest.skip("no chromium on this machine to print with")
    pypdf = pytest.importorskip("pypdf", reason="no pypdf to count pages with")
    pages = {}
    for name, (_, html) in cards.items():
        page, pdf = tmp_path / f"{name}.html", tmp_path / f"{name}.pdf"
        assert "size: auto" in html
        page.write_text(html.replace("size: auto", f"size: {paper}"), encoding="utf-8")
        subprocess.run(
            [chromium, "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={tmp_path / 'profile'}",
             "--no-pdf-header-footer", f"--print-to-pdf={pdf}", page.as_uri()],
            check=True, capture_output=True,
        )  # fmt: skip
        reader = pypdf.PdfReader(pdf)
        pages[name] = len(reader.pages)
        size = reader.pages[0].mediabox
        assert (float(size.width), float(size.height)) == pytest.approx(PAPERS[paper], abs=1)
        for page in reader.pages:  # each says what it belongs to, and ends whole
            assert "Ready" in page.extract_text() and "local hygiene rules" in page.extract_text()
    assert pages == {name: html.count("<main>") for name, (_, html) in cards.items()}
    assert set(pages.values()) == {1, 2}


MEASURE = """<script>addEventListener("load", () => {
  const mm = 25.4 / 96, found = [...document.querySelectorAll("main")].map(main => {
    const box = main.getBoundingClientRect();
    const right = [...main.querySelectorAll("*")].map(e => e.getBoundingClientRect().right);
    return [box.height * mm, (Math.max(...right) - box.right) * mm];
  });
  document.body.textContent = "measured " + JSON.stringify(found);
})</script>"""


def test_nothing_stands_past_the_margin_and_the_card_knows_its_height(cards, tmp_path):
    """What a browser draws on 190 mm, the width both papers leave: no word past the right edge, and not higher than
    the card reckons. A browser cuts off what is too wide without a word."""
    chromium = browser()
    if chromium is None:
        pytest.skip("no chromium on this machine to measure with")
    for name, (plan, html) in cards.items():
        page = tmp_path / f"{name}.html"
        page.write_text(html.replace("@media screen", "@media none").replace("</body>", MEASURE + "</body>"), "utf-8")
        done = subprocess.run(
            [chromium, "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={tmp_path / 'profile'}",
             "--window-size=1200,1600", "--dump-dom", page.as_uri()],
            check=True, capture_output=True, text=True,
        )  # fmt: skip
        found = json.loads(done.stdout.split("measured ")[1].split("<")[0])
        size = float(re.search(r"font-size: ([\d.]+)pt; line-height", html).group(1))
        pages = card.card_pages(plan)
        assert len(found) == len(pages)
        for (high_mm, over_mm), one in zip(found, pages, strict=True):
            assert over_mm < 0.1, name
            reckoned = cardsize.height_mm(one, size)
            print(f"{name}: {high_mm:.0f} mm drawn, {reckoned:.0f} reckoned")
            assert high_mm < reckoned + 1 <= cardsize.PAGE_MM + 1, name


def test_what_comes_overleaf_is_said_where_the_page_ends(cards):
    _, html = cards["danish"]
    front, back = html.split("<main>")[1:]
    said = re.search(r"overleaf: (\d\d:\d\d) ([^<,]*), pâton (\d)", front.split("</table>")[0][-200:])
    assert said is not None
    hour, name, paton = said.groups()
    row = back.split('<td class="t">')[1]
    assert hour in row and name in row and f">{paton}</i>" in row
    assert "overleaf" not in back and "page 1 of 2" in front and "page 2 of 2" in back


def test_each_sheet_has_its_own_marks_and_trim(cards):
    """Two pâtons for two thicknesses: other pieces, other marks."""
    plan, html = cards["danish"]
    text = unescape(re.sub(r"<[^>]*>", " ", html))
    assert "Ruler marks, cm, pâton 1" in text and "Ruler marks, cm, pâton 2" in text
    for sheet in plan.workup.cuts["sheets"]:
        assert f"trim {sheet['edge_m'] * 1000:.0f} mm all round" in text
        layout = sheet["layout"]
        assert f"{layout.length_m * 100:.1f}" in text and f"{layout.width_m * 100:.1f}" in text


def test_the_type_can_be_read_at_arms_length(cards):
    for name, (_, html) in cards.items():
        size = re.search(r"font-size: ([\d.]+)pt; line-height", html)
        assert size is not None
        capital_mm = float(size.group(1)) * PT_MM * CAPITAL_EM
        asked = 13
        print(f"{name}: {size.group(1)} pt, capitals {capital_mm:.1f} mm, {capital_mm / ARC_MIN_MM:.0f} arc minutes")
        assert capital_mm / ARC_MIN_MM >= asked, name


def test_each_card_has_sizes_marks_window_and_boxes(cards):
    for name, (plan, html) in cards.items():
        text = unescape(re.sub(r"<[^>]*>", "", html.split("<body>")[1]))
        folds = [s.process for s in plan.steps if s.process.kind == wire.FOLD]
        sheets = [s.process for s in plan.steps if s.process.kind == wire.SHEET]
        low, high = folds[0].low_c, folds[0].high_c
        window = f"{low:g} to {high:g} °C"
        if plan.spec.units == "inch":
            window = f"{low * 1.8 + 32:.0f} to {high * 1.8 + 32:.0f} °F"
        assert window in text, name
        for sheet in sheets:
            thick = round(sheet.thickness_m * 2000) / 2  # a final sheet is rolled to the half millimetre
            size = f"{sheet.length_m * 100:.0f} × {sheet.width_m * 100:.0f} cm, {thick:g} mm"
            if plan.spec.units == "inch":  # a quarter of an inch will do, thickness to a sixteenth
                size = f", {Fraction(round(sheet.thickness_m / 0.0254 * 16), 16)} in"
            assert size in text, name
        assert "Ruler marks" in text, name
        assert "salt is in" in text and "in the wash" in text, name
        # A box for every row, every tick and every fold.
        boxes = html.count('class="box"')
        ticks = sum(len(s.process.ticks) for s in plan.steps)
        assert boxes >= ticks + len(folds) + sum(bool(s.process.attended_s) for s in plan.steps) // 2, name
        for fold in folds:
            assert f"{fold.fold_n} ({fold.fold}-fold)" in text, name
