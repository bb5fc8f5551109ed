"""The day's machine under every event in every state, and under cooks who press anything at any time."""

from __future__ import annotations

import copy
import itertools

import plans
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from shared_schedule import day as D
from shared_schedule import history
from shared_schedule import journal as J
from shared_schedule import plan as P
from shared_schedule import timeline as T
from shared_schedule.plan_writer import encode_plan

STATES = (D.WAITING, D.RUNNING, D.DONE, D.SKIPPED, D.READY)
EVENTS = (
    D.EV_START_STEP, D.EV_STEP_DONE, D.EV_SKIP, D.EV_UNDO, D.EV_TICK, D.EV_OVERRIDE, D.EV_TIME, D.EV_TEMPERATURE,
    D.EV_DOSE, D.EV_CLOSE, D.EV_FLOW, 0, 99,
)  # fmt: skip
t = plans.DAY_1


def frozen(state: D.DayState) -> tuple:
    """Everything in a state that an event may change, comparable."""
    return tuple(copy.deepcopy(value) for _name, value in sorted(vars(state).items()))


def one_step(kind_of_end: int) -> P.Plan:
    more = {} if kind_of_end == P.BY_COOK else {"ends_by": kind_of_end, "min_s": 60}
    if kind_of_end == P.BY_CORE:
        more["core_cdeg"] = 400
    if kind_of_end == P.BY_DOSE:
        more["dose_s"] = 600
    return plans.chain((P.PROOF if more else P.FOLD, 10, {**more, "fold": 3, "ticks": ("look",)}))


@pytest.mark.parametrize(("step_state", "event"), itertools.product(STATES, EVENTS))
@pytest.mark.parametrize("ends_by", [P.BY_COOK, P.BY_TIME, P.BY_CORE, P.BY_DOSE])
@pytest.mark.parametrize("ticked", [0, 1])
def test_every_event_in_every_state(step_state: int, event: int, ends_by: int, ticked: int) -> None:
    """The new state is the table's or the old one; refusals change nothing at all."""
    plan = one_step(ends_by)
    state = D.DayState(plan)
    if step_state != D.WAITING:
        D.restore(plan, state, 1, D.WAITING, D.SKIPPED if step_state == D.SKIPPED else D.RUNNING, 1, t)
    if step_state in (D.DONE, D.READY):
        D.restore(plan, state, 1, D.RUNNING, step_state, 1, t + 1)
    state.ticked[0] = ticked
    arg = {D.EV_TEMPERATURE: 400, D.EV_DOSE: 600}.get(event, 0)
    for _ in range(D.CORE_SAMPLES - 1 if event == D.EV_TEMPERATURE else 0):
        D.step(plan, state, (event, 1, arg), t + 900)
    before = frozen(state)
    old = state.steps[0]
    effects = D.step(plan, state, (event, 1, arg), t + 900)
    new = state.steps[0]
    assert new == old or (old, new) in D.EDGES
    if new != old and event != D.EV_UNDO and new == D.TABLE.get((old, event)):
        assert any(effect[0] == D.FX_JOURNAL_STEP and effect[2][:2] == (old, new) for effect in effects)
    if any(effect[0] == D.FX_REFUSED for effect in effects):
        assert len(effects) == 1 and frozen(state) == before
    if event in (D.EV_CLOSE, D.EV_FLOW, 0, 99):
        assert effects[0][0] == D.FX_REFUSED, "inside events are not for outside"
    if (old, event) not in D.TABLE:
        assert new == old or event == D.EV_UNDO


def test_the_table_reaches_every_state_and_has_no_dead_end_but_the_ends() -> None:
    reached = {D.WAITING}
    while True:
        more = {target for source, target in D.EDGES if source in reached} | reached
        if more == reached:
            break
        reached = more
    assert reached == set(STATES)
    assert set(STATES) - {source for source, _target in D.EDGES} == {D.DONE, D.SKIPPED}


