"""Every screen once, drawn by the firmware's own code from a made-up day: for pictures and for the overlap test.

Prints one line a screen: name, tab, 2048 hex digits of the picture, tab, marks as x,y,width,height,text parted by "|".
With the argument `us` the plan is one in °F and inches. Runs on any MicroPython with framebuf
that finds firmware/ and shared_schedule (MICROPYPATH); gallery.py starts it.
"""

import binascii
import sys

import alarms as A
import buttons
from bench import Bench
from canvas import Canvas
from sampler import OPEN
from ui import Ui
from view import draw
from watch import BENCH_FAULT

from shared_schedule import day as D
from shared_schedule import journal as J
from shared_schedule import plan as P
from shared_schedule import words
from shared_schedule.units import NO_CDEG

_T0 = 217400400
_US = 1 if sys.argv[1:] == ["us"] else 0


class _Nothing:
    """Stands for flash, board and sounder: takes everything, does nothing."""

    number = 0

    def __getattr__(self, name):
        return self._take

    def _take(self, *_args):
        return None


class _Channel:
    def __init__(self):
        self.cdeg = 1340
        self.fault = 0


class _App:
    """As much of App as Ui and lines look at."""

    def __init__(self):
        self.board = _Nothing()
        self.sounder = _Nothing()
        self.alarms = A.Alarms()
        self.bench = Bench(_Nothing(), self.board)
        self.bench.clock_ok = True
        self.bench.store_failed = False
        self.clock = _Clock()
        self.sampler = _Sampler()
        self.air = _Air()
        self.buttons = buttons.Buttons()
        self.ui = Ui(self)

    def ticks(self):
        return 0

    def apply(self, effects, _now_s):
        return effects

    def set_clock(self, at_s, _offset_min):
        return True

    def known_s(self):
        return _T0 - 5400

    def acknowledge(self, now_s):
        return self.alarms.acknowledge(now_s)


class _Clock:
    ok = True
    now_s = _T0
    offset_min = 60


class _Sampler:
    def __init__(self):
        self.bench = _Channel()
        self.probe = _Channel()
        self.bench.cdeg = 1980


class _Air:
    cdeg = 2270
    rh_pct = 58


def _plan():
    steps = []

    def add(kind, name, minutes, after=(), **more):
        step = P.Step(
            step_id=len(steps) + 1, kind=kind, name=name, start_at_s=_T0 + 600 * len(steps), planned_for_s=minutes * 60,
            min_s=minutes * 30, ideal_s=minutes * 60, max_s=minutes * 240, after=after, **more,
        )  # fmt: skip
        steps.append(step)
        return step.step_id

    window = {"low_cdeg": 900, "high_cdeg": 1600}
    mix = add(P.MIX, "Mix the d\u00e9trempe", 20, place=P.BENCH, attended_s=1200, ticks=("Is the salt in the flour?",))
    bulk = add(P.BULK, "Bulk", 60, (mix,), place=P.ROOM, ends_by=P.BY_TIME)
    chill = add(P.CHILL, "Chill dough", 30, (bulk,), place=P.FREEZER, ends_by=P.BY_CORE, core_cdeg=200)
    lock = add(P.LOCK_IN, "Lock-in", 10, (chill,), place=P.BENCH, attended_s=600, paton=1, **window)
    fold = add(
        P.FOLD, "Fold 1 of 3: 4-fold", 10, (lock,), place=P.BENCH, attended_s=600, paton=1, fold=4, fold_n=1, fold_of=3,
        spine=P.SPINE_LEFT, quarter=1, length_um=510000, width_um=200000, thickness_um=7000, **window,
    )  # fmt: skip
    again = {"place": P.FRIDGE, "ends_by": P.BY_TIME, "fold_n": 1, "fold_of": 3}
    rest = add(P.REST, "Rest after fold 1", 60, (fold,), paton=1, **again)
    other = add(P.REST, "Rest after fold 1", 60, (lock,), paton=2, **again)
    sheet = add(
        P.SHEET, "Final sheet", 15, (rest, other), place=P.BENCH, attended_s=900, paton=1, length_um=610000,
        width_um=305000, thickness_um=4000, **window,
    )  # fmt: skip
    proof = add(
        P.PROOF, "Proof", 180, (sheet,), place=P.PROOF_SPACE, ends_by=P.BY_DOSE, dose_s=10800, flags=P.SAVES_BATCH
    )
    heat = add(P.PREHEAT, "Heat the oven", 30, (mix,), place=P.OVEN, ends_by=P.BY_TIME, attended_s=60,
               flags=P.ASK_OVEN_EMPTY)  # fmt: skip
    wash = add(P.WASH, "Egg wash", 10, (proof,), place=P.BENCH, attended_s=600, ticks=("Pinch of salt in the wash?",))
    add(P.BAKE, "Bake", 18, (wash, heat), place=P.OVEN, ends_by=P.BY_TIME, attended_s=120, flags=P.SAVES_BATCH)
    plan = P.Plan(
        steps, units=_US, name="showcase", made_at_s=_T0, ready_at_s=_T0 + 40000, offset_min=60, butter_low_cdeg=900,
        butter_high_cdeg=1600, proof_cap_cdeg=2800, room_cdeg=2200, fridge_cdeg=400, freezer_cdeg=-1800,
        proof_cdeg=2600, bench_um=20000, bench_effusivity=3130, film_room_mw=7700, film_fridge_mw=8000,
        film_freezer_mw=9000, laminate_k_mw=330, laminate_rc=2900,
    )  # fmt: skip
    plan.steps[heat - 1].start_at_s = _T0 + 12000
    return P.validate(plan)


