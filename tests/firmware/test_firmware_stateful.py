"""The real firmware, a real port, a bad line, power, cable and a cook who presses anything, against a plain model.

The model is what the host was told and what the journal said before: nothing acknowledged is lost, the journal only
grows, every change of a step is an edge of the table from the state it was in, no step is skipped that nobody skipped,
no alarm comes twice while it stands, time never runs backwards, and the screen shows the step as the journal has it.
`TOURIER_SWEEP=full` plays 60 examples instead of 8.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections import Counter
from pathlib import Path

from firmware_support import two_days
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from line_faults import LineFaults
from tourier.device.client import Timer
from tourier.device.errors import LinkError, Refused
from tourier.device.virtual.board import VirtualTimer
from tourier.device.virtual.ntc import code16

from shared_schedule import day as D
from shared_schedule import history
from shared_schedule import journal as J
from shared_schedule import messages as m
from shared_schedule.plan_writer import encode_plan

FULL = os.environ.get("TOURIER_SWEEP") == "full"
PLAN = two_days()
RAW = encode_plan(PLAN)
IDS = [step.step_id for step in PLAN.steps]
PLAYED: Counter = Counter()  # what really happened over all examples


class FirmwareMachine(RuleBasedStateMachine):
    @initialize(seed=st.integers(0, 999), noisy=st.booleans())
    def begin(self, seed, noisy):
        self.folder = tempfile.TemporaryDirectory()
        self.faults = LineFaults(seed=seed, lost=0.02, doubled=0.05, reordered=0.02) if noisy else None
        self.timer = VirtualTimer(
            Path(self.folder.name) / "flash", start_at_s=PLAN.steps[0].start_at_s - 60, seed=seed,
            bridge_options={"faults": self.faults} if noisy else None,
        )  # fmt: skip
        self.timer.__enter__()
        self.timer.run_for(3)
        self.known = b""  # the journal as it was last collected
        self.promised: list[tuple[int, int]] = []  # (step, state) the host was told of: OK, done, and never undone
        self.skipped: set[int] = set()
        self.plugged = True
        self.held = False
        self.send()

    def teardown(self):
        if hasattr(self, "timer"):
            if self.faults is not None:
                PLAYED.update(self.faults.fired)
            self.timer.__exit__(None, None, None)
            self.folder.cleanup()

    @contextlib.contextmanager
    def link(self):
        """A connection, or None where the line or the cable does not let one through."""
        if not self.plugged:
            yield None
            return
        try:
            with Timer.open(self.timer.port) as link:
                yield link
        except Refused:
            raise
        except LinkError:
            PLAYED["broken"] += 1

    def send(self):
        with self.link() as link:
            if link is not None:
                link.send_plan(RAW)
                self.held = True

    @precondition(lambda self: not self.held)
    @rule()
    def host_sends_the_plan(self):
        self.send()

    @precondition(lambda self: self.held)
    @rule(button=st.sampled_from(["left", "middle", "middle", "middle", "right"]), ms=st.sampled_from([60, 150, 1200]))
    def cook_presses(self, button, ms):
        self.timer.press(button, ms)
        self.timer.run_for(ms / 1000 + 0.4)
        PLAYED["presses"] += 1

    @rule(for_s=st.sampled_from([7, 60, 600, 1800, 5400]))
    def time_passes(self, for_s):
        self.timer.run_for(for_s)

    @precondition(lambda self: self.held)
    @rule(
        action=st.sampled_from([m.ACTION_STEP_START, m.ACTION_STEP_DONE, m.ACTION_STEP_SKIP]),
        step_id=st.sampled_from(IDS[:8]), arg=st.sampled_from([0, D.DELIBERATE]),
    )  # fmt: skip
    def host_commands(self, action, step_id, arg):
        if not self.plugged:  # who wants to say something plugs it in
            self.timer.plug_cable()
            self.plugged = True
        if action == m.ACTION_STEP_SKIP:
            self.skipped.add(step_id)  # also when the answer is lost
        try:
            with self.link() as link:
                if link is None:
                    return
                link.command(action, step_id, arg)
                PLAYED["accepted"] += 1
                done = {m.ACTION_STEP_DONE: D.DONE, m.ACTION_STEP_SKIP: D.SKIPPED}.get(action)
                if done is not None:
                    self.promised.append((step_id, done))
        except Refused:
            PLAYED["refused"] += 1

    @rule(celsius=st.sampled_from([3.0, 12.0, 19.0, 26.0, None]))
    def needle_feels(self, celsius):
        self.timer.probe_counts = 65500 if celsius is None else code16(celsius)
        self.timer.run_for(30)

    @rule(dark_s=st.integers(0, 300))
    def power_is_cut(self, dark_s):
        self.timer.power_cut()
        self.timer.run_for(dark_s)
        self.timer.restart()
        self.timer.run_for(7)
        PLAYED["cuts"] += 1

    @rule(really=st.sampled_from([True, False]))
    def cable(self, really):
        if self.plugged and not really:
            return
        if self.plugged:
            self.timer.pull_cable()
        else:
            self.timer.plug_cable()
        self.plugged = not self.plugged
        PLAYED["cable"] += 1

    @invariant()
    def journal_agrees(self):
        if not getattr(self, "held", False) or not self.plugged:
            return
        journal = None
        with self.link() as link:
            if link is not None:
                journal = link.collect(1)
        if journal is None:
            return
        assert journal.startswith(self.known), "what was in the journal is gone"
        self.known = journal
        records = list(J.read(journal))
        self._judge(records)
        state = history.replay(PLAN, records)
        glance = self.timer.glance
        if glance.screen == "step":
            assert glance.step_state == state.steps[PLAN.index_of(glance.step_id)], glance
        assert self.timer.watchdog_bites == 0

    def _judge(self, records):
        assert [r.seq for r in records] == list(range(len(records)))
        follow = zip(records, records[1:], strict=False)
        assert all(a.at_s <= b.at_s or b.type == J.CLOCK for a, b in follow), "time ran backwards, and nobody set it"
        now = dict.fromkeys(IDS, D.WAITING)
        ever: set[tuple[int, int]] = set()
        standing: dict[tuple[int, int], int] = {}
        for record in records:
            if record.type == J.STEP:
                step_id, was, to, cause = record.body
                assert now[step_id] == was, "a change from a state it was not in"
                assert (was, to) in D.EDGES or (cause == D.BY_UNDO and (to, was) in D.EDGES)
                now[step_id] = to
                ever.add((step_id, to))
                standing = {key: at_s for key, at_s in standing.items() if key[1] != step_id}
                if to == D.SKIPPED and cause == D.BY_LINK:
                    assert step_id in self.skipped, "skipped by nobody"
            elif record.type == J.ALARM:
                key = record.body[:2]
                again_s = 10**9 if key[0] in (J.STEP_DUE, J.REST_DONE) else 5  # others may end by themselves and return
                assert key not in standing or record.at_s - standing[key] >= again_s, "an alarm doubled"
                standing[key] = record.at_s
            elif record.type in (J.ACK, J.BOOT):
                standing.clear()
        for promised in self.promised:
            assert promised in ever, "acknowledged and lost"


TestFirmware = FirmwareMachine.TestCase
TestFirmware.settings = settings(
    max_examples=60 if FULL else 8, stateful_step_count=25 if FULL else 14, deadline=None, derandomize=not FULL,
    suppress_health_check=list(HealthCheck), print_blob=True,
)  # fmt: skip


def test_enough_happened():
    """Runs after the machine: every kind of trouble did come to pass."""
    print(dict(PLAYED))
    assert PLAYED["presses"] >= 5 and PLAYED["cuts"] >= 2 and PLAYED["accepted"] + PLAYED["refused"] >= 2
    assert PLAYED["doubled"] + PLAYED["lost"] + PLAYED["reordered"] >= 1
