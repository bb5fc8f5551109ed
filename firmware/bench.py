"""The running day on the bench: plan, state, journal; presses and readings in, effects out.

What a press changed is on flash before the call returns: the screen, the sound and the answer over the link come
after. When flash refuses, the press is taken back and the cook is told.
"""

import struct

from config import VERSION
from forecast import UNKNOWN, Forecast

from shared_schedule import day as D
from shared_schedule import history as H
from shared_schedule import journal as J
from shared_schedule import plan as P
from shared_schedule import window as W
from shared_schedule.channels import USUAL
from shared_schedule.samples import read_blocks
from shared_schedule.states import probe_at
from shared_schedule.timeline import Projection, adopt
from shared_schedule.units import CDEG_MIN, NO_CDEG

_WINDOW_KINDS = (P.LOCK_IN, P.FOLD, P.SHEET, P.CUT, P.SHAPE)
PROJECT_EVERY_S = 60
_TAIL = 1024  # octets of samples: a key block comes at least every ten minutes
_BY_ITSELF = (J.ALARM, J.ACK, J.FAULT, J.AIR)


class Bench:
    """`board.mark` is told what has become durable, for the power-cut tests."""

    def __init__(self, store, board):
        self.store = store
        self.board = board
        self.plan = None
        self.aside = None
        self.state = None
        self.forecast = None
        self.projection = None
        self._next_projection = None
        self._projected_at_s = 0
        self.window = None
        self._window_step = 0
        self.left_s = UNKNOWN
        self.seq = 0
        self.unread = 0
        self.clock_ok = False
        self.known_s = 0  # the last time written down while the clock was known
        self.bend_low = NO_CDEG
        self.bend_high = NO_CDEG
        self.store_failed = False
        self.doses_saved_s = 0
        self._dosed = 0  # the step whose dose was counted last
        self.journal_format = 1
        self.changes = 0  # counts what may have changed a step's state; what is derived from them is kept until then
        self._mode = (-1, D.IDLE)
        self._probed = (-1, -1)

    # --- plan -----------------------------------------------------------------------------------------------------

    @property
    def us(self):
        """1 when the plan is said in degrees F and inches."""
        return self.plan.units if self.plan is not None else 0

    def load(self):
        """Take up the batch that is on flash; return False when there is none."""
        self.store.finish_replacement()
        data = self.store.plan_bytes()
        if data is None:
            return False
        try:
            plan = P.decode(data)
        except P.PlanError:
            return False
        self._hold(plan, data)
        self.state.clock_ok = True  # a batch begins with a known clock unless its journal says otherwise
        try:
            for segment in self.store.journal():
                for record in J.read(segment):
                    if record.seq >= self.seq:
                        self.seq = record.seq + 1
                    if record.type == J.FORMAT:
                        self.journal_format = record.body[0]
                    H.apply(plan, self.state, record)
                    if self.state.clock_ok:
                        self.known_s = record.at_s
        except ValueError:  # a newer firmware's journal: half a day would be worse than none
            self._let_go()
            return False
        self.known_s = max(self.known_s, plan.made_at_s)
        self.changes += 1
        self._shift_window()
        raw = self.store.load(self._dose_path(), 0)
        for at in range(0, len(raw or b"") - 4, 5):
            self.forecast.begin_dose(*struct.unpack("<BI", raw[at : at + 5]))
        return True

    def look_back(self):
        """Find the last temperature before power went: it is later than the last thing that happened."""
        octets = self.store.samples_octets()
        data = bytearray(min(octets, _TAIL))
        try:
            count = self.store.read_samples(octets - len(data), len(data), memoryview(data))
        except OSError:
            return
        for pair in read_blocks(memoryview(data)[:count]):
            if pair[0] > self.known_s:
                self.known_s = pair[0]

    def _hold(self, plan, data):
        self.board.plan_held(data)
        self.changes += 1
        self.plan = plan
        self.aside = None
        self.state = self.forecast = self.projection = self._next_projection = None  # their memory first
        self.state = D.DayState(plan)
        self.state.clock_ok = self.clock_ok
        self.forecast = Forecast(plan)
        self.window = None
        self._shift_window()

    def put_aside(self):
        """Let go of the plan in hand but for its outline: there is no room for two whole plans of fifty steps."""
        if self.plan is not None:
            outline = [P.Step(step_id=step.step_id, kind=step.kind) for step in self.plan.steps]
            self.aside = P.Plan(outline, name=self.plan.name)
            self.plan = self.forecast.plan = self.projection = self._next_projection = None

    def take_back(self):
        """Read the plan that was put aside from flash again; nothing when another took its place."""
        if self.aside is not None:
            self.plan = self.forecast.plan = P.decode(self.store.plan_bytes())
            self.aside = None
            self.changes += 1

    def begin(self, plan, data, plan_id, at_s):
        """Begin a new batch. OSError when flash has no room."""
        self.store.begin(plan_id, data, at_s)
        self.seq = 0
        self.known_s = max(plan.made_at_s, at_s)
        self._hold(plan, data)
        self.journal_format = J.VERSION
        begun = J.encode(J.FORMAT, self._next_seq(), at_s, J.VERSION) + self.channel_records(at_s)
        self.write(at_s, begun + J.encode(J.PLAN, self._next_seq(), at_s, plan_id, len(data)))
        if not self.clock_ok:
            self.note(at_s, J.BOOT, self.board.reset_cause(), 0, *VERSION)  # so that replay knows what the stamps mean

    def replace(self, plan, data, plan_id, at_s):
        """Put another plan in place of the running one; what has happened stays."""
        state = H.carry_over(self.plan or self.aside, self.state, plan)
        self.store.replace_plan(plan_id)
        doses = self.forecast.doses
        self._hold(plan, data)
        self.state = state
        self.changes += 1
        self.forecast.doses = doses
        self._shift_window()
        self.write(at_s, J.encode(J.PLAN, self._next_seq(), at_s, plan_id, len(data)))

    def forget(self):
        self.store.forget()
        self._let_go()

    def _let_go(self):
        self.plan = None
        self.state = None
        self.forecast = None
        self.projection = None
        self.window = None

    @property
    def mode(self):
        if self.state is None:
            return D.IDLE
        if self._mode[0] != self.changes:
            self._mode = (self.changes, self.state.mode)
        return self._mode[1]

    # --- journal --------------------------------------------------------------------------------------------------

    def _next_seq(self):
        seq = self.seq
        self.seq += 1
        return seq

    def write(self, at_s, data):
        """Append records; True when they are durable."""
        if self.plan is None:
            return True
        try:
            self.store.append(data)
        except OSError:
            self.store_failed = True
            return False
        self.store_failed = False
        self.board.mark("durable %d" % (self.seq - 1))
        return True

    def channel_records(self, at_s):
        """Return the records of a board's channels; none for bench and probe alone, which every reader knows."""
        out = b""
        if self.board.channels != USUAL:
            for channel in self.board.channels:
                out += J.encode(J.CHANNEL, self._next_seq(), at_s, *channel)
        return out

    def note(self, at_s, kind, *body):
        """Journal something that is not a transition; True when durable.

        What the timer writes by itself gives way when flash is nearly full: steps must still find room.
        """
        if self.plan is None or (self.store.tight and kind in _BY_ITSELF):
            return True
        return self.write(at_s, J.encode(kind, self._next_seq(), at_s, *body))

    # --- events ---------------------------------------------------------------------------------------------------

    def press(self, event, now_s, cause=D.BY_BUTTON):
        """Apply a press; return its effects. ((FX_REFUSED, ...),) when it is not allowed or could not be written."""
        effects = D.step(self.plan, self.state, event, now_s, cause)
        if not self._journal(effects, now_s):
            self._reload()
            return ((D.FX_REFUSED, event[1], D.R_NOT_NOW),)
        self._projected_at_s = 0
        return effects

    def _journal(self, effects, now_s):
        self.changes += 1
        data = b""
        for effect in effects:
            if effect[0] in (D.FX_JOURNAL_STEP, D.FX_JOURNAL_TICK):
                data += J.step_record(self._next_seq(), now_s, effect)
            elif effect[0] == D.FX_FINISHED:
                data += J.encode(J.FINISHED, self._next_seq(), now_s, 0)
        # One press is one append: after a power cut all of it happened, or nothing.
        return not data or self.write(now_s, data)

    def _reload(self):
        """Flash refused: go back to what it holds, so that screen and journal agree."""
        state = D.DayState(self.plan)
        state.clock_ok = self.clock_ok
        try:
            for segment in self.store.journal():
                for record in J.read(segment):
                    H.apply(self.plan, state, record)
        except OSError:
            return
        state.clock_ok = self.clock_ok
        self.state = state
        self.changes += 1

    def on_time(self, now_s):
        """Let time pass; return effects."""
        if self.plan is None:
            return ()
        effects = D.step(self.plan, self.state, (D.EV_TIME, 0, 0), now_s)
        if effects and not self._journal(effects, now_s):
            self._reload()
            return ()
        self._project(now_s)
        return effects

    def _project(self, now_s):
        """One pass of the local replan a turn, a new one each minute and after every press."""
        if not self.clock_ok or self.mode == D.FINISHED:
            return
        if self._next_projection is None:
            if self._projected_at_s and now_s - self._projected_at_s < PROJECT_EVERY_S:
                return
            self._projected_at_s = now_s
            self._next_projection = Projection(self.plan, self.state, now_s)
        if self._next_projection.state is not self.state:
            self._next_projection = None
            return
        if self._next_projection.advance():
            self.projection = self._next_projection
            self._next_projection = None
            adopt(self.projection)

    # --- readings -------------------------------------------------------------------------------------------------

    def probe_step(self):
        """Index of the step whose dough the needle is in, -1 for none: what hands work on, else the rest begun last."""
        if self._probed[0] != self.changes:
            self._probed = (self.changes, probe_at(self.plan, self.state))
        return self._probed[1]

    def on_sample(self, now_s, for_s, bench_cdeg, probe_cdeg, room_cdeg):
        """Take a pair of readings; return effects."""
        if self.plan is None:
            return ()
        forecast = self.forecast
        forecast.rate.add(now_s, probe_cdeg)
        index = self.probe_step()
        if index < 0:
            self.window = None
            self.left_s = UNKNOWN
            return ()
        step = self.plan.steps[index]
        before_s = self.left_s if self._window_step == step.step_id else UNKNOWN
        self._judge(index, step, now_s, bench_cdeg, probe_cdeg, room_cdeg)
        if bench_cdeg == NO_CDEG and 0 <= before_s - for_s < self.left_s:
            self.left_s = before_s - for_s  # reckoned with the room's air for want of a bench: it must not win time
        effects = ()
        if self.state.steps[index] != D.RUNNING:
            return effects
        if step.ends_by == P.BY_CORE and step.core_cdeg != NO_CDEG:
            effects = self._core(index, step, now_s, probe_cdeg)
        elif step.ends_by == P.BY_DOSE and step.dose_s:
            effects = self._dose(index, step, now_s, for_s, probe_cdeg, room_cdeg)
        if effects and not self._journal(effects, now_s):
            self._reload()
            return ()
        return effects

    def edges(self, step):
        """Return the step's window as this butter's bend tests have moved it."""
        low, high = step.low_cdeg, step.high_cdeg
        if low == NO_CDEG or high == NO_CDEG:
            return NO_CDEG, NO_CDEG
        if step.kind == P.TEMPER or step.kind == P.THAW:
            low = CDEG_MIN  # it comes from the cold: only the warm edge can be left
        if step.kind in _WINDOW_KINDS and self.bend_low != NO_CDEG:
            low += self.bend_low - self.plan.butter_low_cdeg
            high += self.bend_high - self.plan.butter_high_cdeg
            if high - low < 100:
                low = high - 100
        return low, high

    def _judge(self, index, step, now_s, bench_cdeg, probe_cdeg, room_cdeg):
        low, high = self.edges(step)
        if low == NO_CDEG or self.state.steps[index] != D.RUNNING:
            self.window = None
            self.left_s = UNKNOWN
            return
        if self.window is None or self._window_step != step.step_id:
            self.window = W.Window(low, high)
            self._window_step = step.step_id
            self.forecast.rate.clear()
            self.forecast.rate.add(now_s, probe_cdeg)
        elif (self.window.low, self.window.high) != (low, high):
            self.window.move(low, high)
        self.window.judge(probe_cdeg)
        if D.hands_on(self.plan, self.state, index, now_s):
            self.left_s = self.forecast.window_left_s(step, low, high, probe_cdeg, bench_cdeg, room_cdeg)
        else:
            self.left_s = UNKNOWN

    def _core(self, index, step, now_s, probe_cdeg):
        if now_s // 60 != (now_s - 5) // 60:  # a look ahead each minute is enough for a rest
            left = self.forecast.core_left_s(step, step.core_cdeg, probe_cdeg)
            if left >= 0:
                for_s = now_s - self.state.started_at_s[index] + left
                self.state.for_s[index] = max(step.min_s, min(for_s, step.max_s or for_s))
        return D.step(self.plan, self.state, (D.EV_TEMPERATURE, step.step_id, probe_cdeg), now_s)

    def _dose_path(self):
        return "/b/%04d/d" % self.store.number

    def _doses(self):
        """All doses in octets, those of proofs that are over or undone let go."""
        doses = self.forecast.doses
        for other, step in enumerate(self.plan.steps):
            if step.step_id in doses and not D.is_open(self.state.steps[other]):
                del doses[step.step_id]
        return b"".join([struct.pack("<BI", step_id, doses[step_id].ms) for step_id in doses])

    def _unprobed(self, index):
        """Proofs the probe has left go by the plan: what was forecast of them while they were cold was too long."""
        for other, step in enumerate(self.plan.steps):
            if other != index and step.ends_by == P.BY_DOSE and self.state.steps[other] == D.RUNNING:
                self.state.for_s[other] = D.planned_for_s(step)

    def _dose(self, index, step, now_s, for_s, probe_cdeg, room_cdeg):
        forecast = self.forecast
        dose = forecast.doses.get(step.step_id) or forecast.begin_dose(step.step_id)
        cdeg = probe_cdeg if probe_cdeg != NO_CDEG else forecast.air_of(step, room_cdeg)
        if self._dosed != step.step_id:
            self._unprobed(index)
            if dose.at_s:  # the probe is back, from another proof that ended or was undone: this one went on meanwhile
                dose.add(cdeg, min(now_s - dose.at_s, now_s - self.state.started_at_s[index]) - for_s)
            self._dosed = step.step_id
        dose.at_s = now_s
        dose.add(cdeg, for_s)
        left = dose.left_s(step.dose_s, cdeg)
        if left >= 0:
            for_s = now_s - self.state.started_at_s[index] + left
            self.state.for_s[index] = min(for_s, step.max_s) if step.max_s else for_s  # cold dough would take days
        if not 0 <= now_s - self.doses_saved_s < 60:
            self.doses_saved_s = now_s
            try:
                self.store.save(self._dose_path(), self._doses())
            except OSError:
                self.store_failed = True
        return D.step(self.plan, self.state, (D.EV_DOSE, step.step_id, dose.seconds()), now_s)

    # --- bend test, clock -----------------------------------------------------------------------------------------

    def bend(self, cdeg, verdict, now_s):
        """Note a bend test and move the window at once; False when it could not be written."""
        index = self.probe_step()
        step_id = self.plan.steps[index].step_id if index >= 0 else 0
        if not self.note(now_s, J.BEND, cdeg, verdict, step_id):
            return False
        self.state.bends.append((cdeg, verdict))
        self._shift_window()
        return True

    def _shift_window(self):
        plan = self.plan
        self.bend_low, self.bend_high = plan.butter_low_cdeg, plan.butter_high_cdeg
        if self.state.bends and self.bend_low != NO_CDEG and self.bend_high != NO_CDEG:
            self.bend_low, self.bend_high = W.shift_window(self.bend_low, self.bend_high, self.state.bends)

    def clock_set(self, old_s, new_s):
        """The clock was set by somebody who knows; True when that is written down."""
        self.clock_ok = True
        self._projected_at_s = 0
        self._next_projection = None
        if self.plan is None:
            return True
        ok = self.note(new_s, J.CLOCK, old_s & 0xFFFFFFFF, new_s)
        self.state.set_clock(old_s, new_s)
        return ok
