"""Nights in which the clocks change: every duration of a plan is of real seconds, the wall clock is for people.

The changes are looked for, and all is reckoned again, in UTC with the standard library alone; the zones' rules are the
IANA database's. Half-hour and 45-minute zones, a change of half an hour (Lord Howe) and the southern half are among
them.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from days import spec, step, workup
from tourier.batch.model import AwaySpan
from tourier.dayplan.device import to_device
from tourier.dayplan.ical import stretches
from tourier.dayplan.jsonable import step_json
from tourier.dayplan.plan import adopt, plan_days
from tourier.dayplan.replan import replan

from shared_schedule import plan as wire

ZONES = ("Europe/Paris", "America/Chicago", "America/St_Johns", "America/Santiago", "Australia/Adelaide",
         "Australia/Lord_Howe", "Pacific/Auckland", "Pacific/Chatham")  # fmt: skip
EPOCH = datetime(2020, 1, 1, tzinfo=UTC)
YEARS = (2027, 2028)


def changes(name: str) -> list[datetime]:
    """The instants (UTC) at which a zone's clocks change in these years, to the quarter of an hour."""
    zone, found = ZoneInfo(name), []
    at = datetime(YEARS[0], 1, 1, tzinfo=UTC)
    while at.year <= YEARS[-1]:
        after = at + timedelta(minutes=15)
        if at.astimezone(zone).utcoffset() != after.astimezone(zone).utcoffset():
            found.append(after)
        at = after
    return found


def night(change: datetime, name: str):
    """A plan whose dough lies in the fridge over the change: asked for the evening before, ready at half past nine."""
    zone = ZoneInfo(name)
    day = (change + timedelta(hours=6)).astimezone(zone).date()  # some change at midnight
    steps = [
        step("mix", wire.MIX, wire.BENCH, 25, 25),
        step("hold", wire.HOLD, wire.FRIDGE, 600, 2, ["mix"], {"mix": 5}, 480, 960),
        step("fold", wire.FOLD, wire.BENCH, 12, 12, ["hold"], {"hold": 5}, fold=3),
        step("bake", wire.BAKE, wire.OVEN, 30, 2, ["fold"], {"fold": 10}),
    ]
    sleep = AwaySpan("sleep", start=time(20, 30), end=time(5, 0))
    s = replace(spec(ready=datetime.combine(day, time(9, 30), zone), away=(sleep,)), zone=name)
    now = datetime.combine(day - timedelta(days=1), time(14, 0), zone).astimezone(UTC)
    return s, plan_days(s, workup(s, steps), now, chance=False), now


@pytest.mark.parametrize("name", ZONES)
def test_durations_starts_and_ends_agree_in_utc(name):
    zone, nights = ZoneInfo(name), changes(name)
    assert len(nights) == 4
    for change in nights:
        _, plan, now = night(change, name)
        device = to_device(plan)
        said = {one["id"]: one for one in map(step_json, plan.steps)}
        by_wall = 0
        for planned, sent in zip(plan.steps, device.steps, strict=True):
            start, end = (datetime.fromisoformat(said[sent.step_id][edge]) for edge in ("start", "end"))
            lasts = end.astimezone(UTC) - start.astimezone(UTC)
            assert EPOCH + timedelta(seconds=sent.start_at_s) == start.astimezone(UTC)
            assert timedelta(seconds=sent.planned_for_s) == lasts == timedelta(seconds=planned.duration_s)
            assert sent.min_s <= lasts.total_seconds() <= sent.max_s
            for shown in (start, end, planned.hands_off):
                # People read the hour their own clock shows at that instant.
                assert shown.replace(tzinfo=None) == shown.astimezone(UTC).astimezone(zone).replace(tzinfo=None)
            assert planned.hands_off.astimezone(UTC) - start.astimezone(UTC) == timedelta(seconds=sent.attended_s)
            if start.astimezone(UTC) < change < end.astimezone(UTC):
                assert end.replace(tzinfo=None) - start.replace(tzinfo=None) != lasts
                by_wall += 1
        assert by_wall == 1, "no step lay over the change: nothing was tested"
        begin, last = plan.steps[0], plan.steps[-1]
        waits = sum(b.start_at_s - a.end_at_s for a, b in zip(plan.steps, plan.steps[1:], strict=False))
        whole = sum(step.planned_for_s for step in device.steps) + waits
        assert last.end.astimezone(UTC) - begin.start.astimezone(UTC) == timedelta(seconds=whole)
        assert plan.planned_at == plan.wished[0] and f"{plan.planned_at:%H:%M}" == "09:30"
        assert len(stretches(plan)) >= 2


@pytest.mark.parametrize("name", ["Europe/Paris", "Australia/Lord_Howe"])
def test_a_replan_over_the_change_moves_by_real_time(name):
    """Taken back from the timer and planned anew for an hour 40 min later: each move is said in real minutes."""
    for change in changes(name):
        s, plan, now = night(change, name)
        again = adopt(plan.jobs, to_device(plan))
        assert [(x.start_at_s, x.end_at_s) for x in again.steps] == [(x.start_at_s, x.end_at_s) for x in plan.steps]
        later = s.wished_at.astimezone(UTC) + timedelta(minutes=40)
        found = replan(again, {}, now, ready=later)
        was = {x.step_id: x.start for x in plan.steps}
        assert found.moved and found.late_s == 0
        for moved in found.moved:
            real = moved.now.astimezone(UTC) - was[moved.step_id].astimezone(UTC)
            assert timedelta(seconds=moved.by_s) == real
        for hold in found.holds:
            held = found.plan.step("hold")
            assert hold.until.astimezone(UTC) - held.start.astimezone(UTC) == timedelta(seconds=held.process.max_s)
