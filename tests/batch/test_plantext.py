"""What `tourier plan` prints of sheets, marks and water: figures a baker can use (wording of this project)."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest
from tourier import plantext
from tourier.batch.examples import example_text
from tourier.batch.read import read_batch_text
from tourier.batch.workup import work_up
from tourier.known import Known

NOW = datetime(2026, 3, 9, 8, tzinfo=UTC)


def worked(text):
    return work_up(read_batch_text(text, "a batch", NOW), Known())


@pytest.fixture(scope="module")
def puff():
    return worked(example_text("puff"))


def test_the_thinnest_fat_layer_is_a_figure_and_never_nought(puff):
    """729 layers in a sheet of 3.5 mm: about two thousandths of a millimetre each."""
    rows = {line.split("  ")[0]: line for line in plantext.sheet_lines(puff)}
    for stage in puff.stages:
        if stage.fat_layer_m:
            said = float(rows[stage.step].split()[-2])
            assert said * 1e-3 == pytest.approx(stage.fat_layer_m, rel=0.06), stage.step


def test_strips_that_take_the_same_marks_are_named_together(puff):
    lines = plantext.mark_lines(puff, 1)
    cm = [line for line in lines if ", cm: " in line]
    figures = [line.split(", cm: ")[1] for line in cm if "strip" in line]
    assert len(figures) == len(set(figures))
    strips = len(puff.cuts["sheets"][0]["layout"].strips)
    assert strips > 1 and f"strips 1 {'to' if strips > 2 else 'and'} {strips}, both edges, cm: " in "".join(cm)


def test_marks_are_the_same_on_every_paper(puff):
    """Cut map, printed card and command line round alike: 9.05 cm was 9.0 on one and 9.1 on another."""
    listed = {f for line in plantext.mark_lines(puff, 1) if ", cm: " in line for f in line.split(", cm: ")[1].split()}
    drawn = set(re.findall(r">(\d+\.\d)</text>", plantext.cut_map_svg(puff)))
    assert listed == drawn


@pytest.mark.parametrize(
    ("strips", "said"),
    [
        ([(1, "near"), (1, "far")], "strip 1, both edges"),
        ([(1, "near"), (2, "near")], "strips 1 and 2, near edge"),
        ([(s, e) for s in (1, 2, 3, 4) for e in ("near", "far")], "strips 1 to 4, both edges"),
        ([(1, "near"), (3, "near"), (6, "near")], "strips 1, 3 and 6, near edge"),
        ([(1, "far"), (2, "near"), (2, "far")], "strip 1, far edge; strip 2, both edges"),
    ],
)
def test_edges_are_named_as_one_would_say_them(strips, said):
    assert plantext._where([{"strip": s, "edge": e} for s, e in strips]) == said


def test_a_gram_or_two_of_ice_is_not_asked_for(puff):
    """Water one degree colder than the tap's is water of that temperature, not "2 g of it as ice"."""
    text = example_text("puff")
    found = {}
    for tap in range(10, 24):
        work = worked(text + f'\n[kitchen.mixing]\ntap = "{tap} \u00b0C"\n')
        water = sum(line.g for line in work.lines if line.name in ("water", "vinegar"))
        found[tap] = work.ice_g / water
        said = plantext.formula_lines(work)[-1]
        assert (" as ice" in said) == (work.ice_g > 0)
        assert work.water_temp_c == pytest.approx(puff.water_temp_c, abs=0.01)
        assert work.ice_g == 0 or work.ice_g / water >= 0.025
    assert min(found.values()) == 0 and max(found.values()) > 0.025