class _Stage:
    """One made-up moment: which steps are done, which runs, what the probe reads."""

    def __init__(self):
        self.app = _App()
        self.app.bench._hold(_plan(), b"")
        self.app.bench.store.number = 0
        self.now_s = _T0 + 3600
        self.detail = ""

    def says(self, part):
        """Hold the line that turns at the one with these letters in it."""
        self.detail = part
        return self

    def at(self, step_id, state=D.RUNNING, ago_s=240, probe=1340, bench=1980):
        """Everything before is done; the step itself is in `state` since ago_s."""
        app = self.app
        day = app.bench.state
        for index in range(len(day.steps)):
            if index < step_id - 1:
                day.steps[index] = D.DONE
                day.started_at_s[index] = self.now_s - 3600
                day.ended_at_s[index] = self.now_s - ago_s
        if step_id < 7:
            day.steps[6] = D.SKIPPED  # the second p\u00e2ton has a screen of its own
        index = step_id - 1
        day.steps[index] = state
        if state != D.WAITING:
            day.started_at_s[index] = self.now_s - ago_s
            if state == D.READY:
                day.ready_at_s[index] = self.now_s
        app.clock.now_s = self.now_s
        return self.read(probe, bench)

    def read(self, probe, bench=1980, slope=0):
        app = self.app
        app.sampler.probe.cdeg = probe
        app.sampler.bench.cdeg = bench
        app.sampler.bench.fault = OPEN if bench == NO_CDEG else 0
        app.sampler.probe.fault = OPEN if probe == NO_CDEG else 0
        for ago in range(12, -1, -1):
            cdeg = probe - slope * ago if probe != NO_CDEG else probe
            app.bench.on_sample(self.now_s - ago * 5, 5, bench, cdeg, 2270)
        return self

    def projected(self):
        for _ in range(14):
            self.app.bench.on_time(self.now_s)
        return self

    def alarm(self, kind, step_id=0):
        self.app.alarms.raise_(kind, step_id, self.app.sampler.probe.cdeg, self.now_s)
        return self

    def press(self, *presses):
        for button, kind in presses:
            self.app.ui.press(button, kind, self.now_s)
        return self


_RIGHT = (buttons.RIGHT, buttons.SHORT)
_MIDDLE = (buttons.MIDDLE, buttons.SHORT)
_LEFT = (buttons.LEFT, buttons.SHORT)


