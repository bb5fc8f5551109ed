"""The two nights of the year, played through on the virtual bench timer: the clocks change while the pieces lie cold.

What is checked is what the firmware wrote down, against the hour the guests come, reckoned in UTC. Half a minute of CPU
a night: pytest -m slow tests/rehearsal/test_clock_nights.py
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from tourier import rehearsal
from tourier.batch.examples import demo_text
from tourier.known import Lessons

from shared_schedule import plan as P

PARIS = ZoneInfo("Europe/Paris")
EPOCH = datetime(2020, 1, 1, tzinfo=UTC)
# EU directive 2000/84/EC: last Sunday of March and of October, 01:00 UTC.
NIGHTS = [(datetime(2027, 3, 28, 1, tzinfo=UTC), 1), (datetime(2027, 10, 31, 1, tzinfo=UTC), -1)]


@pytest.mark.slow
@pytest.mark.parametrize(("change", "forward_h"), NIGHTS, ids=["forward", "back"])
def test_the_night_lasts_as_long_as_planned_and_all_is_done_by_the_hour(tmp_path, change, forward_h):
    friday = datetime.combine(change.date() - timedelta(days=2), datetime.min.time(), PARIS).replace(hour=17)
    guests = datetime.combine(change.date(), datetime.min.time(), PARIS).replace(hour=8, minute=30).astimezone(UTC)
    done = rehearsal.rehearse(
        demo_text(), "demo", friday.astimezone(UTC), Lessons(), "good", 1, tmp_path / "kept", lambda *_: None
    )
    account = done.review.account
    over = [s for s in account.of_kind(P.HOLD) if EPOCH + timedelta(seconds=s.planned_from_s) < change
            < EPOCH + timedelta(seconds=s.planned_to_s)]  # fmt: skip
    assert over, "nothing lay cold over the change: nothing was tested"
    for hold in over:
        start, end = (EPOCH + timedelta(seconds=at_s) for at_s in (hold.planned_from_s, hold.planned_to_s))
        wall = end.astimezone(PARIS).replace(tzinfo=None) - start.astimezone(PARIS).replace(tzinfo=None)
        assert wall - (end - start) == timedelta(hours=forward_h)
        # Shaping may have taken longer; what the timer ends, it ends when the plan says.
        assert abs(hold.to_s - hold.planned_to_s) < 15 * 60
    ended = EPOCH + timedelta(seconds=max(s.to_s for s in account.steps if s.to_s is not None))
    assert abs(ended - guests) < timedelta(minutes=20)
