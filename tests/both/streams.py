"""Random days for the replay: presses, undo, overrides, ticks, time, power cuts with and without a clock; as records.

`Life` lives a day on the timer's own machine and writes its journal. `told` is a replay of its own, written from what
the journal's documents say a record means (FORMATS and PROTOCOL, the words of `states`), sharing no code with history.
"""

import plans

from shared_schedule import day as D
from shared_schedule import history as H
from shared_schedule import journal as J
from shared_schedule import plan as P


class Dice:
    """Marsaglia's xorshift, so that both interpreters throw the same."""

    def __init__(self, seed):
        self.x = seed * 2654435761 & 0xFFFFFFFF or 1

    def below(self, n):
        x = self.x
        x ^= x << 13 & 0xFFFFFFFF
        x ^= x >> 17
        x ^= x << 5 & 0xFFFFFFFF
        self.x = x
        return x % n


def plan_of(dice):
    """A batch of one or two pâtons, some of whose steps ask for ticks and for an empty oven."""
    plan = plans.two_days(1 + dice.below(2), (4, 3))
    for step in plan.steps:
        if not step.ticks and dice.below(3) == 0:
            step.ticks = ("sieved", "weighed")[: 1 + dice.below(2)]
        if step.kind in (P.PREHEAT, P.BAKE) and dice.below(2):
            step.flags |= P.ASK_OVEN_EMPTY
    return plan


class Life:
    """A day lived: `state` is the timer's, `octets` its journal; `seen` counts what befell."""

    def __init__(self, seed):
        self.dice = Dice(seed)
        self.plan = plan_of(self.dice)
        self.state = D.DayState(self.plan)
        self.now_s = plans.DAY_1
        self.octets = bytearray()
        self.seq = 0
        self.seen = {}

    def count(self, what):
        self.seen[what] = self.seen.get(what, 0) + 1

    def write(self, kind, *body):
        self.octets.extend(J.encode(kind, self.seq, self.now_s, *body))
        self.seq += 1

    def happen(self, event, cause=D.BY_BUTTON):
        effects = D.step(self.plan, self.state, event, self.now_s, cause)
        for effect in effects:
            if effect[0] in (D.FX_JOURNAL_STEP, D.FX_JOURNAL_TICK):
                self.octets.extend(J.step_record(self.seq, self.now_s, effect))
                self.seq += 1
                what = effect[2][2] if effect[0] == D.FX_JOURNAL_STEP else "tick"
                self.count(what)

    def turn(self):
        """Let one thing befall the day."""
        dice = self.dice
        step = self.plan.steps[dice.below(len(self.plan.steps))]
        for _ in range(3):  # mostly at the step the cook looks at
            at = D.focus(self.plan, self.state, self.now_s)
            if at >= 0 and dice.below(2):
                step = self.plan.steps[at]
        self.now_s += (1, 3, 7, 60, 600, 2400)[dice.below(6)]
        what = dice.below(20)
        cause = D.BY_LINK if dice.below(4) == 0 else D.BY_BUTTON
        if what < 5:
            self.happen((D.EV_START_STEP, step.step_id, D.DELIBERATE), cause)
        elif what < 8:
            self.happen((D.EV_STEP_DONE, step.step_id, D.DELIBERATE), cause)
        elif what < 9:
            self.happen((D.EV_OVERRIDE, step.step_id, 0), cause)
        elif what == 9 and dice.below(3) == 0:
            self.happen((D.EV_SKIP, step.step_id, 0), cause)
        elif what < 12:
            number = D.TICK_OVEN if dice.below(4) == 0 else dice.below(2)
            self.happen((D.EV_TICK, step.step_id, number | (D.UNTICK if dice.below(4) == 0 else 0)), cause)
        elif what < 16:
            self.happen((D.EV_UNDO, 0, 0))
        elif what == 16:
            for _ in range(D.CORE_SAMPLES):
                self.happen((D.EV_TEMPERATURE, step.step_id, 500))
        elif what == 17:
            self.happen((D.EV_DOSE, step.step_id, 100000))
        elif what == 18:
            bend = (1200 + dice.below(400), 1 + dice.below(3))
            self.write(J.BEND, bend[0], bend[1], step.step_id)
            self.state.bends.append(bend)
        elif dice.below(3) == 0:
            self.cut()
        if not self.state.clock_ok and dice.below(25) == 0:
            self.set_clock()
        self.happen((D.EV_TIME, 0, 0))

    def cut(self):
        """Power goes; what is in hand afterwards is what the journal tells."""
        lived = self.state
        self.state = H.replay(self.plan, J.read(bytes(self.octets)), D.DayState(self.plan))
        assert self.state.same_as(lived)
        known = self.dice.below(2)
        self.write(J.BOOT, 1, known, 1, 0, 0)
        self.state.clock_ok = known != 0
        self.count("cut" if known else "cut without a clock")

    def set_clock(self):
        old_s = self.now_s
        self.now_s += 30 + self.dice.below(7200)
        self.write(J.CLOCK, old_s, self.now_s)
        self.state.set_clock(old_s, self.now_s)
        self.count("clock set")


def told(plan, records):
    """Independent: what the records say of every step, as {step id: [state, begun, ready, ended, cause, ticks]}.

    A step begins when it leaves waiting (0) for running (1), is ready when it becomes ready (4) out of running, and has
    ended when it is done (2) or skipped (3); going back (cause 6) takes away what came after and leaves what was
    before. Instants stamped between a boot without a clock and the setting of the clock move with it.
    """
    tale = {}
    doubtful = []
    for step in plan.steps:
        tale[step.step_id] = [0, 0, 0, 0, 0, 0]
    clock = True
    for kind, _seq, at_s, body in records:
        if kind == 3:
            row = tale[body[0]]
            before, row[0], row[4] = body[1:4]
            lost = {0: (1, 2, 3), 1: (2, 3), 4: (3,)}.get(row[0], ()) if row[4] == 6 else ()
            for column in lost:
                row[column] = 0
                doubtful = [pair for pair in doubtful if pair != (body[0], column)]
            column = 0
            if row[4] != 6:
                column = {1: 1, 4: 2, 2: 3, 3: 3}[row[0]]
                assert row[0] != 1 or before == 0
            if column:
                row[column] = at_s
                if not clock:
                    doubtful.append((body[0], column))
        elif kind == 4:
            step = plan.steps[plan.index_of(body[0])]
            bits = 1 << body[1]
            if step.flags & P.ASK_OVEN_EMPTY and len(step.ticks) == 1:
                bits = 129  # its one tick and the oven's question are the same
            tale[body[0]][5] = tale[body[0]][5] | bits if body[2] else tale[body[0]][5] & ~bits
        elif kind == 1:
            clock = body[1] == 1
        elif kind == 8:
            for step_id, column in doubtful:
                tale[step_id][column] += body[1] - body[0]
            doubtful = []
            clock = True
    return tale


def row(plan, past, index):
    """A history's step in the shape of `told`."""
    return [past.steps[index], past.started_at_s[index], past.ready_at_s[index], past.ended_at_s[index],
            past.cause[index], past.ticked[index]]  # fmt: skip
