"""The bench timer: inputs to events, events to sound, light, screen and journal. One loop, no interrupts of its own.

A KeyboardInterrupt (somebody knocked, see `knock`: he wants the prompt) is never caught for good: what is in hand is
written, then it goes on up.
"""

import gc

import buttons
import config
import lines
import pins
import sounds
import store as S
from bench import Bench
from caller import Caller
from canvas import Canvas
from clock import Clock
from ds3231 import ClockChip
from keeper import SAMPLE_S, Keeper
from knock import Knock
from sampler import Channel, Sampler
from serve import Handler
from sht4x import Air
from ssd1309 import Display
from supervisor import BUTTONS, DAY, LINK, SAMPLE, SCREEN, STORE, Supervisor
from ui import Ui
from view import View
from watch import Watch

from shared_schedule import day as D
from shared_schedule import journal as J
from shared_schedule import link, thermistor
from shared_schedule import plan as P
from shared_schedule.units import NO_CDEG

_LOST_S = 300  # what was lost stays on the screen until it is seen, or somebody has begun something else
_LINK_SHARE = 256  # octets read in one turn: 14 ms on a Pico
_LISTEN_MS = 250  # pace while a host is heard


def valid_length(data):
    """Octets of a journal segment that are whole records."""
    reader = J.read(data)
    try:
        for _record in reader:
            pass
    except ValueError:  # another firmware's: nothing of it is thrown away
        return len(data)
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
        chip = ClockChip(board.i2c, pins.ADDR_CLOCK) if pins.ADDR_CLOCK in found else board.own_clock()
        self.clock = Clock(board.ticks_ms(), chip)
        self.caller = Caller(board)
        self.alarms = self.caller.alarms
        self.sounder = self.caller.sounder
        self.buttons = buttons.Buttons()
        self.buttons.hold_at_boot(board.buttons(), board.ticks_ms())
        self.sampler = Sampler(
            board, tuple([Channel(about.number, *self._curve_of(about)) for about in board.channels])
        )
        self.bench = Bench(self.store, board)
        self.bench.clock_ok = self.clock.ok
        self.watch = Watch(self)
        self.keeper = Keeper(self, self.clock.now_s)
        self.display = Display(board.i2c, pins.ADDR_OLED)
        self.view = View(Canvas(self.display.buffer))
        self.display_ok = False
        self.ui = Ui(self)
        self.session = link.DeviceSession(Handler(self))
        self._knock = Knock()
        self.supervisor = Supervisor(board, self.settings["watchdog"])
        if self.settings["smps_pwm"]:
            board.smps(1)
        self._booted_s = self.clock.now_s
        # The first turn samples and draws: nobody waits five seconds for a picture after plugging in.
        self._sample_at_ms = (board.ticks_ms() - SAMPLE_S * 1000) & ((1 << 30) - 1)
        self._sampled_s = 0
        self._shown_s = self.clock.now_s
        self._stale = False  # a reading was taken and is not shown yet
        self._heard_ms = None
        self._beat_s = 0  # when the mark on the screen hopped
        self._stuck = 0  # the buttons that were said to be stuck
        self.caller.pressed_s = self.clock.now_s
        self._take_up()

    def ticks(self):
        return self.board.ticks_ms()

    def _curve_of(self, about):
        """(curve, fixed resistor, offset) of a channel: settings and calibration know the first two by name."""
        s = self.settings
        if about.number < 2:
            curve, offset_cdeg = s["curve_" + about.name], self.calibration["offset_" + about.name]
            ohm = s["ohm_" + about.name]
        else:
            curve, offset_cdeg, ohm = about.curve, 0, s["ohm_probe"]
        return thermistor.curve(thermistor.CURVE_NAMES[curve]), ohm, offset_cdeg

    def settings_changed(self):
        """Make settings and calibration count at once."""
        for channel, about in zip(self.sampler.channels, self.board.channels):
            channel.configure(*self._curve_of(about))
        if self.display_ok:
            self._show(self.clock.now_s)

    # --- boot -----------------------------------------------------------------------------------------------------

    def _take_up(self):
        """Go on where the journal ends, and say what was lost."""
        bench = self.bench
        held = bench.load()
        now_s = self.clock.now_s
        if held:
            if not self.clock.ok:
                bench.look_back()
            if bench.journal_format < J.VERSION:  # a day begun under an older firmware
                bench.note(now_s, J.FORMAT, J.VERSION)
            channels = bench.channel_records(now_s)
            if channels:
                bench.write(now_s, channels)
            bench.note(now_s, J.BOOT, self.board.reset_cause(), 1 if self.clock.ok else 0, *config.VERSION)
            bench.state.clock_ok = self.clock.ok
        lost = self.store.losses
        if lost:
            self.ui.say(["Lost at power-up:"] + [S.LOST_WORDS[what] for what, _n in lost[:3]], now_s, _LOST_S)
            for what, octets in lost:
                bench.note(now_s, J.LOST, what, octets)
        del lost[:]
        if held and not self.clock.ok and bench.mode == D.DAY_RUNNING:
            self.raise_(J.CLOCK_UNKNOWN, 0, now_s)
        crash = self.store.crash_size()
        if crash and held and self.board.reset_cause() != 1:
            bench.note(now_s, J.CRASH, "%d octets in the crash log" % crash)

    def plan_changed(self, now_s):
        """Another plan is held now: alarms and screens of the old one go."""
        self.alarms.forget()
        self.ui.close()
        self.watch = Watch(self)
        self.keeper.begin(now_s)

    def set_clock(self, now_s, offset_min):
        """The host or the cook said what time it is; True when that is written down."""
        self.flush()
        old_s = self.clock.set(now_s)
        self.clock.offset_min = offset_min
        written = self.bench.clock_set(old_s, now_s)
        self.alarms.clear(J.CLOCK_UNKNOWN)
        self.alarms.shift(now_s - old_s)
        self.caller.pressed_s += now_s - old_s
        if self.bench.forecast is not None:
            self.bench.forecast.rate.clear()
        self._sampled_s = self._shown_s = now_s
        self.keeper.clock_set(now_s)
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
                heard = False if self._stale else board.idle(wait_ms)
                wait_ms = self.turn(heard)
        except KeyboardInterrupt:
            self.flush()
            self.caller.stop(board.ticks_ms())
            raise

    def turn(self, heard):
        """One turn of the loop; returns for how long it may sleep, ms.

        A press, a reading and the picture of a reading each have a turn of their own, so that none gets long: on a Pico
        a reading takes about 20 ms and a whole picture 35.
        """
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
            self.caller.pressed_s = self.clock.now_s
        if self.buttons.stuck != self._stuck and self.ui.screen is None:
            self._stuck = self.buttons.stuck
            if self._stuck:
                self.ui.say((lines.stuck(self) + ".", "The others work.", "Unplug it, clean it."), now_s, _LOST_S)
                self.sounder.play(sounds.FAULT, now_ms)
        now_s = self.clock.now_s  # host or cook may have set it in this turn
        sup.end(BUTTONS)

        sup.begin()
        sampled = pressed is None and not self._stale and self._sample_due(now_ms)
        if sampled:
            self.sampler.turn(self._probe_air(), self._dough_air())
        sup.end(SAMPLE)

        sup.begin()
        if sampled:
            self._on_sample(now_s)
        if sampled or pressed is not None:
            self.apply(self.bench.on_time(now_s), now_s)
        self.caller.turn(self.bench, self.ui.glance, self.clock.ok, self.settings["sound"], now_s, now_ms)
        sup.end(DAY)

        sup.begin()
        if sampled:
            self.keeper.turn(now_s)
        sup.end(STORE)

        sup.begin()
        if not sampled:
            over = self.ui.screen is not None or self._counting()
            if self._stale or pressed is not None or heard or (over and now_s != self._shown_s):
                self._show(now_s)
            elif not 0 <= now_s - self._shown_s < SAMPLE_S:
                self._show(now_s)
            elif now_s != self._beat_s and self.display_ok:
                self._beat(now_s)
        self._stale = sampled
        sup.end(SCREEN)

        sup.turn()
        return self._wait_ms(board.ticks_ms(), now_s)

    def _wait_ms(self, now_ms, now_s):
        wait = SAMPLE_S * 1000 - buttons.passed_ms(self._sample_at_ms, now_ms)
        if wait > SAMPLE_S * 1000 or wait < 0:
            wait = 0
        for other in (self.buttons.wants_ms(now_ms), self.sounder.turn(now_ms), self.caller.lamp.turn(now_ms)):
            if 0 <= other < wait:
                wait = other
        next_s = self.caller.wants_s(self.bench, self.clock.ok, now_s)
        if 0 <= next_s and next_s * 1000 < wait:
            wait = max(100, next_s * 1000 - self.clock.millis())
        if self._heard_ms is not None and wait > 50:
            if buttons.passed_ms(self._heard_ms, now_ms) > link.LISTENER_MS:
                self._heard_ms = None
            else:
                if self.session.taking:
                    return 0
                wait = 10 if self.session.pending() else min(wait, _LISTEN_MS if not self._pulling() else 50)
        if self.ui.screen is not None or self._counting():
            wait = min(wait, 1000)
        return min(wait, self.board.BEAT_MS)

    def _pulling(self):
        return buttons.passed_ms(self._heard_ms, self.board.ticks_ms()) < 2000

    def _counting(self):
        """The screen counts seconds."""
        g = self.ui.glance
        return g.left_kind and 0 <= g.left_s < 100 and self.bench.mode == D.DAY_RUNNING and g.left_s > 0

    def _link(self, heard, now_ms):
        session = self.session
        if heard:
            data = self.board.link_read(_LINK_SHARE)
            if data:
                self._heard_ms = now_ms
                again = self._knock.heard(data, now_ms)
                if again is not None:
                    self.board.again(again)
                    raise KeyboardInterrupt
                try:
                    session.feed(data, now_ms)
                except MemoryError:
                    gc.collect()  # a frame there is no memory for is lost, as on a bad line: the host asks again
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

    def _probe_air(self):
        """The room's air where dough is not meant to be as warm as that; NO_CDEG where it may be."""
        bench = self.bench
        index = bench.probe_step() if bench.plan is not None else -1
        if index >= 0 and bench.plan.steps[index].place not in (P.BENCH, P.FRIDGE, P.FREEZER):
            return NO_CDEG
        return self.room_cdeg()

    def _dough_air(self):
        """The air around the dough that the needle is meant for; without a step the room's."""
        bench = self.bench
        index = bench.probe_step() if bench.plan is not None else -1
        return bench.forecast.air_of(bench.plan.steps[index], self.room_cdeg()) if index >= 0 else self.room_cdeg()

    def _on_sample(self, now_s):
        sampler = self.sampler
        bench = self.bench
        if self.air is not None and now_s // 60 != self._sampled_s // 60:
            self.air.turn()
        for_s = now_s - self._sampled_s if 0 < now_s - self._sampled_s < 60 else SAMPLE_S
        self._sampled_s = now_s
        effects = bench.on_sample(now_s, for_s, sampler.bench.cdeg, sampler.probe.cdeg, self.room_cdeg())
        self.apply(effects, now_s)
        self.watch.turn(now_s)

    def flush(self):
        """Write the temperatures in hand; what could not be written is said."""
        self.keeper.flush()

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
                self.raise_(J.STEP_DUE, step_id, now_s)
            elif kind == D.FX_STEP_ENDED:
                index = bench.plan.index_of(step_id)
                if bench.state.steps[index] == D.READY:
                    self.raise_(J.REST_DONE, step_id, now_s)
            elif kind == D.FX_OVER_MAX:
                if D.runs_itself(bench.plan.steps[bench.plan.index_of(step_id)]):  # slow hands show as lateness
                    self.raise_(J.HOLD_MAX, step_id, now_s)
            elif kind == D.FX_FINISHED:
                self.flush()
                self.sounder.play(sounds.DONE, self.ticks())
                self.alarms.forget()
        return effects

    def raise_(self, kind, step_id, now_s):
        """Raise an alarm and journal it, unless it stands already or was answered a short while ago."""
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

    # --- screen ---------------------------------------------------------------------------------------------------

    def _show(self, now_s):
        self._shown_s = now_s
        g = self.ui.compose(now_s)
        bright = self.caller.contrast(self.bench, g, self.clock.ok, self.settings["contrast"], now_s)
        try:
            if not self.display_ok:
                self.view.forget()
                self.view.beat(now_s)
                self.view.draw(g)
                self.display.begin(bright)
                self.display_ok = True
            else:
                self.display.contrast(bright)
                self.view.beat(now_s)
                self.view.draw(g)
                self.display.show()
        except OSError:
            # Looked for again at the next picture: a loose ribbon may come back. Sound and light go on meanwhile.
            self.display_ok = False
        self._beat_s = now_s
        self.board.tell(g)

    def _beat(self, now_s):
        """Nothing new to show, but that the program lives."""
        self._beat_s = now_s
        self.view.beat(now_s)
        try:
            self.display.show()
        except OSError:
            self.display_ok = False

    # --- for builders and the link --------------------------------------------------------------------------------

    def self_test(self):
        import selftest  # for builders: loaded when it is wanted

        return selftest.run(self)