def stages():
    """Yield (name, _Stage) for every screen."""
    stage = _Stage()
    stage.app.bench.plan = None
    stage.app.bench.state = None
    yield "no-plan", stage
    stage = _Stage()
    stage.app.bench.plan = None
    stage.app.bench.state = None
    stage.app.clock.ok = False
    yield "set-clock", stage
    stage = _Stage()
    stage.now_s = _T0 + 1300
    yield "next", stage.at(4, D.WAITING).projected()
    yield "mix", _Stage().at(1, probe=2140)
    yield "salt-question", _Stage().at(1, probe=2140).press(_MIDDLE)
    yield "chill", _Stage().at(3, ago_s=900, probe=620).projected()
    yield "lock-in-due", _Stage().at(4, D.WAITING).alarm(J.STEP_DUE, 4)
    yield "fold-due", _Stage().at(5, D.WAITING).projected()
    yield "roll", _Stage().at(5, probe=1190).read(1190, 1550, 3).projected()
    yield "roll-sheet", _Stage().at(5, probe=1190).read(1190, 1550, 3).projected().says(" thick" if _US else " mm")
    yield "roll-next-event", _Stage().at(5, probe=1190).read(1190, 1550, 3).projected().says(":")
    yield "roll-slack", _Stage().at(5, probe=1190).read(1190, 1550, 3).projected().says("to spare")
    yield "roll-soon-warm", _Stage().at(5, probe=1545).read(1545, 2300, 6).alarm(J.WINDOW_SOON, 5)
    yield "chill-now", _Stage().at(5, probe=1750).read(1750, 2300, 6)
    yield "too-warm-alarm", _Stage().at(5, probe=1750).read(1750, 2300, 6).alarm(J.WINDOW_LEFT_WARM, 5)
    yield "wait-cold", _Stage().at(5, probe=620).read(620, 1500, 4)
    yield "no-reading", _Stage().at(5, probe=NO_CDEG)
    yield "no-bench-alarm", _Stage().at(5, probe=1190, bench=NO_CDEG).alarm(J.SENSOR_FAULT, BENCH_FAULT)
    yield "no-bench", _Stage().at(5, probe=1190, bench=NO_CDEG).projected().says("bench: no reading")
    stage = _Stage().at(5, probe=1190)
    stage.app.buttons.stuck = buttons.MIDDLE
    yield "stuck-button", stage.projected().says("stuck")
    stage = _Stage().at(6, ago_s=2100, probe=780)
    stage.app.bench.plan.steps[5].name = "Wrap and rest after fold 1, cold \u00b7 1"
    yield "long-name", stage.projected().says("\u00b7 1")
    yield "no-reading-alarm", _Stage().at(5, probe=NO_CDEG).alarm(J.SENSOR_FAULT, 0)
    yield "rest", _Stage().at(6, ago_s=2100, probe=780).projected()
    yield "rest-ready", _Stage().at(6, D.READY, 3600, 510).alarm(J.REST_DONE, 6)
    stage = _Stage().at(7, ago_s=1200, probe=780)
    stage.app.bench.state.steps[5] = D.RUNNING
    stage.app.bench.state.started_at_s[5] = stage.now_s - 2900
    stage.app.bench.state.ended_at_s[5] = 0
    yield "two-rests", stage.projected().says("more running")
    yield "times", stage.press(_LEFT)
    yield "sheet", _Stage().at(8, probe=1210).read(1210, 1700, 2).projected()
    yield "proof", _Stage().at(9, ago_s=6600, probe=2540)
    yield "proof-too-warm", _Stage().at(9, ago_s=6600, probe=2950).alarm(J.PROOF_CAP, 9)
    stage = _Stage().at(10, D.WAITING, probe=2480)
    stage.now_s += 9000
    yield "oven-question", stage.press(_MIDDLE)
    yield "bake", _Stage().at(12, ago_s=300, probe=NO_CDEG)
    yield "bake-ready", _Stage().at(12, D.READY, 1100, NO_CDEG).alarm(J.REST_DONE, 12)
    yield "too-long", _Stage().at(6, D.READY, 15000, 480).alarm(J.HOLD_MAX, 6)
    yield "menu", _Stage().at(5, probe=1190).press(_RIGHT, _RIGHT)
    yield "menu-end", _Stage().at(5, probe=1190).press(_RIGHT, _RIGHT, _RIGHT, _RIGHT, _RIGHT, _RIGHT)
    yield "bend-test", _Stage().at(5, probe=1190).press(_RIGHT, _RIGHT, _MIDDLE)
    stage = _Stage().at(5, probe=1190)
    stage.app.bench.note = _yes
    yield "bend-noted", stage.press(_RIGHT, _RIGHT, _MIDDLE, _LEFT, _RIGHT, _RIGHT, _MIDDLE, _MIDDLE)
    yield "refused", _Stage().at(6, ago_s=600, probe=900).press(_MIDDLE)
    yield "air", _Stage().at(6, ago_s=600, probe=900).press(_RIGHT, _RIGHT, _RIGHT, _RIGHT, _RIGHT, _MIDDLE)
    yield "clock-unknown", _unset().alarm(J.CLOCK_UNKNOWN)
    yield "clock-hours", _unset().alarm(J.CLOCK_UNKNOWN).press(_MIDDLE)
    yield "clock-minutes", _unset().alarm(J.CLOCK_UNKNOWN).press(_MIDDLE, _RIGHT, _RIGHT, _MIDDLE, _RIGHT)
    yield "clock-date", _unset().alarm(J.CLOCK_UNKNOWN).press(_MIDDLE, _RIGHT, _MIDDLE, _MIDDLE, _MIDDLE)
    stage = _unset().alarm(J.CLOCK_UNKNOWN).press(_MIDDLE, _MIDDLE, _MIDDLE, _MIDDLE, _MIDDLE)
    stage.now_s = stage.app.ui.since_s
    yield "clock-set", stage
    stage = _Stage().at(6, ago_s=600, probe=900)
    stage.app.ui.say(["Lost at power-up:", "settings", "temperatures"], stage.now_s)
    yield "lost", stage
    yield "low-memory", _Stage().at(6, ago_s=600, probe=900).alarm(J.LOW_MEMORY)
    stage = _Stage()
    stage.now_s = _T0 + 34000
    yield "late", stage.at(6, ago_s=600, probe=900).projected().alarm(J.SLIP)
    stage = _Stage().at(12, D.DONE, probe=2310)
    yield "done", stage


