"""The buffer of a batch file: aimed for by the planner, and what the advice promises is what it gives."""

from datetime import UTC, datetime, timedelta

import pytest
from tourier.batch.examples import example_text
from tourier.batch.read import BatchError, read_batch_text
from tourier.batch.workup import work_up
from tourier.dayplan.model import Impossible
from tourier.dayplan.plan import plan_days
from tourier.known import Known

NOW = datetime(2026, 11, 25, 10, 0, tzinfo=UTC)


def plan(text: str):
    spec = read_batch_text(text, "", NOW)
    return plan_days(spec, work_up(spec, Known()), NOW)


def without(name: str) -> str:
    return "".join(x for x in example_text(name).splitlines(True) if not x.startswith("buffer"))


def test_the_day_ends_a_buffer_before_the_hour():
    day = plan(example_text("hot-kitchen"))
    assert day.planned_at == day.wished[0] - timedelta(minutes=45)
    assert plan(without("hot-kitchen")).planned_at == day.wished[0]


def test_the_evening_ends_a_buffer_before_bed():
    """Hot kitchen: asleep from 22:00, buffer 45 min."""
    last = max(s.end for s in plan(example_text("hot-kitchen")).steps if s.process.key == "p1.shape")
    assert last.strftime("%H:%M") <= "21:15"


@pytest.mark.parametrize("name", ["hot-kitchen", "home-inches"])
def test_the_buffer_advised_makes_it_95_percent_sure(name):
    day = plan(without(name))
    assert day.chance.ready_by < 0.8
    advised = next(w for w in day.warnings if "buffer = " in w).split('"')[1]
    again = plan(f'buffer = "{advised}"\n' + without(name))
    assert again.chance.ready_by >= 0.93  # 2,000 simulated days: one standard error is half a percent


@pytest.mark.parametrize("name", ["hot-kitchen", "home-inches", "mixed-shapes", "puff"])
def test_the_examples_are_likely_to_be_ready(name):
    assert plan(example_text(name)).chance.ready_by >= 0.8


def test_a_buffer_that_does_not_fit_says_how_much_does():
    with pytest.raises(Impossible, match=r'A buffer of 3 h does not fit.*Write buffer = "(1 h )?\d+ min"') as refused:
        plan('buffer = "3 h"\n' + without("demo"))
    offered = refused.value.give_up[0]
    assert offered == f"Be ready at {refused.value.nearest:%a %d %b %H:%M} instead, which leaves your buffer of 3 h."
    # Taken at its word, the offer is a plan, with the buffer before it: no second refusal, no other hour.
    ready = f'ready = "{refused.value.nearest:%Y-%m-%d %H:%M}"'
    text = without("demo").replace('ready = "Sunday 08:30"', ready)
    assert ready in text
    day = plan('buffer = "3 h"\n' + text)
    assert day.planned_at == day.wished[0] - timedelta(hours=3)


@pytest.mark.parametrize("bad", ['"7 h"', "30", '"-5 min"'])
def test_a_buffer_is_a_span_of_up_to_six_hours(bad):
    with pytest.raises(BatchError, match="buffer"):
        read_batch_text(f"buffer = {bad}\n" + without("demo"), "", NOW)