class Cook(RuleBasedStateMachine):
    """Two pâtons and somebody who presses what he likes, pulls the plug, sets the clock and changes the plan."""

    @initialize(patons=st.integers(1, 3))
    def begin(self, patons: int) -> None:
        self.plan = plans.two_days(patons)
        self.state = D.DayState(self.plan)
        self.now_s = t
        self.records: list[J.Record] = []
        self.seq = 0

    def feed(self, event: tuple[int, int, int]) -> None:
        before = frozen(self.state)
        effects = D.step(self.plan, self.state, event, self.now_s)
        if any(effect[0] == D.FX_REFUSED for effect in effects):
            assert len(effects) == 1 and frozen(self.state) == before
        for effect in effects:
            if effect[0] in (D.FX_JOURNAL_STEP, D.FX_JOURNAL_TICK):
                self.records += list(J.read(J.step_record(self.seq, self.now_s, effect)))
                self.seq += 1

    @rule(
        kind=st.sampled_from([D.EV_START_STEP, D.EV_STEP_DONE, D.EV_OVERRIDE, D.EV_SKIP, D.EV_UNDO]),
        place=st.integers(0, 60),
        arg=st.sampled_from([0, D.DELIBERATE]),
    )
    def press_anything(self, kind: int, place: int, arg: int) -> None:
        step_id = self.plan.steps[place].step_id if place < len(self.plan.steps) else 250
        self.feed((kind, step_id, arg))

    @rule(times=st.integers(1, 12), wait_s=st.sampled_from([0, 3, 600, 3700]))
    def press_go(self, times: int, wait_s: int) -> None:
        for _ in range(times):
            event = D.go_event(self.plan, self.state, self.now_s)
            if event is None:
                return
            step = self.plan.steps[self.plan.index_of(event[1])]
            if event[0] == D.EV_START_STEP and step.flags & P.ASK_OVEN_EMPTY:
                self.feed((D.EV_TICK, event[1], D.TICK_OVEN))
            for tick in range(len(step.ticks) if event[0] == D.EV_STEP_DONE else 0):
                self.feed((D.EV_TICK, event[1], tick))
            self.feed(event)
            self.now_s += wait_s
            self.feed((D.EV_TIME, 0, 0))

    @rule(place=st.integers(0, 60), arg=st.integers(0, 31))
    def tick(self, place: int, arg: int) -> None:
        self.feed((D.EV_TICK, self.plan.steps[place % len(self.plan.steps)].step_id, arg))

    @rule(passed_s=st.sampled_from([1, 5, 61, 1800, 7200, 40000]))
    def wait(self, passed_s: int) -> None:
        self.now_s += passed_s
        self.feed((D.EV_TIME, 0, 0))

    @rule(place=st.integers(0, 60), cdeg=st.sampled_from([-32768, -500, 380, 420, 1500]), count=st.integers(1, 8))
    def probe(self, place: int, cdeg: int, count: int) -> None:
        for _ in range(count):
            self.now_s += 5
            self.feed((D.EV_TEMPERATURE, self.plan.steps[place % len(self.plan.steps)].step_id, cdeg))

    @rule(dose_s=st.sampled_from([0, 5000, 20000]))
    def proof(self, dose_s: int) -> None:
        for step in self.plan.steps:
            self.feed((D.EV_DOSE, step.step_id, dose_s))

    @rule()
    def power_cut(self) -> None:
        """What comes back from the journal goes on as the state."""
        again = history.replay(self.plan, self.records, D.DayState(self.plan))
        assert again.same_as(self.state)
        self.state = again

    @rule(later_s=st.sampled_from([0, 900]))
    def new_plan(self, later_s: int) -> None:
        plan = P.decode(encode_plan(self.plan))
        for step in plan.steps:
            step.start_at_s += later_s
        carried = D.carry_over(self.plan, self.state, plan)
        assert carried.same_as(self.state)
        self.plan, self.state = plan, carried

    @invariant()
    def is_legal(self) -> None:
        if not hasattr(self, "plan"):
            return
        state, plan = self.state, self.plan
        assert history.replay(plan, self.records).same_as(state), "replay differs from what was lived"
        for index in range(len(plan.steps)):
            step_state = state.steps[index]
            started, ready, ended = state.started_at_s[index], state.ready_at_s[index], state.ended_at_s[index]
            assert (step_state in (D.DONE, D.SKIPPED)) == bool(ended)
            assert step_state != D.WAITING or not (started or ready or ended)
            assert step_state not in (D.RUNNING, D.READY, D.DONE) or started
            assert not (started and ended) or started <= ended
            if step_state in (D.RUNNING, D.READY, D.DONE):
                assert all(state.steps[other] != D.WAITING for other in D.before(state, index))
        assert (state.mode == D.FINISHED) == all(s in (D.DONE, D.SKIPPED) for s in state.steps)

    @invariant()
    def the_cook_is_never_stuck(self) -> None:
        """While the day is not finished, one step is in focus, and some press on it is legal or it waits for time."""
        if not hasattr(self, "plan") or self.state.mode == D.FINISHED:
            return
        index = D.focus(self.plan, self.state, self.now_s)
        assert index >= 0 and self.state.steps[index] not in (D.DONE, D.SKIPPED)
        event = D.go_event(self.plan, self.state, self.now_s)
        assert event is not None
        reason = D.refusal(self.plan, self.state, event, self.now_s)
        assert reason in (0, D.R_TOO_EARLY, D.R_UNTICKED, D.R_OVEN, D.R_HANDS_FULL, D.R_BEFORE), reason
        if reason == D.R_BEFORE:  # only a countdown is in focus then
            assert D.runs_itself(self.plan.steps[index]) and D.is_open(self.state.steps[index])

    @invariant()
    def projection_keeps_what_it_must(self) -> None:
        if not hasattr(self, "plan") or self.seq % 5:
            return
        found = T.project(self.plan, self.state, self.now_s)
        assert found.passes <= 7
        for index, step in enumerate(self.plan.steps):
            assert found.start_at_s[index] <= found.end_at_s[index]
            if self.state.steps[index] == D.WAITING:
                assert found.start_at_s[index] >= self.now_s
                for other in D.before(self.state, index):
                    assert found.free_at_s[other] <= found.start_at_s[index]
                if D.runs_itself(step):
                    assert found.end_at_s[index] - found.start_at_s[index] >= step.min_s


