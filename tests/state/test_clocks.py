"""The plan's local time against the time zone database, through nights in which the clocks change."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import check_day
import plans
import pytest

from shared_schedule import day as D
from shared_schedule import plan as P
from shared_schedule.plan_writer import encode_plan
from shared_schedule.units import EPOCH_UNIX_S

# Independent: the IANA time zone database (tzdata), which is not consulted anywhere in shared_schedule.
NIGHTS = [
    ("Europe/Paris", datetime(2026, 10, 24, 18, tzinfo=UTC)),  # back: 03:00 becomes 02:00
    ("Europe/Paris", datetime(2026, 3, 28, 18, tzinfo=UTC)),  # forward: 02:00 becomes 03:00
    ("America/New_York", datetime(2026, 10, 31, 22, tzinfo=UTC)),
    ("Australia/Lord_Howe", datetime(2026, 10, 3, 10, tzinfo=UTC)),  # by half an hour
    ("Asia/Kathmandu", datetime(2026, 6, 1, 10, tzinfo=UTC)),  # +05:45, never changes
]


def offset_min(zone: ZoneInfo, instant: datetime) -> int:
    found = instant.astimezone(zone).utcoffset()
    assert found is not None
    return int(found.total_seconds()) // 60


def project_s(instant: datetime) -> int:
    return int(instant.timestamp()) - EPOCH_UNIX_S


@pytest.mark.parametrize(("zone_name", "evening"), NIGHTS)
def test_local_time_is_right_all_night(zone_name: str, evening: datetime) -> None:
    zone = ZoneInfo(zone_name)
    quarters = [evening + timedelta(minutes=15 * count) for count in range(24 * 4)]
    change = next((q for q in quarters if offset_min(zone, q) != offset_min(zone, evening)), None)
    assert (change is None) == (zone_name == "Asia/Kathmandu")
    plan = plans.two_days(1)
    plan.offset_min = offset_min(zone, evening)
    if change is not None:
        plan.offset_change_at_s, plan.offset_after_min = project_s(change), offset_min(zone, change)
    plan = P.decode(encode_plan(plan))
    for quarter in quarters:
        assert P.offset_min_at(plan, project_s(quarter)) == offset_min(zone, quarter)


@pytest.mark.parametrize(("zone_name", "evening"), NIGHTS[:2])
def test_a_rest_through_the_change_lasts_as_long_as_any(zone_name: str, evening: datetime) -> None:
    """An hour more or less on the wall is no hour more or less in the fridge."""
    plan = plans.two_days(1)
    shift_s = project_s(evening) - plans.DAY_1
    for step in plan.steps:
        step.start_at_s += shift_s
    plan.ready_at_s += shift_s
    plan.quiet = ()
    state = D.DayState(plan)
    check_day.play(plan, state, project_s(evening), project_s(evening) + 2 * 86400)
    assert state.mode == D.FINISHED
    night = next(index for index, step in enumerate(plan.steps) if step.kind == P.HOLD)
    lasted_s = state.ended_at_s[night] - state.started_at_s[night]
    assert abs(lasted_s - plan.steps[night].planned_for_s) <= 120
    zone = ZoneInfo(zone_name)
    start, end = (
        datetime.fromtimestamp(at_s + EPOCH_UNIX_S, zone).replace(tzinfo=None)
        for at_s in (state.started_at_s[night], state.ended_at_s[night])
    )
    assert abs(abs((end - start).total_seconds() - lasted_s) - 3600) < 1  # the wall did change
