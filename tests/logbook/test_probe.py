"""Which dough a reading is of, why there is none, and what readings say of the kitchen itself."""

import logbook_support as support
import numpy as np
import pytest
from tourier.logbook import Outcome, review
from tourier.logbook.account.kitchen import _while_it_cools, chill_share, facts, nights
from tourier.logbook.account.probe import Gap, fault_spans, gaps, owners
from tourier.logbook.account.steps import account
from tourier.logbook.learning.learn import study
from tourier.logbook.record.model import Samples

from shared_schedule import plan as P
from shared_schedule.history import History

# --- gaps ---------------------------------------------------------------------------------------------------------


def test_a_needle_out_of_the_dough_is_no_fault(book):
    """Four minutes without reading while butter is tempered: the timer journals no fault, so the review names none."""
    day = support.Day(support.small_plan(), slips={1: {"probe": "away", "lasts_s": 300}})
    found = review(book.load(day.collect(book)), Outcome())
    assert [g.broken for g in found.account.gaps] == [False]
    probe = next(f for f in found.all if f.key == "probe-fault")
    assert probe.reading.rank == 0 and probe not in found.named + found.possible


def test_out_of_the_dough_for_most_of_a_fold_is_said_but_not_accused(book):
    day = support.Day(support.small_plan(), slips={3: {"probe": "away", "lasts_s": 900}})
    found = review(book.load(day.collect(book)), Outcome())
    probe = next(f for f in found.all if f.key == "probe-fault")
    assert probe.reading.level == "weak" and "probe was out of the dough for 15 min" in probe.reading.sentence
    assert probe not in found.named
    assert any("fold 1 (4-fold)" in sentence for sentence in found.missing)


def test_the_same_gap_with_the_timers_fault_is_named(book):
    day = support.Day(support.small_plan(), slips={3: {"probe": "open", "lasts_s": 900}})
    found = review(book.load(day.collect(book)), Outcome())
    assert found.named[0].key == "probe-fault" and found.named[0].fold_n == 1
    assert found.account.gaps[0] == Gap("probe", *found.account.gaps[0][1:3], True)


def test_a_fault_that_began_before_the_plan_is_one(book):
    """Only its end stands in this batch's journal."""
    batch = book.load(support.Day(support.small_plan(), slips={1: {"probe": "open"}}).collect(book))
    records = tuple(r for r in batch.records if not (r.type == 9 and r.body == (1, 1)))
    half = type(batch)(**{**batch.__dict__, "records": records})
    assert [g.broken for g in gaps(half)] == [True]
    assert fault_spans(half, 1)[0][0] == half.begun_at_s and fault_spans(half, 0) == []


# --- one needle, two pâtons ---------------------------------------------------------------------------------------


def _two_patons():
    """A long rest of pâton 2 in the fridge; pâton 1 is rolled in its midst. Spans as the journal gives them."""
    rest = P.Step(step_id=1, kind=P.REST, name="rest 2", place=P.FRIDGE, paton=2, start_at_s=0, planned_for_s=3600,
                  core_cdeg=900, thickness_um=15000)  # fmt: skip
    fold = P.Step(step_id=2, kind=P.FOLD, name="fold 1", place=P.BENCH, paton=1, start_at_s=1200, planned_for_s=600,
                  attended_s=600, low_cdeg=1200, high_cdeg=1700)  # fmt: skip
    plan = P.Plan([rest, fold], name="two")
    past = History(2)
    past.started_at_s, past.ended_at_s = [1, 1200], [3600, 1800]
    at_s = np.arange(1, 3600, 5)
    chill = 13.0 - 4.0 * at_s / 3600  # four degrees an hour
    return plan, past, at_s, chill


@pytest.mark.parametrize("left_in_c, believed", [(14.0, False), (None, True)])
def test_a_needle_left_in_the_other_paton_is_not_put_down_to_the_rest(left_in_c, believed):
    plan, past, at_s, chill = _two_patons()
    c = np.where((at_s >= 1200) & (at_s < 1800), 14.0, chill)
    if left_in_c is not None:
        c = np.where(at_s >= 1800, left_in_c, c)
    owner = owners(plan, past, Samples(at_s, {0: np.full(len(at_s), 20.0), 1: c}), 3600)
    assert (owner[at_s < 1200] == 0).all() and (owner[(at_s >= 1200) & (at_s < 1800)] == 1).all()
    assert ((owner[at_s >= 1800] == 0).all()) == believed and ((owner[at_s >= 1800] == -1).all()) != believed


def test_a_needle_moved_in_the_midst_of_a_rest_ends_its_readings():
    plan, past, at_s, chill = _two_patons()
    past.started_at_s[1] = past.ended_at_s[1] = 0
    pulled = np.where(at_s >= 2400, chill - 3, chill)
    owner = owners(plan, past, Samples(at_s, {0: np.full(len(at_s), 20.0), 1: pulled}), 3600)
    assert (owner[at_s < 2370] == 0).all() and (owner[at_s >= 2400] == -1).all()
    calm = owners(plan, past, Samples(at_s, {0: np.full(len(at_s), 20.0), 1: chill}), 3600)
    assert (calm == 0).all()


# --- the kitchen --------------------------------------------------------------------------------------------------