Cook.TestCase.settings = settings(
    max_examples=40, stateful_step_count=25, deadline=None, suppress_health_check=list(HealthCheck)
)
TestCook = Cook.TestCase


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_any_prefix_of_any_records_gives_a_legal_state(data) -> None:
    """Records from anywhere: forged, out of order, of another plan. The state stays one the machine could be in."""
    plan = plans.two_days(1)
    small = st.integers(0, 6)
    bodies = {
        J.STEP: st.tuples(st.integers(0, 30), small, small, st.integers(0, 9)),
        J.TICK: st.tuples(st.integers(0, 30), st.integers(0, 40), st.integers(0, 1)),
        J.BOOT: st.tuples(small, st.integers(0, 1), small, small, small),
        J.CLOCK: st.tuples(st.integers(t, t + 9999), st.integers(t, t + 9999)),
        J.ALARM: st.tuples(small, small, st.integers(-32768, 32767)),
    }
    records = []
    for seq in range(data.draw(st.integers(0, 40))):
        kind = data.draw(st.sampled_from(sorted(bodies)))
        records.append(J.encode(kind, seq, t + seq, *data.draw(bodies[kind])))
    raw = b"".join(records)
    cut = data.draw(st.integers(0, len(raw)))
    state = history.replay(plan, J.read(raw[:cut]), D.DayState(plan))
    assert all(step_state in STATES for step_state in state.steps)
    for index in range(len(plan.steps)):
        assert (state.steps[index] in (D.DONE, D.SKIPPED)) == bool(state.ended_at_s[index])
        assert state.ticked[index] < 256
    if state.mode != D.FINISHED:
        assert D.focus(plan, state, t + 1000) >= 0
    D.step(plan, state, (D.EV_TIME, 0, 0), t + 10**6)
    T.project(plan, state, t + 10**6)
