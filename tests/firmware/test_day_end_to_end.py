"""A whole two-day batch on the real firmware: sent over the link, played, collected; and cut, pulled, restarted.

The plan is the checks' own (durations common practice, no source); what is asserted is what any plan must give.
"""

from __future__ import annotations

import pytest
from firmware_support import collect, day, send, two_days
from tourier.device.client import Timer

from shared_schedule import day as D
from shared_schedule import history, samples
from shared_schedule import journal as J
from shared_schedule.plan_writer import encode_plan


@pytest.fixture(scope="module")
def played(tmp_path_factory):
    """One day played to its end: (plan, journal, samples, plan bytes, device counters, boots)."""
    plan = two_days()
    with day(tmp_path_factory.mktemp("day") / "flash", plan) as timer:
        timer.run_for(20)
        send(timer, plan)
        end = plan.ready_at_s + 4 * 3600
        timer.run_until(plan.steps[0].start_at_s + 11 * 3600)
        with Timer.open(timer.port) as link:
            night = link.device_counters()
        while timer.glance.screen != "done" and timer.now_s < end:
            timer.run_for(600)
        journal, log, data = collect(timer)
        timer.run_for(310)
        with Timer.open(timer.port) as link:
            counters = link.device_counters()
        counters["heap_free_first_day"] = night["heap_free"]
        return plan, journal, log, data, counters, timer.boots


def test_every_step_is_done_and_journaled(played):
    plan, journal, _log, _data, _counters, boots = played
    records = list(J.read(journal))
    state = history.replay(plan, records)
    assert [D.STATE_WORDS[s] for s in state.steps] == ["done"] * len(plan.steps)
    assert boots == 1
    assert [r.seq for r in records] == list(range(len(records)))
    assert all(a.at_s <= b.at_s for a, b in zip(records, records[1:], strict=False))
    assert sum(r.type == J.FINISHED for r in records) == 1


def test_plan_comes_back_as_it_was_sent(played):
    plan, _journal, _log, data, _counters, _boots = played
    assert data == encode_plan(plan)


def test_one_sample_in_five_seconds_in_three_octets(played):
    plan, journal, log, _data, _counters, _boots = played
    reader = samples.read_blocks(log)
    pairs = list(reader)
    assert reader.unread == 0
    gaps = [b[0] - a[0] for a, b in zip(pairs, pairs[1:], strict=False)]
    assert set(gaps) == {5}
    records = list(J.read(journal))
    assert len(pairs) >= (records[-1].at_s - records[0].at_s) // 5 - 7
    assert len(log) / len(pairs) <= 3.0


def test_rests_kept_their_minimum(played):
    plan, journal, _log, _data, _counters, _boots = played
    state = history.replay(plan, J.read(journal))
    for index, step in enumerate(plan.steps):
        if D.runs_itself(step):
            assert state.ended_at_s[index] - state.started_at_s[index] >= step.min_s


def test_memory_does_not_grow_from_the_first_day_to_the_second(played):
    _plan, _journal, _log, _data, counters, _boots = played
    print(f"heap free: {counters['heap_free_first_day']} in the night, {counters['heap_free']} after the second day")
    assert counters["heap_free"] >= counters["heap_free_first_day"] - 4096
    assert counters["heap_low"] > 40_000


def test_power_cut_in_every_step_resumes_there(tmp_path):
    """The interpreter is killed in the middle of each step and started again on the same image."""
    plan = two_days()
    cuts = 0
    with day(tmp_path / "flash", plan, seed=3) as timer:
        timer.run_for(20)
        send(timer, plan)
        cut_in: set[int] = set()
        end = plan.ready_at_s + 4 * 3600
        while timer.glance.screen != "done" and timer.now_s < end:
            timer.run_for(60)
            glance = timer.glance
            if glance.screen != "step" or glance.step_state != D.RUNNING or glance.step_id in cut_in:
                continue
            cut_in.add(glance.step_id)
            with Timer.open(timer.port) as link:
                before = link.state()
            timer.power_cut()
            timer.run_for(45)
            timer.restart()
            timer.run_for(6)
            with Timer.open(timer.port) as link:
                after = link.state()
            cuts += 1
            assert after.past.steps == before.past.steps
            assert after.past.started_at_s == before.past.started_at_s
            assert after.past.ended_at_s == before.past.ended_at_s
            assert timer.glance.step_id == glance.step_id
        journal, log, _data = collect(timer)
    assert cuts >= len(plan.steps) - 2
    records = list(J.read(journal))
    assert sum(r.type == J.BOOT for r in records) == cuts
    assert history.replay(plan, records).steps == [D.DONE] * len(plan.steps)
    pairs = list(samples.read_blocks(log))
    gaps = [b[0] - a[0] for a, b in zip(pairs, pairs[1:], strict=False)]
    assert max(gaps) <= 45 + 30 + 15  # dark time, what was in memory, boot


def test_pulled_cable_does_not_disturb_the_day(tmp_path):
    plan = two_days()
    with day(tmp_path / "flash", plan) as timer:
        timer.run_for(20)
        send(timer, plan)
        timer.pull_cable()
        timer.run_until(plan.steps[0].start_at_s + 1800)
        timer.plug_cable()
        with Timer.open(timer.port) as link:
            report = link.state()
        assert report.past.steps[0] == D.DONE
