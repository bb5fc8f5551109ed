"""The bench card of every example stands on one sheet of either paper, front and back if need be, in legible type.

Printed by a browser without a window, pages counted by pypdf: neither shares anything with the card's own reckoning.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from datetime import datetime
from html import unescape
from zoneinfo import ZoneInfo

import pytest
from tourier.batch.examples import NAMES, example_text
from tourier.batch.read import read_batch_text
from tourier.batch.workup import work_up
from tourier.dayplan import card_html, plan_days

from shared_schedule import plan as wire

NOW = datetime(2026, 3, 9, 8, tzinfo=ZoneInfo("Europe/Paris"))
PAPERS = {"A4": (595, 842), "Letter": (612, 792)}  # points: ISO 216; ANSI/ASME Y14.1
# Capitals of DejaVu Sans are 0.729 em high. At 0.7 m normal sight reads 5 arc minutes, 1.0 mm (Snellen; definition of
# 6/6 in ISO 8596); a card is asked for 13, so that it is read in passing.
CAPITAL_EM, PT_MM, ARC_MIN_MM = 0.729, 25.4 / 72, 700 * 2.909e-4


@pytest.fixture(scope="module")
def cards():
    found = {}
    for name in NAMES:
        spec = read_batch_text(example_text(name), name, NOW)
        plan = plan_days(spec, work_up(spec), NOW, chance=False)
        found[name] = plan, card_html(plan)
    return found


def browser():
    names = ("chromium", "chromium-browser", "google-chrome", "chrome")
    return next((path for path in map(shutil.which, names) if path), None)


@pytest.mark.timeout(300)
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
            check=True, capture_output=True, timeout=60,
        )  # fmt: skip
        reader = pypdf.PdfReader(pdf)
        pages[name] = len(reader.pages)
        size = reader.pages[0].mediabox
        assert (float(size.width), float(size.height)) == pytest.approx(PAPERS[paper], abs=1)
        for page in reader.pages:  # each says what it belongs to, and ends whole
            assert "Ready" in page.extract_text() and "local hygiene rules" in page.extract_text()
    assert pages == {name: html.count("<main>") for name, (_, html) in cards.items()}
    assert set(pages.values()) == {1, 2}


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
        assert f"{folds[0].low_c:.0f}–{folds[0].high_c:.0f} °C" in text, name
        for sheet in sheets:
            thick = round(sheet.thickness_m * 2000) / 2  # a final sheet is rolled to the half millimetre
            size = f"{sheet.length_m * 100:.0f} × {sheet.width_m * 100:.0f} cm, {thick:g} mm"
            assert size in text, name
        assert "Ruler marks" in text, name
        assert "salt is in" in text and "in the wash" in text, name
        # A box for every row, every tick and every fold.
        boxes = html.count('class="box"')
        ticks = sum(len(s.process.ticks) for s in plan.steps)
        assert boxes >= ticks + len(folds) + sum(bool(s.process.attended_s) for s in plan.steps) // 2, name
        for fold in folds:
            assert f"{fold.fold_n} ({fold.fold}-fold)" in text, name