def _unset():
    """A rest after a power cut in the night: nobody knows the time."""
    stage = _Stage().at(6, ago_s=600, probe=900)
    stage.app.clock.ok = False
    stage.app.bench.clock_ok = stage.app.bench.state.clock_ok = False
    return stage


def _yes(*_args):
    return True


def words_fit(canvas):
    """Return the words that do not fit the display."""
    wide = []
    for table in (words.WORDS, words.KIND_WORDS):
        for code in table:
            if canvas.word_width(table[code]) > 128:
                wide.append(table[code])
    for row in A._KINDS:
        if canvas.word_width(row[4]) > 128:
            wide.append(row[4])
    return wide


def main():
    buffer = bytearray(1024)
    canvas = Canvas(buffer)
    print("wide\t%s" % ",".join(words_fit(canvas)))
    for name, stage in stages():
        g = stage.app.ui.compose(stage.now_s)
        if stage.detail:
            found = [text for text in stage.app.ui.details if stage.detail in text]
            if not found:
                raise ValueError("%s: no line says %s" % (name, stage.detail))
            g.line = found[0]
        canvas.marks = []
        draw(canvas, g)
        marks = "|".join(["%d,%d,%d,%d,%s" % mark for mark in canvas.marks])
        print("%s\t%s\t%s" % (name, binascii.hexlify(buffer).decode(), marks))


if __name__ == "__main__":
    main()

