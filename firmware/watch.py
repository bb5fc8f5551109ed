"""What the timer notices by itself: a thermometer at fault, a window that is or will be left, a warm proof, lateness.

Looks at the bench after each reading and raises or clears alarms; holds only for how long something has been so.
"""

from sampler import AWAY

from shared_schedule import day as D
from shared_schedule import journal as J
from shared_schedule import plan as P
from shared_schedule import window as W
from shared_schedule.units import NO_CDEG

SOON_S = 180  # a window that is left within this is warned of: one fold takes about as long
SLIP_S = 900
# Nearer to the warm edge than this and still warming, a forecast in seconds says little: noise alone is minutes.
_NEAR_CDEG = 30
_WARMING = 5  # cdeg a minute
BENCH_FAULT = 255  # "step" of the alarm that the bench's thermometer gives no reading; 0 is the probe's
_FAULT_PATIENCE = 2  # samples
_AWAY_PATIENCE = 36  # samples: three minutes for the needle to be put in and settle before it is missed
_WINDOW_PATIENCE = 3  # samples out of the window before it counts: a needle takes 15 s to settle
_PROOF_BACK_CDEG = 30


class Watch:
    """`app` gives bench, sampler, alarms and raise_()."""

    def __init__(self, app):
        self._app = app
        self._faults = {}  # by number of the channel
        self._fault_for = 0
        self._blind_for = 0
        self._outside = 0
        self._slip_told_s = 0

    def turn(self, now_s):
        """Judge the reading just taken."""
        self._thermometers(now_s)
        bench = self._app.bench
        if bench.plan is None or bench.mode != D.DAY_RUNNING:
            return
        index = bench.probe_step()
        self._window(index, now_s)
        self._proof(index, now_s)
        projection = bench.projection
        if projection is not None and projection.slip_s > self._slip_told_s + SLIP_S:
            self._slip_told_s = projection.slip_s
            self._app.raise_(J.SLIP, 0, now_s)

    def _thermometers(self, now_s):
        app = self._app
        bench = app.bench
        for channel in app.sampler.channels:
            fault = 0 if channel.fault == AWAY else channel.fault  # a needle on its way is not broken
            if fault != self._faults.get(channel.number, 0):
                self._faults[channel.number] = fault
                bench.note(now_s, J.FAULT, channel.number, fault)
        probe = app.sampler.probe
        wanted = bench.plan is not None and bench.mode == D.DAY_RUNNING and bench.probe_step() >= 0
        if wanted and probe.fault == AWAY:
            # At rest it may hang where it likes; under the rolling pin it is missed.
            wanted = D.hands_on(bench.plan, bench.state, bench.probe_step(), now_s)
        if wanted and probe.fault:
            self._fault_for += 1
            if self._fault_for == (_AWAY_PATIENCE if probe.fault == AWAY else _FAULT_PATIENCE):
                app.raise_(J.SENSOR_FAULT, 0, now_s)
        else:
            self._fault_for = 0
            app.alarms.clear(J.SENSOR_FAULT, 0)
        # Without the bench's reading the minutes left are reckoned with the room's air, which must not go unsaid.
        if app.sampler.bench.fault and bench.window is not None and bench.mode == D.DAY_RUNNING:
            self._blind_for += 1
            if self._blind_for == _FAULT_PATIENCE:
                app.raise_(J.SENSOR_FAULT, BENCH_FAULT, now_s)
        else:
            self._blind_for = 0
            app.alarms.clear(J.SENSOR_FAULT, BENCH_FAULT)

    def _window(self, index, now_s):
        app = self._app
        bench = app.bench
        window = bench.window
        hands = window is not None and D.hands_on(bench.plan, bench.state, index, now_s)
        state = window.state if hands else W.IN
        if not hands or state in (W.IN, W.NO_READING):
            self._outside = 0
            for kind in (J.WINDOW_LEFT_WARM, J.WINDOW_LEFT_COLD):
                app.alarms.clear(kind)
        if not hands:
            app.alarms.clear(J.WINDOW_SOON)
            return
        step_id = bench.plan.steps[index].step_id
        if state in (W.TOO_WARM, W.TOO_COLD):
            self._outside += 1
            if self._outside >= _WINDOW_PATIENCE:
                app.alarms.clear(J.WINDOW_SOON)
                app.raise_(J.WINDOW_LEFT_WARM if state == W.TOO_WARM else J.WINDOW_LEFT_COLD, step_id, now_s)
        elif state == W.IN and (self._soon(bench) or self._near(bench, window)):
            app.raise_(J.WINDOW_SOON, step_id, now_s)

    def _soon(self, bench):
        return 0 <= bench.left_s <= SOON_S and bench.forecast.side > 0

    def _near(self, bench, window):
        if window.high - self._app.sampler.probe.cdeg > _NEAR_CDEG:
            return False
        rate = bench.forecast.rate.cdeg_per_min()
        return rate is not None and rate >= _WARMING

    def _proof(self, index, now_s):
        app = self._app
        plan = app.bench.plan
        cdeg = app.sampler.probe.cdeg
        if index < 0 or plan.steps[index].kind != P.PROOF or NO_CDEG in (plan.proof_cap_cdeg, cdeg):
            return
        if cdeg > plan.proof_cap_cdeg:
            app.raise_(J.PROOF_CAP, plan.steps[index].step_id, now_s)
        elif cdeg < plan.proof_cap_cdeg - _PROOF_BACK_CDEG:
            app.alarms.clear(J.PROOF_CAP)
