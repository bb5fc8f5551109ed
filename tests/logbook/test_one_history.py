"""The account of a batch and a new plan take what happened from the one replay: the timer's day, field by field."""

import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from tourier.dayplan import replan
from tourier.logbook.account.steps import CAUSE_WORDS, account
from tourier.logbook.record import decode
from tourier.logbook.record.model import Batch, Samples

from shared_schedule import history

sys.path.insert(0, str(Path(__file__).parents[1] / "both"))
import streams  # noqa: E402

EPOCH = datetime(2020, 1, 1, tzinfo=UTC)


def at(at_s: int) -> datetime | None:
    return EPOCH + timedelta(seconds=at_s) if at_s else None


@pytest.mark.parametrize("seed", range(101, 131))
def test_timer_account_and_replan_tell_the_same_day(seed, monkeypatch):
    life = streams.Life(seed)
    monkeypatch.setattr(replan, "to_device", lambda plan: plan)
    clocked = 0
    for turn in range(150):
        life.turn()
        if turn % 10 != 9:
            continue
        state, plan = life.state, life.plan
        records, unread, corrections = decode.read_journal(bytes(life.octets))
        clocked += len(corrections)
        again, _, none = decode.read_journal(b"".join(_encoded(r) for r in records))
        assert again == records and all(moved == 0 for _from, _to, moved in none), "a log read again moves no more"
        told = account(Batch(1, "", "", plan, b"", records, Samples.empty()))
        what = replan.happened(plan, state)
        for index, step in enumerate(told.steps):
            assert (step.state, step.from_s or 0, step.ready_s or 0, step.to_s or 0) == (
                state.steps[index], state.started_at_s[index], state.ready_at_s[index], state.ended_at_s[index],
            )  # fmt: skip
            assert step.ended_by == CAUSE_WORDS.get(state.cause[index], "")
            assert [on for _text, on in step.ticks] == [
                bool(state.ticked[index] >> n & 1) for n in range(len(plan.steps[index].ticks))
            ]
            taken = what.get(plan.steps[index].step_id)
            assert (taken is None) == (state.steps[index] == 0)
            if taken is not None:
                assert taken.state == (1 if state.steps[index] == 4 else state.steps[index])
                assert (taken.started, taken.ended) == (at(state.started_at_s[index]), at(state.ended_at_s[index]))
        assert [(cdeg, verdict) for _at, cdeg, verdict in told.bends] == state.bends
        assert history.replay(plan, records).same_as(state)
        assert unread == 0
    test_timer_account_and_replan_tell_the_same_day.clocks = clocked + getattr(
        test_timer_account_and_replan_tell_the_same_day, "clocks", 0
    )


def test_clocks_were_set_in_those_days():
    assert test_timer_account_and_replan_tell_the_same_day.clocks >= 20


def _encoded(record):
    from shared_schedule import journal as J

    return J.encode(record.type, record.seq, record.at_s, *record.body)
