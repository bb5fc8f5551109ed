"""Staged faults in virtual kitchens, reviewed. Short form by default; the whole table with `-m slow` or by its command.

Development seeds 1-20 set the numbers of findings.toml; seeds 101-120 were only ever looked at.
"""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from fault_table import DEVELOPMENT, FAULTS, TEST, measures, missed, play, table  # noqa: E402
from staged import staged_plan  # noqa: E402


@pytest.fixture(scope="module")
def plan_and_text():
    return staged_plan()


def test_the_two_sets_of_seeds_are_apart():
    assert not set(DEVELOPMENT) & set(TEST) and len(TEST) == 20 and len(FAULTS) == 12


@pytest.mark.parametrize("name", ["warm-third-fold", "short-rest", "hot-proof", "cold-dough"])
def test_a_staged_fault_is_named_first(plan_and_text, name):
    row, found = play(name, 1, True, plan_and_text)
    assert row.fired and row.finished, "the fault did not fire, so the review proves nothing"
    assert row.first == row.cause, [(f.key, round(f.probability, 2), f.reading.sentence) for f in found.all[:4]]
    assert row.named_fold == row.fold


def test_a_warm_fridge_is_found_by_the_pieces_and_told_as_a_fact_of_the_kitchen(plan_and_text):
    row, found = play("warm-fridge", 1, True, plan_and_text)
    assert row.fired and row.finished and row.first == row.cause
    assert any("The fridge stood near" in fact for fact in found.kitchen)


def test_a_good_day_is_accused_of_nothing(plan_and_text):
    row, found = play("good", 1, True, plan_and_text)
    assert row.finished and row.accused == (), found.verdict
    assert found.possible == () and found.kitchen == ()


@pytest.mark.slow
@pytest.mark.cpu(3600)
@pytest.mark.parametrize("with_symptoms", [True, False])
def test_the_whole_table_on_the_test_kitchens(plan_and_text, with_symptoms):
    rows = [play(name, seed, with_symptoms, plan_and_text)[0] for name in (*FAULTS, "good") for seed in TEST]
    print("\n" + table(rows))
    assert all(r.fired for r in rows)
    assert missed(measures(rows)) == [], measures(rows)


@pytest.mark.slow
@pytest.mark.cpu(1200)
@pytest.mark.parametrize("name", ["warm-third-fold", "long-proof"])
def test_the_real_firmware_says_the_same(plan_and_text, name):
    """The same day on the interpreter, over the link: the same cause at the same fold."""
    row, _found = play(name, 101, True, plan_and_text, firmware=True)
    assert row.fired and row.finished and (row.first, row.named_fold) == (row.cause, row.fold)
