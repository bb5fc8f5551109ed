"""The demo batch with the interpreter killed in the middle of steps and started again on the same image."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, timedelta

import pytest
from tourier import rehearsal
from tourier.batch.examples import demo_text
from tourier.batch.read import read_batch_text
from tourier.batch.workup import work_up
from tourier.dayplan.device import to_device
from tourier.dayplan.plan import plan_days
from tourier.device.client import DayReport, Timer
from tourier.device.errors import Refused
from tourier.device.virtual.board import VirtualTimer
from tourier.device.virtual.cook import Cook
from tourier.device.virtual.kitchen import PlayedKitchen
from tourier.device.virtual.scenarios import scenario
from tourier.known import Known

from shared_schedule import day as D
from shared_schedule import history
from shared_schedule import journal as J
from shared_schedule import messages as m
from shared_schedule import plan as P
from shared_schedule.plan_writer import encode_plan

pytestmark = pytest.mark.powercut
KINDS = {P.BULK, P.LOCK_IN, P.FOLD, P.REST, P.SHEET, P.CUT, P.SHAPE, P.HOLD, P.PROOF, P.BAKE}
DARK_S = 40


def _transitions(journal: bytes) -> list[tuple]:
    return [(r.at_s, *r.body) for r in J.read(journal) if r.type in (J.STEP, J.TICK)]


def _in_hand(states: list[int]) -> list[int]:
    """The states, a rest that is over like one that runs: its minutes go on while the timer is dark."""
    return [D.RUNNING if state == D.READY else state for state in states]


def test_killed_in_the_middle_of_steps_it_resumes_there(tmp_path, record_property):
    record_property("interpreter", "micropython")
    now = rehearsal.DEMO_NOW.astimezone(UTC)
    spec = read_batch_text(demo_text(), "demo", now)
    plan = to_device(plan_days(spec, work_up(spec, Known()), now))
    start_s = plan.steps[0].start_at_s - 600
    good = scenario("good")
    kitchen = PlayedKitchen(good.configure(rehearsal.kitchen_of(spec, start_s, plan)), 5)
    cut_in: dict[int, str] = {}
    seen: list[tuple] = []
    resumed = 0
    with VirtualTimer(tmp_path / "flash.img", kitchen, Cook(plan, good, 5), start_at_s=start_s, seed=5) as timer:
        with Timer.open(timer.port) as link:
            link.send_plan(encode_plan(plan))
        end_s = plan.ready_at_s + 6 * 3600
        while timer.glance.screen != "done" and timer.now_s < end_s:
            timer.run_for(120)
            glance = timer.glance
            index = plan.index_of(glance.step_id) if glance.step_id else -1
            if index < 0 or glance.screen != "step" or glance.step_state != D.RUNNING:
                continue
            step = plan.steps[index]
            if step.kind not in KINDS or (step.kind, step.fold_n) in cut_in:
                continue
            cut_in[step.kind, step.fold_n] = step.name
            with Timer.open(timer.port) as link:
                before = link.state()
                seen = _transitions(link.collect(m.STREAM_JOURNAL))
            timer.power_cut()
            timer.run_for(DARK_S)
            timer.restart()
            timer.run_for(6)
            with Timer.open(timer.port) as link:
                after = link.state()
                kept = _transitions(link.collect(m.STREAM_JOURNAL))
            assert kept[: len(seen)] == seen, f"a transition was lost in {step.name}"
            assert _in_hand(after.past.steps) == _in_hand(before.past.steps), step.name
            assert after.past.started_at_s == before.past.started_at_s, step.name
            # Of two rests that run together either may be shown, as the minutes between have it, or what one waits for.
            states = zip(plan.steps, before.past.steps, strict=True)
            together = {step.step_id for step, state in states if state in (D.RUNNING, D.READY)}
            together |= {step.step_id for step in plan.steps if together & set(step.after)}
            assert timer.glance.step_id == glance.step_id or timer.glance.step_id in together
            resumed += timer.glance.step_id == glance.step_id
        with Timer.open(timer.port) as link:
            journal = link.collect(m.STREAM_JOURNAL)
    print(f"killed {len(cut_in)} times: {', '.join(cut_in.values())}")
    assert len(cut_in) >= 10
    assert resumed * 3 >= len(cut_in) * 2  # the others were over while it was dark
    records = list(J.read(journal))
    assert sum(record.type == J.BOOT for record in records) == len(cut_in)
    assert history.replay(plan, records).steps == [D.DONE] * len(plan.steps)


def _by_id(plan: P.Plan, report: DayReport) -> dict[int, tuple[int, int]]:
    return {
        step.step_id: (state, started_at_s)
        for step, state, started_at_s in zip(plan.steps, report.past.steps, report.past.started_at_s, strict=True)
    }


def test_a_plan_of_many_steps_replaces_another_idle_and_running(tmp_path, record_property):
    """The heap has no room for two whole plans of the demo's size: the old one is put aside, and back if need be."""
    record_property("interpreter", "micropython")
    now = rehearsal.DEMO_NOW.astimezone(UTC)
    spec = read_batch_text(demo_text(), "demo", now)
    work = work_up(spec, Known())
    first, other, later = (
        to_device(plan_days(spec, work, now + timedelta(minutes=minutes))) for minutes in (0, 20, 40)
    )
    stranger = replace(spec, name="Somebody else's breakfast")
    stranger_plan = to_device(plan_days(stranger, work_up(stranger, Known()), now))
    start_s = first.steps[0].start_at_s - 600
    good = scenario("good")
    kitchen = PlayedKitchen(good.configure(rehearsal.kitchen_of(spec, start_s, first)), 6)
    with VirtualTimer(tmp_path / "flash.img", kitchen, Cook(first, good, 6), start_at_s=start_s, seed=6) as timer:
        for plan in (first, other, first):
            with Timer.open(timer.port) as link:
                assert link.send_plan(encode_plan(plan))
        timer.run_for(3 * 3600)
        with Timer.open(timer.port) as link:
            before = link.state()
            assert before.past.steps.count(D.DONE) >= 5
            with pytest.raises(Refused, match="a day is running"):
                link.send_plan(encode_plan(stranger_plan))
            assert link.collect(m.STREAM_PLAN) == encode_plan(first)  # the old plan was taken back
            assert link.state().past.steps == before.past.steps
            assert link.send_plan(encode_plan(later))
            after = link.state()
            assert _by_id(later, after) == _by_id(first, before)
        timer.run_for(1800)
        with Timer.open(timer.port) as link:
            assert link.collect(m.STREAM_PLAN) == encode_plan(later)
            assert link.collect(m.STREAM_CRASH) == b""
            heap = link.device_counters()
        assert timer.boots == 1
        print(f"heap free {heap['heap_free']}, least {heap['heap_low']}")
