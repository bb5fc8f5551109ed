"""From presses to events, and from the day to a Glance. The only module that knows what the three buttons mean.

    left     not yet, back; with an alarm: later (snooze)
    middle   the thing that comes next: start, done, yes; with an alarm: seen. Long: do it all the same
    right    more: rests, bend test, undo, skip, clock. Double: undo at once
"""

import alarms
import buttons
import glance as G
import lines
import sounds

from shared_schedule import day as D
from shared_schedule import journal as J
from shared_schedule import window as W
from shared_schedule import words
from shared_schedule.units import NO_CDEG
from shared_schedule.voice import degrees

_MESSAGE_S = 4
_MENU_S = 30  # a menu left open goes away: what matters is behind it
_SETTING_S = 90  # somebody has gone to look at the kitchen's clock

_MENU = ("Rests and times", "Bend test", "Undo", "Skip this step", "Show air, clock", "Set the clock")
M_RESTS, M_BEND, M_UNDO, M_SKIP, M_AIR, M_CLOCK = range(6)
_VERDICTS = ("It cracked", "It bent clean", "It is greasy")
# Alarms beside which the minutes still mean what they say.
_COUNTED = (J.WINDOW_SOON, J.WINDOW_LEFT_WARM, J.WINDOW_LEFT_COLD, J.SENSOR_FAULT, J.PROOF_CAP)


