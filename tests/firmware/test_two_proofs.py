"""Two proofs going on and one probe: what was counted of the first is there when the probe comes back to it."""

from __future__ import annotations

import pytest
from firmware_support import two_days
from tourier.device.client import Timer
from tourier.device.virtual.board import VirtualTimer

from shared_schedule import messages as M
from shared_schedule import plan as P
from shared_schedule import states as S
from shared_schedule.plan_writer import encode_plan

MIN = 60


def proofs() -> P.Plan:
    """The head of a whole plan, with two proofs of an hour at the reference temperature and nothing else."""
    plan = two_days()
    at_s = plan.made_at_s + 30 * MIN
    plan.steps = [
        P.Step(
            step_id=n, kind=P.PROOF, name=f"Proof {n} of 2", place=P.ROOM, start_at_s=at_s + n * 18 * MIN,
            planned_for_s=120 * MIN, min_s=0, ideal_s=120 * MIN, max_s=300 * MIN, ends_by=P.BY_DOSE, dose_s=60 * MIN,
        )
        for n in (1, 2)
    ]  # fmt: skip
    return P.validate(plan)


def minutes_of_the_first(flash, between) -> float:
    plan = proofs()
    with VirtualTimer(flash, start_at_s=plan.steps[0].start_at_s - 10) as timer:
        timer.run_for(10)

        def do(*commands):
            with Timer.open(timer.port) as link:
                for command in commands:
                    link.command(*command)

        with Timer.open(timer.port) as link:
            link.send_plan(encode_plan(plan))
        do((M.ACTION_STEP_START, 1))
        timer.run_for(40 * MIN)
        between(timer, do)
        for _ in range(200):
            timer.run_for(MIN)
            with Timer.open(timer.port) as link:
                past = link.state().past
            if past.steps[0] in (S.READY, S.DONE):
                return (timer.now_s - past.started_at_s[0]) / MIN
    raise AssertionError("the first proof was never called")


def undone(timer, do):
    do((M.ACTION_STEP_START, 2, 1))
    timer.run_for(6)
    do((M.ACTION_UNDO,))


def skipped_after_a_power_cut(timer, do):
    do((M.ACTION_STEP_START, 2, 1))
    timer.run_for(2 * MIN)
    timer.restart()
    timer.run_for(20)
    do((M.ACTION_STEP_SKIP, 2))


def skipped(timer, do):
    do((M.ACTION_STEP_START, 2, 1))
    timer.run_for(12 * MIN)
    do((M.ACTION_STEP_SKIP, 2))


@pytest.fixture(scope="module")
def alone_min(tmp_path_factory):
    return minutes_of_the_first(tmp_path_factory.mktemp("alone") / "flash", lambda _timer, _do: None)


@pytest.mark.parametrize("between", [undone, skipped, skipped_after_a_power_cut])
def test_a_second_proof_begun_and_let_go_costs_the_first_nothing(tmp_path, alone_min, between):
    assert 50 < alone_min < 119, "called by its dose, not by the plan's two hours"
    assert minutes_of_the_first(tmp_path / "flash", between) == pytest.approx(alone_min, abs=3.0)
