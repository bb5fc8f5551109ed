"""Device, host, line, power and cook against a plain model, driven by hypothesis.

The model is three lists: what was asked for, what was acknowledged, what the cook did at the box. After every step:
no acknowledgement lost, nothing done twice or out of order, nothing done that nobody asked for, time never backwards.
"""

from __future__ import annotations

import binascii

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from line_faults import LineFaults
from line_sim import Bench
from model_timer import ModelTimer

from shared_schedule import link_host as lh
from shared_schedule import messages as m

COOK = 99  # step id the cook's presses carry, to tell them from the host's


class LinkMachine(RuleBasedStateMachine):
    @initialize(
        seed=st.integers(0, 2**16), lost=st.sampled_from([0.0, 0.1, 0.3]), bits=st.sampled_from([0.0, 1e-4, 1e-3])
    )
    def begin(self, seed, lost, bits):
        self.timer = ModelTimer()
        faults = LineFaults(seed=seed, lost=lost, bit_errors=bits, doubled=lost, reordered=lost)
        self.bench = Bench(self.timer, faults, chunk=256, session=seed)
        self.asked: list[int] = []
        self.acknowledged: list[int] = []
        self.pressed: list[int] = []
        self.plans: list[bytes] = []
        self.plan_acknowledged: bytes | None = None
        self.greeted = False
        self.clock_s = 0
        self.clock_acknowledged = 0
        self.log = b""
        self.kept = b""

    def job(self, start):
        """Run one job to its end; None when the line broke it (a person would now plug in again)."""
        if not self.bench.connected or not self.greeted:
            self.bench.connect()
            self.bench.host.hello()
            event = self.bench.run()
            self.greeted = event is not None and event.kind == lh.DONE
            if not self.greeted:
                self.bench.pull()
                return None
        start(self.bench.host)
        event = self.bench.run()
        if event is None or (event.kind == lh.FAILED and event.values["reason"] != "refused"):
            self.greeted = False
            if event is not None:
                self.bench.pull()
            return None
        return event

    @rule()
    def host_commands(self):
        arg = len(self.asked) + 1
        self.asked.append(arg)
        event = self.job(lambda host: host.request(m.COMMAND, {"action": m.ACTION_STEP_DONE, "step_id": 1, "arg": arg}))
        if event is not None and event.number == m.RESULT and event.values["code"] == m.OK:
            self.acknowledged.append(arg)

    @rule()
    def cook_presses(self):
        """The box's own button works whatever the link does."""
        self.pressed.append(len(self.pressed))
        self.timer.command(m.ACTION_STEP_DONE, COOK, self.pressed[-1])

    @rule(data=st.binary(min_size=1, max_size=3000))
    def host_sends_a_plan(self, data):
        self.plans.append(data)
        event = self.job(lambda host: host.send_plan(binascii.crc32(data), data))
        if event is not None and event.number == m.PLAN_ANSWER and event.values["code"] in (m.OK, m.ALREADY):
            self.plan_acknowledged = data
            assert self.timer.plan == data

    @rule(more=st.binary(min_size=1, max_size=2000))
    def device_logs(self, more):
        self.log += more
        self.timer.streams[m.STREAM_SAMPLES] = self.log

    @rule()
    def host_collects(self):
        start, end = len(self.kept), len(self.log)
        if start == end:
            return
        self.job(lambda host: host.fetch(m.STREAM_SAMPLES, start, end))
        if self.greeted or self.bench.host.device is not None:
            try:
                self.kept += self.bench.host.take_log()[1]
            except AttributeError:
                pass  # no fetch was begun on this connection

    @rule(step_s=st.integers(1, 100_000))
    def host_sets_the_clock(self, step_s):
        self.clock_s += step_s
        wanted = self.clock_s
        event = self.job(lambda host: host.request(m.CLOCK_SET, {"now_s": wanted}))
        if event is not None and event.values["code"] == m.OK:
            self.clock_acknowledged = wanted

    @precondition(lambda self: self.bench.connected)
    @rule()
    def cable_is_pulled(self):
        self.bench.pull()
        self.greeted = False

    @rule(octets=st.integers(1, 3000))
    def cable_will_come_out(self, octets):
        self.bench.pull_after = self.bench.octets + octets

    @rule()
    def power_is_cut(self):
        self.bench.restart()

    @rule(seconds=st.integers(0, 40))
    def time_passes(self, seconds):
        for _ in range(seconds):
            self.bench.step()
            self.bench.now_ms += 1000

    @rule(octets=st.binary(max_size=300))
    def noise_arrives(self, octets):
        now_ms = self.bench.now_ms
        self.bench.device.feed(octets, now_ms)
        self.bench.host.feed(octets, now_ms)
        self.bench.host.events()

    def host_effects(self):
        return [arg for step_id, arg in self.presses() if step_id != COOK]

    def presses(self):
        return [effect[1:] for effect in self.timer.effects if effect[0] == m.ACTION_STEP_DONE]

    @invariant()
    def nothing_twice_nothing_lost_nothing_invented(self):
        if not hasattr(self, "timer"):
            return
        done = self.host_effects()
        assert done == sorted(set(done))
        assert set(self.acknowledged) <= set(done) <= set(self.asked)
        assert [arg for step_id, arg in self.presses() if step_id == COOK] == self.pressed

    @invariant()
    def time_never_goes_backwards(self):
        if hasattr(self, "timer"):
            clocks = [effect[1] for effect in self.timer.effects if effect[0] == "clock"]
            assert clocks == sorted(set(clocks))
            assert self.timer.clock[0] >= self.clock_acknowledged

    @invariant()
    def plans_are_whole(self):
        if hasattr(self, "timer"):
            assert self.timer.plan in (b"", *self.plans)
            if self.plan_acknowledged is not None:
                after = self.plans[self.plans.index(self.plan_acknowledged) :]
                assert self.timer.plan in after

    @invariant()
    def logs_are_a_prefix(self):
        if hasattr(self, "timer"):
            assert self.log.startswith(self.kept)


TestLink = LinkMachine.TestCase
TestLink.settings = settings(
    max_examples=60, stateful_step_count=25, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