class Ui:
    """`app` gives: bench, alarms, clock, sampler, air, sounder and ticks()."""

    def __init__(self, app):
        self.app = app
        self.glance = G.Glance()
        self.screen = None  # one of the screens that lie over the day's, or None
        self.since_s = 0
        self.chosen = 0
        self.question = -1
        self.question_step = 0
        self.after_question: tuple = (0, 0, 0)
        self.message = ()
        self.message_for_s = _MESSAGE_S
        self.setter = None  # the clock being set, a clockset.ClockSetter
        self._tapped = False
        self.details = ()
        self.details_key = None

    # --- presses --------------------------------------------------------------------------------------------------

    def press(self, button, kind, now_s):
        """Take a finished press of a button."""
        app = self.app
        sound = sounds.CLICK
        # The first tap of a double press has opened the menu already; a quick walk down the menu is no double press.
        tapped = self._tapped
        self._tapped = False
        if app.alarms.top is not None and self.screen is None and button != buttons.RIGHT:
            if button == buttons.MIDDLE:
                alarm = app.alarms.top
                app.acknowledge(now_s)
                if alarm.kind == J.CLOCK_UNKNOWN and app.bench.plan is not None:
                    sound = self._clock(now_s)
            else:
                app.alarms.snooze(now_s)
                self.say(("Again in %d minutes." % (alarms.SNOOZE_S // 60),), now_s, 2)
        elif button == buttons.RIGHT and kind == buttons.DOUBLE and tapped:
            self.close()
            sound = self._event((D.EV_UNDO, 0, 0), now_s)
        elif self.screen == G.S_MESSAGE:
            self.close()
        elif self.screen == G.S_QUESTION:
            sound = self._answer(button, kind, now_s)
        elif self.screen in (G.S_MENU, G.S_BEND):
            sound = self._choose(button, now_s)
        elif self.screen == G.S_SET:
            sound = self._clock(now_s, button, kind)
        elif self.screen == G.S_RESTS:
            self.close()
        elif button == buttons.MIDDLE and self.glance.screen == G.S_CLOCK:
            sound = self._clock(now_s)
        elif button == buttons.MIDDLE:
            sound = self._go(kind == buttons.LONG, now_s)
        elif button == buttons.RIGHT:
            self.open(G.S_MENU, now_s)
            self._tapped = True
        else:
            self.open(G.S_RESTS, now_s)
        app.sounder.play(sound, app.ticks())

    def open(self, screen, now_s):
        self.screen = screen
        self.since_s = now_s
        self.chosen = 0

    def close(self):
        self.screen = None
        self.question = -1
        self.setter = None

    def say(self, lines_, now_s, for_s=_MESSAGE_S):
        """Show a few words for a few seconds, or until a press."""
        self.message = tuple(lines_)
        self.open(G.S_MESSAGE, now_s)
        self.message_for_s = for_s

    def _go(self, deliberate, now_s):
        bench = self.app.bench
        if bench.plan is None:
            return sounds.REFUSED
        event = D.go_event(bench.plan, bench.state, now_s)
        if event is None:
            return sounds.REFUSED
        if deliberate:
            kind = D.EV_OVERRIDE if event[0] == D.EV_STEP_DONE else event[0]
            event = (kind, event[1], D.DELIBERATE)
        return self._event(event, now_s)

    def _event(self, event, now_s):
        """Send an event to the day; ask what has to be ticked first."""
        app = self.app
        bench = app.bench
        if bench.plan is None:
            return sounds.REFUSED
        effects = app.apply(bench.press(event, now_s), now_s)
        for effect in effects:
            if effect[0] != D.FX_REFUSED:
                continue
            reason = effect[2]
            if reason in (D.R_UNTICKED, D.R_OVEN):
                self._ask(event, reason, now_s)
                return sounds.CLICK
            text = "memory failed; press again" if bench.store_failed else D.REASONS[reason]
            self.say(lines.wrapped(text), now_s)
            return sounds.REFUSED
        return sounds.CLICK

    def _ask(self, event, reason, now_s):
        bench = self.app.bench
        index = bench.plan.index_of(event[1])
        if reason == D.R_OVEN:
            self.question = D.TICK_OVEN
        else:
            index = self._unticked_step(index)
            step = bench.plan.steps[index]
            self.question = 0
            while bench.state.ticked[index] >> self.question & 1 and self.question < len(step.ticks):
                self.question += 1
        self.question_step = bench.plan.steps[index].step_id
        self.after_question = event
        self.open(G.S_QUESTION, now_s)

    def _unticked_step(self, index):
        """The step whose tick is missing: this one, or an open one that its start would close."""
        bench = self.app.bench
        state = bench.state
        if D.is_open(state.steps[index]):
            return index
        for other in D.before(state, index):
            wanted = D.all_ticks(bench.plan.steps[other])
            if D.is_open(state.steps[other]) and state.ticked[other] & wanted != wanted:
                return other
        return index

    def _answer(self, button, kind, now_s):
        if button == buttons.LEFT:
            self.close()
            return sounds.CLICK
        if button == buttons.RIGHT:
            return sounds.REFUSED
        event = self.after_question
        question = self.question
        self.close()
        if kind == buttons.LONG and question != D.TICK_OVEN:
            return self._override(event, now_s)
        effects = self.app.bench.press((D.EV_TICK, self.question_step, question), now_s)
        if effects and effects[0][0] == D.FX_REFUSED:
            self.say(lines.wrapped(D.REASONS[effects[0][2]]), now_s)
            return sounds.REFUSED
        return self._event(event, now_s)

    def _override(self, event, now_s):
        """Held on a question: the step that asks it ends without the tick, and what was pressed for goes on."""
        sound = self._event((D.EV_OVERRIDE, self.question_step, D.DELIBERATE), now_s)
        bench = self.app.bench
        if self.screen is None and event[1] != self.question_step:
            if bench.state.steps[bench.plan.index_of(event[1])] == D.WAITING:  # else it followed at once
                return self._event(event, now_s)
        return sound

    def _choose(self, button, now_s):
        entries = _MENU if self.screen == G.S_MENU else _VERDICTS
        if button == buttons.LEFT:
            self.close()
            return sounds.CLICK
        if button == buttons.RIGHT:
            self.chosen = (self.chosen + 1) % len(entries)
            self.since_s = now_s
            return sounds.CLICK
        if self.screen == G.S_BEND:
            return self._verdict(self.chosen + 1, now_s)
        chosen = self.chosen
        self.close()
        if chosen == M_RESTS:
            self.open(G.S_RESTS, now_s)
        elif chosen == M_BEND:
            if self.app.bench.plan is None or self.app.sampler.probe.cdeg == NO_CDEG:
                self.say(("A bend test needs", "the probe's reading."), now_s)
                return sounds.REFUSED
            self.open(G.S_BEND, now_s)
            self.chosen = 1
        elif chosen == M_UNDO:
            return self._event((D.EV_UNDO, 0, 0), now_s)
        elif chosen == M_SKIP:
            return self._skip(now_s)
        elif chosen == M_CLOCK:
            return self._clock(now_s)
        else:
            self.say(lines.air(self.app), now_s)
        return sounds.CLICK

    def _clock(self, now_s, button=0, kind=0):
        """Begin setting the clock, or take a press meanwhile. Loaded when it is wanted: hardly ever."""
        try:
            import clockset
        except MemoryError:
            self.say(("No memory for that:", "set it at the desk."), now_s)
            return sounds.REFUSED
        return clockset.press(self, button, kind, now_s) if button else clockset.begin(self, now_s)

    def _skip(self, now_s):
        bench = self.app.bench
        if bench.plan is None:
            return sounds.REFUSED
        index = D.focus(bench.plan, bench.state, now_s)
        if index < 0:
            return sounds.REFUSED
        return self._event((D.EV_SKIP, bench.plan.steps[index].step_id, 0), now_s)

    def _verdict(self, verdict, now_s):
        bench = self.app.bench
        cdeg = self.app.sampler.probe.cdeg
        if cdeg == NO_CDEG or not bench.bend(cdeg, verdict, now_s):
            self.say(("Not noted:", "no reading now."), now_s)
            return sounds.REFUSED
        us = bench.us
        text = "window %s to %s\u00b0" % (degrees(bench.bend_low, us), degrees(bench.bend_high, us))
        self.say(("%s at %s\u00b0" % (W.VERDICT_WORDS[verdict], degrees(cdeg, us)), "This butter's", text), now_s)
        return sounds.CLICK

    # --- what is shown --------------------------------------------------------------------------------------------

    def compose(self, now_s):
        """Fill the glance from the day; returns it."""
        app = self.app
        g = self.glance
        bench = app.bench
        probe = app.sampler.probe
        if self.screen == G.S_MESSAGE and not 0 <= now_s - self.since_s < self.message_for_s:
            self.close()
        if self.screen in (G.S_MENU, G.S_BEND, G.S_RESTS) and not 0 <= now_s - self.since_s < _MENU_S:
            self.close()
        if self.screen == G.S_SET and not 0 <= now_s - self.since_s < _SETTING_S:
            self.close()
        g.probe_cdeg = probe.cdeg
        g.bench_cdeg = app.sampler.bench.cdeg
        g.fault = probe.fault | app.sampler.bench.fault << 4
        g.mode = bench.mode
        g.us = bench.us
        g.low_cdeg = g.high_cdeg = NO_CDEG
        g.left_s = G.UNKNOWN
        g.left_kind = G.LEFT_NOTHING
        g.progress_pct = G.UNKNOWN
        g.trend = 0
        g.lines = ()
        g.chosen = -1
        g.step_id = g.step_state = g.fold = g.fold_n = g.fold_of = g.place = 0
        g.due = g.hands = False
        g.probe_wanted = bench.plan is not None and bench.probe_step() >= 0
        g.question = self.question
        g.urgent = False
        g.slack_s = bench.projection.slack_s if bench.projection is not None else 0
        g.labels = ("times", "", "more")
        if bench.plan is None:
            g.screen = G.S_NO_PLAN
            g.word, g.code = words.WORDS[words.NO_PLAN], words.NO_PLAN
            g.line = lines.stuck(app) or "send a plan to begin"
        else:
            lines.day(self, g, now_s)
        if not app.clock.ok and g.screen in (G.S_NO_PLAN, G.S_STEP) and (bench.plan is None or g.code == words.NEXT):
            g.screen = G.S_CLOCK
            g.word, g.code = words.WORDS[words.SET_CLOCK], words.SET_CLOCK
            g.line = "connect it to the desk"
            if bench.plan is not None:
                g.line = "here, or at the desk"
                g.labels = ("times", "set", "more")
        alarm = app.alarms.top
        g.alarm = alarm.kind if alarm is not None else 0
        g.alarm_step = alarm.step_id if alarm is not None else 0
        if self.screen is not None:
            self._over(g)
        elif alarm is not None:
            g.urgent = True
            g.labels = ("later", "set" if alarm.kind == J.CLOCK_UNKNOWN else "seen", "more")
            if alarm.kind != J.STEP_DUE:
                g.word = alarm.word
            g.line = lines.alarm(app, alarm)
            if alarm.kind not in _COUNTED or (alarm.step_id and alarm.step_id != g.step_id):
                g.left_kind = G.LEFT_NOTHING  # "READY 10 min" would be another step's ten minutes
        return g

    def _over(self, g):
        """A screen that lies over the day's."""
        g.screen = self.screen
        if self.screen == G.S_MESSAGE:
            g.word = ""
            g.lines = self.message
            g.line = ""
            g.labels = ("", "ok", "")
        elif self.screen == G.S_QUESTION:
            g.word, g.code = words.WORDS[words.TICK], words.TICK
            bench = self.app.bench
            index = bench.plan.index_of(self.question_step)
            g.step_id = self.question_step
            if self.question == D.TICK_OVEN:
                text = "Is the oven empty? Look inside."
            else:
                text = bench.plan.steps[index].ticks[self.question]
            g.lines = tuple(lines.wrapped(text))
            g.line = ""
            g.labels = ("not yet", "yes", "")
        elif self.screen == G.S_SET:
            g.word, g.code = words.WORDS[words.SET_CLOCK], words.SET_CLOCK
            import clockset  # is loaded by now

            clockset.show(self.setter, g)
        elif self.screen == G.S_MENU:
            g.word = "More"
            g.lines = _MENU
            g.chosen = self.chosen
            g.labels = ("back", "choose", "next")
        elif self.screen == G.S_BEND:
            g.word = "Bend test at %s\u00b0" % degrees(g.probe_cdeg, self.app.bench.us)
            g.lines = _VERDICTS
            g.chosen = self.chosen
            g.labels = ("back", "choose", "next")
        else:
            g.word = "Rests and times"
            g.lines = tuple(lines.rests(self.app))
            g.labels = ("back", "", "")
