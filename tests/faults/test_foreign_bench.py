"""The foreign fault bench: its days are what they say they are, and the review of a few of them.

The whole table: `python tests/faults/foreign_bench.py --seeds 701-720`. Seeds 1-100 are for development only.
"""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from foreign_bench import DEVELOPMENT, TEST, Bench, batch_of  # noqa: E402
from foreign_day import FAULTS, play, report  # noqa: E402
from staged import staged_plan  # noqa: E402
from tourier.logbook import Outcome, review  # noqa: E402

from shared_schedule import plan as P  # noqa: E402


@pytest.fixture(scope="module")
def plan():
    return staged_plan()[0]


def test_the_two_sets_of_seeds_are_apart():
    assert not set(DEVELOPMENT) & set(TEST)


def test_a_day_is_whole_and_its_seed_decides_it(plan):
    day = play(plan, 3, "hot-proof")
    again, other = play(plan, 3, "hot-proof"), play(plan, 4, "hot-proof")
    assert (day.journal, day.samples) == (again.journal, again.samples) != (other.journal, other.samples)
    batch = batch_of(plan, day)
    assert batch.journal_unread == batch.samples_unread == 0
    assert day.fired and day.truth["proof_c"] > 28.8
    assert np.nanmax(batch.samples.probe_c) < 40.0


def test_a_fault_has_another_size_in_every_kitchen_and_half_is_less(plan):
    sizes = [play(plan, seed, "late-oven").truth["over"] for seed in (1, 2, 3)]
    assert len({round(s) for s in sizes}) == 3
    assert play(plan, 1, "late-oven", half=True).truth["over"] < 0.7 * sizes[0]


def test_what_the_cook_says_is_sometimes_nothing_and_sometimes_wrong():
    said = [report("hot-proof", "as seen", seed)[0] for seed in range(60)]
    likely = {name for name, _often in FAULTS["hot-proof"]}
    assert any(not s for s in said) and any(set(s) - likely for s in said)
    assert not set(report("hot-proof", "wrong", 1)[0]) & likely


@pytest.mark.parametrize("fault", ["butter-too-cold", "slow-fold", "short-proof"])
def test_a_plain_fault_is_named_first(plan, fault):
    day = play(plan, 31, fault)
    assert day.fired
    found = review(batch_of(plan, day), Outcome(*report(fault, "as seen", 31)))
    assert found.named and found.named[0].key == fault, found.verdict


def test_the_bench_counts_what_was_named(plan):
    bench = Bench()
    bench.fault("late-oven", 31)
    assert bench.tally["late-oven"].days == 1 and "late-oven" in bench.table()
    assert plan.steps[-1].kind == P.COOL
