"""Alarms: raised once, sounded again and again until acknowledged, snoozed on request, quiet at night unless dear.

Holds no clock and makes no sound itself. An alarm is known by its kind and step; raising it again while it stands, or
too soon after it was acknowledged, does nothing.
"""

import sounds

from shared_schedule import journal as J

# (kind, urgency, sound, seconds before it may come again after it was acknowledged, words of at most nine letters)
_KINDS = (
    (J.WINDOW_LEFT_WARM, 9, sounds.LEFT, 180, "TOO WARM"),
    (J.PROOF_CAP, 8, sounds.LEFT, 300, "TOO WARM"),
    (J.OVEN_EMPTY, 8, sounds.LEFT, 300, "OVEN?"),
    (J.HOLD_MAX, 7, sounds.LEFT, 1800, "TOO LONG"),
    (J.WINDOW_LEFT_COLD, 6, sounds.SOON, 300, "TOO COLD"),
    (J.SENSOR_FAULT, 5, sounds.FAULT, 900, "NO READING"),
    (J.WINDOW_SOON, 5, sounds.SOON, 240, "WARMING"),
    (J.REST_DONE, 4, sounds.DUE, 600, "READY"),
    (J.STEP_DUE, 3, sounds.DUE, 900, "TIME"),
    (J.CLOCK_UNKNOWN, 2, sounds.FAULT, 3600, "SET CLOCK"),
    (J.SLIP, 2, sounds.DUE, 1800, "LATE"),
    (J.LOW_MEMORY, 1, sounds.FAULT, 3600, "MEMORY"),
)
_BY_KIND = {}
for _row in _KINDS:
    _BY_KIND[_row[0]] = _row

# Sounded again after: at first soon, then seldom enough to be borne, for as long as nobody answers.
_AGAIN_S = (0, 8, 8, 15, 15, 30, 30, 60)
SNOOZE_S = 300
MAX_STANDING = 8


class Alarm:
    def __init__(self, kind, step_id, cdeg, at_s, saves):
        self.kind = kind
        self.step_id = step_id
        self.cdeg = cdeg
        self.at_s = at_s
        self.saves = saves  # sounds in quiet hours too
        self.times = 0
        self.next_s = at_s

    @property
    def urgency(self):
        return _BY_KIND[self.kind][1]

    @property
    def sound(self):
        return _BY_KIND[self.kind][2]

    @property
    def word(self):
        return _BY_KIND[self.kind][4]


class Alarms:
    """`standing` holds the alarms that nobody has acknowledged, the most urgent first."""

    def __init__(self):
        self.forget()

    def forget(self):
        """Another day: nothing stands, nothing was answered."""
        self.standing = []
        self._answered = []  # (kind, step_id, at_s), the last few

    def raise_(self, kind, step_id, cdeg, now_s, saves=False):
        """Return the new Alarm, or None when it stands already or was answered a short while ago."""
        for alarm in self.standing:
            if alarm.kind == kind and alarm.step_id == step_id:
                return None
        pause = _BY_KIND[kind][3]
        for answered in self._answered:
            if answered[0] == kind and answered[1] == step_id and 0 <= now_s - answered[2] < pause:
                return None
        alarm = Alarm(kind, step_id, cdeg, now_s, saves)
        at = 0
        while at < len(self.standing) and self.standing[at].urgency >= alarm.urgency:
            at += 1
        self.standing.insert(at, alarm)
        if len(self.standing) > MAX_STANDING:
            self.standing.pop()
        return alarm

    def clear(self, kind, step_id=None):
        """The reason is gone: the alarm ends by itself. Returns True when one stood."""
        before = len(self.standing)
        self.standing = [a for a in self.standing if a.kind != kind or (step_id is not None and a.step_id != step_id)]
        return len(self.standing) != before

    def clear_step(self, step_id):
        """All that an alarm of this step asked for has been done."""
        self.standing = [a for a in self.standing if a.step_id != step_id]

    @property
    def top(self):
        return self.standing[0] if self.standing else None

    def acknowledge(self, now_s):
        """The cook has seen the most urgent one; returns it, or None."""
        if not self.standing:
            return None
        alarm = self.standing.pop(0)
        self._answered.append((alarm.kind, alarm.step_id, now_s))
        if len(self._answered) > MAX_STANDING:
            self._answered.pop(0)
        return alarm

    def snooze(self, now_s):
        """Let the most urgent one be silent for a while; it stays on the screen. Returns it, or None."""
        if not self.standing:
            return None
        self.standing[0].next_s = now_s + SNOOZE_S
        return self.standing[0]

    def shift(self, by_s):
        """The clock was set, forward or back: what was to sound in a minute still does."""
        for alarm in self.standing:
            alarm.at_s += by_s
            alarm.next_s += by_s
        self._answered = [(kind, step_id, at_s + by_s) for kind, step_id, at_s in self._answered]

    def sound_due(self, now_s, quiet):
        """Return the pattern to play now, or 0. In quiet hours only alarms that save the batch sound."""
        for alarm in self.standing:
            if now_s < alarm.next_s or (quiet and not alarm.saves):
                continue
            alarm.times += 1
            alarm.next_s = now_s + _AGAIN_S[min(alarm.times, len(_AGAIN_S) - 1)]
            return alarm.sound
        return 0

    def wants_s(self, now_s, quiet):
        """Return seconds until sound_due should be asked again, or -1 when nothing will sound."""
        soonest = -1
        for alarm in self.standing:
            if quiet and not alarm.saves:
                continue
            left = max(0, alarm.next_s - now_s)
            if soonest < 0 or left < soonest:
                soonest = left
        return soonest
