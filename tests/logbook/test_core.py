"""The estimated core against the virtual kitchen's own truth, where readings were taken away."""

import logbook_support as support
import numpy as np
from test_learn import kitchen_batch
from tourier.logbook.account.core import estimate
from tourier.logbook.account.steps import account


def _masked(book, seed, factor, hidden):
    """Two rests with the probe lost in `hidden` (s from the first rest); returns (account, at_s, truth)."""
    raw, journal, samples = kitchen_batch(seed, factor, 4.0, support.BEGIN + seed * 10**5)
    batch = book.load(book.collect("b", raw, journal, samples))
    truth = batch.samples.probe_c.copy()
    begin = batch.plan.steps[0].start_at_s
    lost = (batch.samples.at_s >= begin + hidden[0]) & (batch.samples.at_s < begin + hidden[1])
    batch.samples.probe_c[lost] = np.nan
    assert lost.sum() > 100
    return account(batch), batch.samples.at_s.astype(float), truth


def test_a_gap_between_readings_is_bridged_within_half_a_degree(book):
    inside = total = 0
    errors = []
    for seed, factor in ((31, 0.7), (32, 1.0), (33, 1.4)):
        acc, at_s, truth = _masked(book, seed, factor, (900, 3600))
        found = estimate(acc)
        assert len(found) == 1 and found[0].at_s[-1] - found[0].at_s[0] > 2600
        seen = np.interp(found[0].at_s, at_s, truth)
        errors.append(float(np.abs(found[0].middle_c - seen).max()))
        inside += int(((found[0].low_c - 0.15 <= seen) & (seen <= found[0].high_c + 0.15)).sum())
        total += len(seen)
    print(f"\nworst error {max(errors):.2f} °C, {inside / total:.0%} of the instants inside the band")
    assert max(errors) < 0.6 and inside / total > 0.75


def test_a_loss_to_the_end_gets_a_band_that_widens_and_holds_the_truth(book):
    acc, at_s, truth = _masked(book, 34, 1.2, (6900, 11400))  # the second rest, to the log's end
    first = estimate(acc)[-1]
    width = first.high_c - first.low_c
    assert width[0] < 0.2 and width.max() > 1.0
    seen = np.interp(first.at_s, at_s, truth)
    assert ((first.low_c - 0.3 <= seen) & (seen <= first.high_c + 0.3)).mean() > 0.7


def test_without_thermal_fields_there_is_no_estimate(book):
    day = support.Day(support.small_plan(laminate_k_mw=0), slips={4: {"probe": "open"}})
    assert estimate(account(book.load(day.collect(book)))) == []