def _with_night(fridge_cdeg: int = 400) -> P.Plan:
    """The small plan with the pieces in the fridge overnight, before the proof."""
    plan = support.small_plan(fridge_cdeg=fridge_cdeg)
    proof = next(i for i, s in enumerate(plan.steps) if s.kind == P.PROOF)
    night_s = 9 * 3600
    hold = P.Step(step_id=20, kind=P.HOLD, name="cold hold", place=P.FRIDGE, paton=1,
                  start_at_s=plan.steps[proof].start_at_s, planned_for_s=night_s, min_s=night_s, ideal_s=night_s,
                  max_s=2 * night_s, after=(plan.steps[proof - 1].step_id,), ends_by=P.BY_TIME)  # fmt: skip
    for step in plan.steps[proof:]:
        step.start_at_s += night_s
    plan.steps[proof].after = (20,)
    plan.steps.insert(proof, hold)
    plan.ready_at_s += night_s
    return P.validate(plan)


def _night(book, shelf_c: float, board: str = support.BOARD, plan=None):
    day = support.Day(plan or _with_night(), slips={11: {"start_c": shelf_c}})
    return book.load(day.collect(book, board))


def test_pieces_after_a_night_tell_the_shelf(book):
    batch = _night(book, 9.2)
    (night,) = nights(account(batch))
    assert abs(night.c - 9.2) < 0.8 and night.lay_s == 9 * 3600
    found = review(batch, Outcome())
    assert "fridge stood near 9." in found.kitchen[0] and "believed in 4.0 °C" in found.kitchen[0]
    assert found.named[0].key == "warm-fridge" and "cold hold" in found.named[0].reading.sentence
    calm = _night(book, 4.2, "another timer")
    assert facts(account(calm)) == () and all(f.key != "warm-fridge" for f in review(calm, Outcome()).named)


def test_two_nights_teach_the_shelf_and_the_next_plan_begins_from_it(book):
    for n, shelf_c in enumerate((8.9, 9.3)):
        _night(book, shelf_c, f"timer {n}")
    (value,) = [v for v in study(book).proposals if v.quantity == "fridge_c"]
    assert abs(value.value - 9.1) < 0.6 and value.low < 9.1 < value.high
    assert value.error_before > 4.0 and value.error_after < 1.0 and len(value.batches) == 2


def test_a_fridge_as_believed_teaches_nothing(book):
    for n in range(2):
        _night(book, 4.1, f"timer {n}")
    assert not [v for v in study(book).proposals if v.quantity == "fridge_c"]


def test_rests_that_hardly_chill_are_told_as_a_share(book):
    """Against what the plan's film and air make of the same rests; the small plan's usual rests chill faster."""
    slow = {n: {"start_c": 15.0, "end_c": 14.4} for n in (4, 6, 8)}
    plan = support.small_plan()
    for step in plan.steps:
        step.thickness_um = 15000 if step.kind == P.REST else 0
    acc = account(book.load(support.Day(P.validate(plan), slips=slow).collect(book)))
    share, rests = chill_share(acc)
    assert rests == 3 and share < 0.3
    assert any("rests the fridge chilled the pâton only" in fact for fact in facts(acc))


def test_one_rest_read_in_other_dough_says_nothing_of_the_fridge(book):
    """A day without a fault was told its fridge is warm, because of one rest in three: the middle one counts."""
    plan = support.small_plan()
    for step in plan.steps:
        step.thickness_um = 15000 if step.kind == P.REST else 0
    P.validate(plan)
    like_the_plan = {"start_c": 15.0, "end_c": 8.0}
    unread = {"probe": "open"}
    for n, (odd, other, third) in enumerate(((4, 6, 8), (6, 4, 8), (8, 4, 6), (4, 6, 0), (6, 4, 0))):
        slips = {odd: {"start_c": 15.0, "end_c": 14.4}, other: like_the_plan, third or 8: like_the_plan}
        if not third:  # of two rests, either may be the odd one: the fridge is not blamed
            slips[8] = unread
        acc = account(book.load(support.Day(plan, slips=slips).collect(book, board_id=f"timer {n}")))
        share, rests = chill_share(acc)
        assert rests == (3 if third else 2) and 0.7 < share < 1.4
        assert not any("fridge" in fact for fact in facts(acc))


def test_a_needle_that_climbs_in_the_cold_ends_what_the_rest_tells():
    t_s = np.arange(0.0, 2700.0, 30.0)
    cooling = 14.3 - t_s / 1000.0
    moved = np.where(t_s < 1500, cooling, 12.8 + (t_s - 1500) / 900.0)  # into the other pâton, warm from the bench
    kept_s, kept_c = _while_it_cools(t_s, moved)
    assert len(kept_s) == len(kept_c) and 1400 <= kept_s[-1] <= 1530 and kept_c[-1] < 12.9
    whole_s, _ = _while_it_cools(t_s, cooling)
    assert len(whole_s) == len(t_s)
    # Rolling warms the outside: the core may first climb, and what follows is still the fridge's work.
    late = np.where(t_s < 300, 14.0 + t_s / 300.0, 15.0 - (t_s - 300) / 1000.0)
    assert len(_while_it_cools(t_s, late)[0]) == len(t_s)
