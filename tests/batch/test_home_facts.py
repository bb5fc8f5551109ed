"""The small home batch in inches comes out as home bakers describe it. All: common practice, no source."""

import itertools
from datetime import UTC, datetime

import pytest
from tourier.batch.examples import example_text
from tourier.batch.read import read_batch_text
from tourier.batch.workup import work_up
from tourier.known import Known

from shared_schedule import plan as ss

IN = 0.0254
MIN = 60
NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)


@pytest.fixture(scope="module")
def home():
    return work_up(read_batch_text(example_text("home-inches"), "", NOW), Known())


@pytest.fixture(scope="module")
def stages(home):
    return {s.step: s for s in home.stages}


@pytest.fixture(scope="module")
def steps(home):
    return {s.key: s for s in home.process}


def inches(*metres):
    return pytest.approx(tuple(metres), abs=1 / 16)


def test_block_is_8_by_8_in(stages):
    block = stages["butter block"]
    assert (block.length_m / IN, block.width_m / IN) == inches(8, 8)
    assert 0.004 < block.thickness_m < 0.012


def test_dough_is_8_by_16_in(stages):
    dough = stages["dough sheet"]
    assert (dough.length_m / IN, dough.width_m / IN) == inches(16, 8)


def test_butter_in_the_middle_and_both_ends_over_it(home, stages, steps):
    assert home.spec.butter.lock_in == "two-flap"
    lock = stages["lock-in"]
    assert (lock.length_m / IN, lock.width_m / IN) == inches(8, 8)
    assert lock.thickness_m == pytest.approx(stages["butter block"].thickness_m + 2 * stages["dough sheet"].thickness_m)
    assert "two-flap" in steps["p1.lockin"].name


def test_rolled_to_8_by_20_in(stages):
    for n in (1, 2, 3):
        sheet = stages[f"fold {n} rolled"]
        assert (sheet.length_m / IN, sheet.width_m / IN) == inches(20, 8)
        assert sheet.thickness_m >= 0.008


def test_first_a_4_fold_then_3_folds_three_in_all(home, steps):
    folds = [s for s in home.process if s.kind == ss.FOLD]
    assert [f.fold for f in folds] == [4, 3, 3]
    assert [f.fold_of for f in folds] == [3, 3, 3]
    assert home.layers[-1]["fat"] == 36
    assert home.layers[-1]["total"] == 73


def test_rests_of_about_an_hour_in_the_fridge(steps):
    for n in (1, 2, 3):
        rest = steps[f"p1.rest{n}"]
        assert rest.place == ss.FRIDGE
        assert rest.ideal_s == 60 * MIN
        assert rest.min_s >= 20 * MIN


def test_freezer_before_lock_in_and_before_sheeting(steps):
    dough, last = steps["p1.freeze"], steps["p1.finalchill"]
    assert (dough.place, dough.ideal_s) == (ss.FREEZER, 30 * MIN)
    assert (last.place, last.ideal_s) == (ss.FREEZER, 15 * MIN)
    assert dough.min_s <= 30 * MIN <= dough.max_s
    assert dough.key in steps["p1.lockin"].after
    assert last.key in steps["p1.sheet"].after


def test_ice_about_15_min_then_wiped_dry(steps):
    ice = steps["p1.ice"]
    assert ice.ideal_s == 15 * MIN
    assert any("dry" in tick for tick in ice.ticks)
    assert ice.key in steps["p1.lockin"].after


def test_sheet_between_an_eighth_and_a_quarter_inch(stages):
    assert 1 / 8 <= stages["final sheet"].thickness_m / IN <= 1 / 4


def test_triangles_and_strips_as_said(home):
    croissant, strip = home.spec.pieces
    assert (croissant.base_m / IN, croissant.height_m / IN) == inches(4, 6)
    assert 8 <= croissant.stretch_to_m / IN <= 9
    assert strip.base_m / IN == pytest.approx(2)
    assert [(p["count"], p["cut"]) for p in home.cuts["pieces"]] == [(16, 16), (8, 8)]


def test_proof_about_3_h_at_room_temperature(steps):
    proof = steps["proof"]
    assert proof.ideal_s == pytest.approx(3 * 3600, rel=0.2)
    assert proof.min_s < 3 * 3600 < proof.max_s


def test_egg_wash_has_salt_and_milk(steps):
    text = " ".join(steps["wash"].ticks)
    assert "pinch of salt" in text
    assert "little milk" in text


def test_mass_balance(home, stages):
    butter = stages["butter block"]
    volume = butter.length_m * butter.width_m * butter.thickness_m
    assert volume * 939 * 1000 == pytest.approx(home.butter_block_g, rel=0.01)
    assert home.dough_g == pytest.approx(sum(line.g for line in home.lines))
    share = home.butter_block_g / (home.butter_block_g + home.dough_g * 0.98) * 100
    assert share == pytest.approx(27.0, abs=0.15)  # 2 % of the dough stays in the bowl
    final = stages["final sheet"]
    assert final.length_m * final.width_m * final.thickness_m == pytest.approx(
        stages["lock-in"].length_m * stages["lock-in"].width_m * stages["lock-in"].thickness_m, rel=1e-3
    )


def test_marks_are_in_sixteenths_and_in_order(home):
    for sheet in home.cuts["marks_inch"]:
        for row in sheet:
            assert all(isinstance(n, int) for n in row["at_16"])
            assert all(a < b for a, b in itertools.pairwise(row["at_16"]))
