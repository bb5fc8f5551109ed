"""The bench timer: inputs to events, events to sound, light, screen and journal. One loop, no interrupts of its own.

A KeyboardInterrupt (octet 3 on the line: somebody wants the prompt) is never caught for good: what is in hand is
written, then it goes on up.
"""

import alarms as A
import buttons
import config
import pins
import selftest
import sounds
import store as S
from bench import Bench
from canvas import Canvas
from clock import Clock
from ds3231 import ClockChip
from sampler import AWAY, Channel, Sampler
from serve import Handler
from sht4x import Air
from ssd1309 import Display
from supervisor import BUTTONS, DAY, LINK, SAMPLE, SCREEN, STORE, Supervisor
from ui import Ui
from view import View

from shared_schedule import day as D
from shared_schedule import journal as J
from shared_schedule import link, thermistor
from shared_schedule import plan as P
from shared_schedule import window as W
from shared_schedule.samples import SampleWriter
from shared_schedule.units import NO_CDEG

SAMPLE_S = 5
FLUSH_S = 30  # at most this much of the temperatures is lost with the power
AIR_S = 900
MEASURE_S = 300
SOON_S = 180  # a window that is left within this is warned of: one fold takes about as long
SLIP_S = 900
NO_ROOM = 255  # "step" of the alarm that temperatures cannot be written; 0 is the one of the heap
_LOST_S = 300  # what was lost stays on the screen until it is seen, or somebody has begun something else
_ALONE_S = 1800
_ALONE_AGAIN_S = 50  # sounds come each 60 s by then: ten seconds of flashing with each
_LISTEN_MS = 250  # pace while a host is heard
_AWAY_PATIENCE = 36  # samples: three minutes for the needle to be put in and settle before it is missed
_WINDOW_PATIENCE = 3  # samples out of the window before it counts: a needle takes 15 s to settle


def valid_length(data):
    """Octets of a journal segment that are whole records."""
    reader = J.read(data)
    for _record in reader:
        pass
    return reader.at


