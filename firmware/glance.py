"""What the screen says, as plain values: the view draws them, the link sends them, a scripted cook reads them."""

from shared_schedule.units import NO_CDEG

# Screens.
S_NO_PLAN = 0
S_CLOCK = 1
S_STEP = 2
S_QUESTION = 3
S_MENU = 4
S_BEND = 5
S_RESTS = 6
S_DONE = 7
S_MESSAGE = 8
S_SET = 9
NAMES = ("no plan", "clock", "step", "question", "menu", "bend", "rests", "done", "message", "set clock")

# What the right number counts down.
LEFT_NOTHING = 0
LEFT_WINDOW = 1
LEFT_STEP = 2

UNKNOWN = -1


class Glance:
    """One screen's worth. Texts are short and plain; temperatures cdeg; `left_s` -1 = unknown."""

    def __init__(self):
        self.screen = S_NO_PLAN
        self.word = ""
        self.code = 0  # number of the word on the wire
        self.urgent = False  # drawn inverted: not by colour, not by blinking alone
        self.probe_cdeg = NO_CDEG
        self.bench_cdeg = NO_CDEG
        self.low_cdeg = NO_CDEG
        self.high_cdeg = NO_CDEG
        self.us = 0  # 1: shown in \u00b0F
        self.trend = 0  # -1, 0, 1
        self.left_s = UNKNOWN
        self.left_kind = LEFT_NOTHING
        self.progress_pct = UNKNOWN
        self.line = ""
        self.lines = ()  # for the list screens
        self.chosen = -1
        self.labels: tuple = ("", "", "")
        self.step_id = 0
        self.step_state = 0
        self.mode = 0
        self.fold = 0  # 3 or 4 when hands fold
        self.fold_n = 0
        self.fold_of = 0
        self.alarm = 0
        self.alarm_step = 0
        self.fault = 0
        self.question = -1
        self.slack_s = 0
        self.place = 0
        self.due = False
        self.hands = False  # hands are at work, as far as anybody knows
        self.probe_wanted = False  # a step that asks for the probe is open

    def octets(self):
        """The same as text, fields parted by the unit separator, for the scripted cook (see virtual/sidechannel.py)."""
        return "\x1f".join([str(value) for value in (
            NAMES[self.screen], self.word, self.step_id, self.step_state, self.mode, self.alarm, self.alarm_step,
            self.fault, self.probe_cdeg, self.bench_cdeg, self.low_cdeg, self.high_cdeg, self.left_s, self.question,
            self.fold_n, self.fold_of, self.slack_s, self.line, self.labels[0], self.labels[1], self.labels[2],
            1 if self.due else 0, self.place, self.code, self.chosen,
        )] + list(self.lines)).encode()  # fmt: skip
