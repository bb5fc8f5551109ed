"""A plan sent over the day that runs: another week's hour takes over only when that is said."""

from types import SimpleNamespace

import pytest
from tourier.cli.common import refuse_second_day
from tourier.cli.run import UserError
from tourier.rehearsal import DEMO_NOW

from shared_schedule import plan as wire
from shared_schedule.plan_writer import encode_plan
from shared_schedule.units import EPOCH_UNIX_S

BEGUN_S = int(DEMO_NOW.timestamp()) - EPOCH_UNIX_S
DAY_S = 86400


def _plan(hours: float) -> wire.Plan:
    step = wire.Step(step_id=1, kind=wire.MIX, name="mix", place=wire.BENCH, start_at_s=BEGUN_S + 600,
                     planned_for_s=600, min_s=600, ideal_s=600, max_s=600)  # fmt: skip
    return wire.Plan([step], name="Hall", made_at_s=BEGUN_S, ready_at_s=BEGUN_S + round(hours * 3600), offset_min=60)


def _running(held: wire.Plan):
    data = encode_plan(held)
    return SimpleNamespace(
        info=SimpleNamespace(running=True, plan_id=wire.plan_id(data)), collect=lambda _stream: data
    )  # fmt: skip


def test_next_weeks_hour_takes_over_only_when_asked():
    timer, next_week = _running(_plan(39.5)), _plan(39.5 + 7 * 24)
    with pytest.raises(UserError, match="with another plan: tourier replan"):
        refuse_second_day(timer, next_week, replace=False)
    with pytest.raises(UserError, match=r"is for Sun 14 Mar 08:30; .* is for Sun 21 Mar 08:30\. tourier replan .*"):
        refuse_second_day(timer, next_week, replace=True)
    refuse_second_day(timer, next_week, replace=True, another_day=True)


@pytest.mark.parametrize("hours", [36.0, 39.5, 45.0])
def test_the_same_mornings_other_hour_takes_over_with_replace(hours):
    refuse_second_day(_running(_plan(39.5)), _plan(hours), replace=True)