class App:
    def __init__(self, board, formatted=False):
        self.board = board
        self.store = S.Store(valid_length)
        self.store.open()
        if formatted:
            self.store.losses.append((S.LOST_FORMATTED, 0))
        self.settings = config.load(self.store, config.PATH_SETTINGS, config.SETTINGS, S.LOST_SETTINGS)
        self.calibration = config.load(self.store, config.PATH_CALIBRATION, config.CALIBRATION, S.LOST_CALIBRATION)
        found = board.scan()
        self.air = Air(board.i2c, pins.ADDR_AIR) if pins.ADDR_AIR in found else None
        chip = ClockChip(board.i2c, pins.ADDR_CLOCK) if pins.ADDR_CLOCK in found else None
        self.clock = Clock(board.ticks_ms(), chip)
        self.alarms = A.Alarms()
        self.sounder = sounds.Sounder(board)
        self.lamp = sounds.Lamp(board)
        self.buttons = buttons.Buttons()
        self.buttons.hold_at_boot(board.buttons(), board.ticks_ms())
        self.sampler = Sampler(board, tuple([Channel(i, *probe) for i, probe in enumerate(self._probes())]))
        self.bench = Bench(self.store, board)
        self.bench.clock_ok = self.clock.ok
        self.writer = SampleWriter(SAMPLE_S)
        self.display = Display(board.i2c, pins.ADDR_OLED)
        self.view = View(Canvas(self.display.buffer))
        self.display_ok = False
        self.ui = Ui(self)
        self.session = link.DeviceSession(Handler(self))
        self.supervisor = Supervisor(board, self.settings["watchdog"])
        if self.settings["smps_pwm"]:
            board.smps(1)
        self._booted_s = self.clock.now_s
        # The first turn samples and draws: nobody waits five seconds for a picture after plugging in.
        self._sample_at_ms = (board.ticks_ms() - SAMPLE_S * 1000) & ((1 << 30) - 1)
        self._sampled_s = 0
        self._flushed_s = 0
        self._aired_s = self._measured_s = self._shown_s = self.clock.now_s
        self._heard_ms = None
        self._faults = [0, 0]
        self._fault_for = 0
        self._outside = 0
        self._slip_told_s = 0
        self._unwritten = 0  # blocks of samples that flash refused, one after the other
        self._take_up()

    def ticks(self):
        return self.board.ticks_ms()

    def _probes(self):
        """(curve, fixed resistor, offset) of each thermometer, from settings and calibration."""
        s, c = self.settings, self.calibration
        curves = thermistor.CURVE_NAMES
        return (
            (thermistor.curve(curves[s["curve_bench"]]), s["ohm_bench"], c["offset_bench"]),
            (thermistor.curve(curves[s["curve_probe"]]), s["ohm_probe"], c["offset_probe"]),
        )

    def settings_changed(self):
        """Make settings and calibration count at once."""
        for channel, probe in zip(self.sampler.channels, self._probes()):
            channel.configure(*probe)
        if self.display_ok:
            try:
                self.display.contrast(self.settings["contrast"])
            except OSError:
                self.display_ok = False

    # --- boot -----------------------------------------------------------------------------------------------------

    def _take_up(self):
        """Go on where the journal ends, and say what was lost."""
        bench = self.bench
        held = bench.load()
        now_s = self.clock.now_s
        if held:
            if not self.clock.ok:
                bench.look_back()
            bench.note(now_s, J.BOOT, self.board.reset_cause(), 1 if self.clock.ok else 0, *config.VERSION)
            bench.state.clock_ok = self.clock.ok
        lost = self.store.losses
        if lost:
            self.ui.say(["Lost at power-up:"] + [S.LOST_WORDS[what] for what, _n in lost[:3]], now_s, _LOST_S)
            for what, octets in lost:
                bench.note(now_s, J.LOST, what, octets)
        del lost[:]
        if held and not self.clock.ok and bench.mode == D.DAY_RUNNING:
            self._raise(J.CLOCK_UNKNOWN, 0, now_s)
        crash = self.store.crash_size()
        if crash and held and self.board.reset_cause() != 1:
            bench.note(now_s, J.CRASH, "%d octets in the crash log" % crash)

    def plan_changed(self, now_s):
        """Another plan is held now: alarms and screens of the old one go."""
        self.alarms = A.Alarms()
        self.ui.close()
        self.writer = SampleWriter(SAMPLE_S)
        self._flushed_s = now_s

    def set_clock(self, now_s, offset_min):
        """The host or the cook said what time it is; True when that is written down."""
        self.flush()
        old_s = self.clock.set(now_s)
        self.clock.offset_min = offset_min
        written = self.bench.clock_set(old_s, now_s)
        self.alarms.clear(J.CLOCK_UNKNOWN)
        self.alarms.shift(now_s - old_s)
        if self.bench.forecast is not None:
            self.bench.forecast.rate.clear()
        self._sampled_s = self._flushed_s = now_s
        self._aired_s = self._measured_s = self._shown_s = now_s
        self._booted_s += now_s - old_s
        return written

    def known_s(self):
        """The earliest that it can be while the clock is not known: last written down, and what has passed since."""
        return self.bench.known_s + self.uptime_s()

    def uptime_s(self):
        return max(0, self.clock.now_s - self._booted_s)

    # --- loop -----------------------------------------------------------------------------------------------------

    def run(self):
        """Run until the power goes or somebody asks for the prompt."""
        board = self.board
        wait_ms = 0
        self.supervisor.arm()
        try:
            while True:
                heard = board.idle(wait_ms)
                wait_ms = self.turn(heard)
        except KeyboardInterrupt:
            self.flush()
            self.sounder.hush()
            self.lamp.show(sounds.L_OFF, board.ticks_ms())
            raise

    def turn(self, heard):
        """One turn of the loop; returns for how long it may sleep, ms."""
        board = self.board
        sup = self.supervisor
        now_ms = board.ticks_ms()
        now_s = self.clock.feed(now_ms)

        sup.begin()
        self._link(heard, now_ms)
        sup.end(LINK)

        sup.begin()
        pressed = self.buttons.feed(board.buttons(), now_ms)
        if pressed is not None:
            self.ui.press(pressed[0], pressed[1], self.clock.now_s)
        now_s = self.clock.now_s  # host or cook may have set it in this turn
        sup.end(BUTTONS)

        sup.begin()
        sampled = self._sample_due(now_ms)
        if sampled:
            self.sampler.turn(self._needle_air())
        sup.end(SAMPLE)

        sup.begin()
        if sampled:
            self._on_sample(now_s)
        if sampled or pressed is not None:
            self.apply(self.bench.on_time(now_s), now_s)
        self._alarms(now_s, now_ms)
        sup.end(DAY)

        sup.begin()
        if sampled:
            self._log(now_s)
        sup.end(STORE)

        sup.begin()
        if sampled or pressed is not None or heard or self.ui.screen is not None or now_s != self._shown_s:
            self._show(now_s)
        sup.end(SCREEN)

        sup.turn()
        return self._wait_ms(board.ticks_ms(), now_s)

    def _wait_ms(self, now_ms, now_s):
        wait = SAMPLE_S * 1000 - buttons.passed_ms(self._sample_at_ms, now_ms)
        if wait > SAMPLE_S * 1000 or wait < 0:
            wait = 0
        for other in (self.buttons.wants_ms(now_ms), self.sounder.turn(now_ms), self.lamp.turn(now_ms)):
            if 0 <= other < wait:
                wait = other
        if self.alarms.standing:
            next_s = self.alarms.wants_s(now_s, self._quiet(now_s))
            if 0 <= next_s and next_s * 1000 < wait:
                wait = max(100, next_s * 1000 - self.clock.millis())
        if self._heard_ms is not None and wait > 50:
            if buttons.passed_ms(self._heard_ms, now_ms) > link.LISTENER_MS:
                self._heard_ms = None
            else:
                wait = 10 if self.session.pending() else min(wait, _LISTEN_MS if not self._pulling() else 50)
        if self.ui.screen is not None or self._counting():
            wait = min(wait, 1000)
        return wait

    def _pulling(self):
        return buttons.passed_ms(self._heard_ms, self.board.ticks_ms()) < 2000

    def _counting(self):
        """The screen counts seconds."""
        g = self.ui.glance
        return g.left_kind and 0 <= g.left_s < 100 and self.bench.mode == D.DAY_RUNNING and g.left_s > 0

    def _link(self, heard, now_ms):
        session = self.session
        if heard:
            data = self.board.link_read(512)
            if data:
                self._heard_ms = now_ms
                session.feed(data, now_ms)
        if self._heard_ms is None:
            return
        session.tick(now_ms)
        for _ in range(8):  # a bounded share of the turn: a log must not hold up a button
            waiting = session.output(now_ms)
            if not waiting:
                break
            taken = self.board.link_write(waiting)
            session.sent(taken)
            if taken < len(waiting):
                break

    # --- readings -------------------------------------------------------------------------------------------------

    def _sample_due(self, now_ms):
        if buttons.passed_ms(self._sample_at_ms, now_ms) < SAMPLE_S * 1000:
            return False
        # The next one is due a whole interval after this one was, so that they do not drift; after a hold-up, anew.
        self._sample_at_ms = (self._sample_at_ms + SAMPLE_S * 1000) & ((1 << 30) - 1)
        if buttons.passed_ms(self._sample_at_ms, now_ms) >= SAMPLE_S * 1000:
            self._sample_at_ms = now_ms
        return True

    def room_cdeg(self):
        if self.air is not None and self.air.cdeg != NO_CDEG:
            return self.air.cdeg
        return self.bench.plan.room_cdeg if self.bench.plan is not None else NO_CDEG

    def _needle_air(self):
        """The room's air where dough is not meant to be as warm as that; NO_CDEG where it may be."""
        bench = self.bench
        index = bench.probe_step() if bench.plan is not None else -1
        if index >= 0 and bench.plan.steps[index].place not in (P.BENCH, P.FRIDGE, P.FREEZER):
            return NO_CDEG
        return self.room_cdeg()

    def _on_sample(self, now_s):
        sampler = self.sampler
        bench = self.bench
        if self.air is not None and now_s // 60 != self._sampled_s // 60:
            self.air.turn()
        for_s = now_s - self._sampled_s if 0 < now_s - self._sampled_s < 60 else SAMPLE_S
        self._sampled_s = now_s
        effects = bench.on_sample(now_s, for_s, sampler.bench.cdeg, sampler.probe.cdeg, self.room_cdeg())
        self.apply(effects, now_s)
        self._tell_faults(now_s)
        self._tell_window(now_s)

    def _tell_faults(self, now_s):
        sampler = self.sampler
        bench = self.bench
        for channel in sampler.channels:
            fault = 0 if channel.fault == AWAY else channel.fault  # a needle on its way is not broken
            if fault != self._faults[channel.number]:
                self._faults[channel.number] = fault
                bench.note(now_s, J.FAULT, channel.number, fault)
        wanted = bench.plan is not None and bench.mode == D.DAY_RUNNING and bench.probe_step() >= 0
        if wanted and sampler.probe.fault == AWAY:
            # At rest it may hang where it likes; under the rolling pin it is missed.
            wanted = D.hands_on(bench.plan, bench.state, bench.probe_step(), now_s)
        if wanted and sampler.probe.fault:
            self._fault_for += 1
            if self._fault_for == (_AWAY_PATIENCE if sampler.probe.fault == AWAY else 2):
                self._raise(J.SENSOR_FAULT, 0, now_s)
        else:
            self._fault_for = 0
            self.alarms.clear(J.SENSOR_FAULT)

    def _tell_window(self, now_s):
        """Warnings of the window and of the proof, from what the bench judged."""
        bench = self.bench
        if bench.plan is None or bench.mode != D.DAY_RUNNING:
            return
        index = bench.probe_step()
        step = bench.plan.steps[index] if index >= 0 else None
        probe_cdeg = self.sampler.probe.cdeg
        window = bench.window
        hands = window is not None and D.hands_on(bench.plan, bench.state, index, now_s)
        state = window.state if hands else W.IN
        if not hands or state in (W.IN, W.NO_READING):
            self._outside = 0
            for kind in (J.WINDOW_LEFT_WARM, J.WINDOW_LEFT_COLD):
                self.alarms.clear(kind)
        if hands:
            if state in (W.TOO_WARM, W.TOO_COLD):
                self._outside += 1
                if self._outside >= _WINDOW_PATIENCE:
                    self.alarms.clear(J.WINDOW_SOON)
                    warm = state == W.TOO_WARM
                    self._raise(J.WINDOW_LEFT_WARM if warm else J.WINDOW_LEFT_COLD, step.step_id, now_s)
            elif state == W.IN and 0 <= bench.left_s <= SOON_S and bench.forecast.side > 0:
                self._raise(J.WINDOW_SOON, step.step_id, now_s)
        if not hands:
            self.alarms.clear(J.WINDOW_SOON)
        if step is not None and step.kind == P.PROOF and bench.plan.proof_cap_cdeg != NO_CDEG:
            if probe_cdeg != NO_CDEG and probe_cdeg > bench.plan.proof_cap_cdeg:
                self._raise(J.PROOF_CAP, step.step_id, now_s)
            elif probe_cdeg != NO_CDEG and probe_cdeg < bench.plan.proof_cap_cdeg - 30:
                self.alarms.clear(J.PROOF_CAP)
        projection = bench.projection
        if projection is not None and projection.slip_s > self._slip_told_s + SLIP_S:
            self._slip_told_s = projection.slip_s
            self._raise(J.SLIP, 0, now_s)

    def _log(self, now_s):
        """Temperatures to the log, now and then the air, memory at quiet moments."""
        bench = self.bench
        if bench.plan is not None and bench.mode != D.FINISHED:
            sampler = self.sampler
            if not self.writer.add(now_s, sampler.bench.cdeg, sampler.probe.cdeg):
                self.flush()
                self.writer.add(now_s, sampler.bench.cdeg, sampler.probe.cdeg)
            if not 0 <= now_s - self._flushed_s < FLUSH_S - SAMPLE_S:
                self._flushed_s = now_s
                self.flush()
            if not 0 <= now_s - self._aired_s < AIR_S:
                self._aired_s = now_s
                if self.air is not None and self.air.cdeg != NO_CDEG:
                    bench.note(now_s, J.AIR, self.air.cdeg, self.air.rh_pct)
        if not 0 <= now_s - self._measured_s < MEASURE_S:
            self._measured_s = now_s
            self.supervisor.measure()
            if self.supervisor.low_memory:
                self._raise(J.LOW_MEMORY, 0, now_s)

    def flush(self):
        """Write the samples in hand; what could not be written is said."""
        if not self.writer.count:
            return
        now_s = self.clock.now_s
        block = self.writer.block()
        try:
            if self.store.append_samples(block):
                self.board.mark("samples %d" % (self.writer.next_at_s - SAMPLE_S))
                self._unwritten = 0
                self.alarms.clear(J.LOW_MEMORY, NO_ROOM)
                return
            if self.store.losses:
                what, octets = self.store.losses.pop()
                self.bench.note(now_s, J.LOST, what, octets)
            self._raise(J.LOW_MEMORY, NO_ROOM, now_s)
        except OSError:
            self.bench.store_failed = True
            self._unwritten += 1
            if self._unwritten >= 2:  # a single failure passes; the gap is in the log
                self._raise(J.LOW_MEMORY, NO_ROOM, now_s)
        self.writer.restart()

    # --- effects --------------------------------------------------------------------------------------------------

    def apply(self, effects, now_s):
        """Turn the day's effects into alarms; returns the effects."""
        bench = self.bench
        for effect in effects:
            kind, step_id = effect[0], effect[1]
            if kind == D.FX_JOURNAL_STEP:
                if effect[2][1] in (D.RUNNING, D.DONE, D.SKIPPED):
                    self.alarms.clear_step(step_id)
            elif kind == D.FX_STEP_DUE:
                self._raise(J.STEP_DUE, step_id, now_s)
            elif kind == D.FX_STEP_ENDED:
                index = bench.plan.index_of(step_id)
                if bench.state.steps[index] == D.READY:
                    self._raise(J.REST_DONE, step_id, now_s)
            elif kind == D.FX_OVER_MAX:
                if D.runs_itself(bench.plan.steps[bench.plan.index_of(step_id)]):  # slow hands show as lateness
                    self._raise(J.HOLD_MAX, step_id, now_s)
            elif kind == D.FX_FINISHED:
                self.flush()
                self.sounder.play(sounds.DONE, self.ticks())
                self.alarms = A.Alarms()
        return effects

    def _raise(self, kind, step_id, now_s):
        bench = self.bench
        saves = kind in (J.PROOF_CAP, J.OVEN_EMPTY)
        if bench.plan is not None and step_id:
            index = bench.plan.index_of(step_id)
            saves = saves or (index >= 0 and bool(bench.plan.steps[index].flags & P.SAVES_BATCH))
        cdeg = self.sampler.probe.cdeg
        if self.alarms.raise_(kind, step_id, cdeg, now_s, saves) is not None:
            bench.note(now_s, J.ALARM, kind, step_id, cdeg)

    def acknowledge(self, now_s):
        """The cook has seen the most urgent alarm; True when there was one."""
        alarm = self.alarms.acknowledge(now_s)
        if alarm is None:
            return False
        self.sounder.hush()
        self.bench.note(now_s, J.ACK, alarm.kind, alarm.step_id)
        return True

    def _quiet(self, now_s):
        plan = self.bench.plan
        if plan is None or not self.clock.ok:
            return False
        for span in plan.quiet:
            if span[0] <= now_s < span[1]:
                return True
        return False

    def _alarms(self, now_s, now_ms):
        if self.alarms.standing:
            pattern = self.alarms.sound_due(now_s, self._quiet(now_s))
            if pattern and self.settings["sound"]:
                self.sounder.play(pattern, now_ms)
        self.lamp.show(self._light(now_s), now_ms)

    def _light(self, now_s):
        """The light's pattern: colour, rhythm and the word on the screen say the same. In quiet hours it is steady."""
        alarm = self.alarms.top
        g = self.ui.glance
        if alarm is not None:
            pattern = sounds.OF_SOUND[alarm.sound]
            if alarm.saves or not self._quiet(now_s):
                # Nobody came for half an hour: it flashes with each sound only, and the board sleeps in between.
                if now_s - alarm.at_s > _ALONE_S and alarm.next_s - now_s < _ALONE_AGAIN_S:
                    return sounds.L_STEADY[pattern]
                return pattern
            return sounds.L_ACT if pattern is sounds.L_CALLS else sounds.L_OFF
        if g.due:
            return sounds.L_ACT
        if self.bench.mode == D.DAY_RUNNING and g.left_kind == 2:
            return sounds.L_RESTS
        return sounds.L_OFF

    # --- screen ---------------------------------------------------------------------------------------------------

    def _show(self, now_s):
        self._shown_s = now_s
        g = self.ui.compose(now_s)
        if not self.display_ok:
            self.view.forget()
        if not self.view.draw(g) and self.display_ok:
            self.board.tell(g)
            return
        try:
            if not self.display_ok:
                self.display.begin(self.settings["contrast"])
                self.display_ok = True
            self.display.show()
        except OSError:
            # Looked for again at the next picture: a loose ribbon may come back. Sound and light go on meanwhile.
            self.display_ok = False
        self.board.tell(g)

    # --- for builders and the link --------------------------------------------------------------------------------

    def self_test(self):
        return selftest.run(self)

    def wear_years(self):
        """Years until the flash is worn at the pace since boot: erases spread over all blocks, 100 000 each.

        A board that cannot count erases (MicroPython's own file system) has them estimated from the store's writes.
        """
        erases = self.board.flash_counts()[1] or self.store.writes // S.WRITES_PER_ERASE
        s = max(1, self.uptime_s())
        if not erases:
            return 9999
        return min(9999, 352 * 100000 // erases * s // 31557600)

    def latency(self):
        """Worst turn of each task in 0.1 ms, then all its turns together in s, as text."""
        sup = self.supervisor
        worst = ["%d" % (us // 100) for us in sup.worst_us]
        return (",".join(worst) + ";" + ",".join(["%d" % (ms // 1000) for ms in sup.total_ms])).encode()
