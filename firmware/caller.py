"""Calls the cook: alarms to sound and light, quiet at night unless the batch is in danger.

Owns the alarms, the sounder and the lamp; what an alarm is about stands on the screen (`lines.alarm`).
"""

import sounds
from alarms import Alarms

from shared_schedule import day as D

_ALONE_S = 1800
_DIM_S = 600  # after the last press or alarm, when nothing asks for anybody
_DIM_BUSY_S = 3600  # with hands at work or a step that waits: nobody is there any more
_DIM_QUIET_S = 60
_DIM = 8  # times less light
_ALONE_AGAIN_S = 50  # sounds come each 60 s by then: ten seconds of flashing with each


class Caller:
    def __init__(self, board):
        self.alarms = Alarms()
        self.sounder = sounds.Sounder(board)
        self.lamp = sounds.Lamp(board)
        self.pressed_s = 0  # when a button was pressed last

    def turn(self, bench, glance, known, loud, now_s, now_ms):
        """Sound what is due and light the lamp. `known`: the clock is; `loud`: sound is wanted at all."""
        quiet = known and is_quiet(bench.plan, now_s)
        if self.alarms.standing:
            pattern = self.alarms.sound_due(now_s, quiet)
            if pattern and loud:
                self.sounder.play(pattern, now_ms)
        self.lamp.show(self._light(bench, glance, quiet, now_s), now_ms)

    def wants_s(self, bench, known, now_s):
        """Seconds until a sound is due, -1 for none."""
        return self.alarms.wants_s(now_s, known and is_quiet(bench.plan, now_s)) if self.alarms.standing else -1

    def contrast(self, bench, glance, known, full, now_s):
        """How bright the display is to be, with `full` as much as it ever is: nobody looks at it all night."""
        alarm = self.alarms.top
        lit_s = self.pressed_s
        if alarm is not None:
            lit_s = max(lit_s, alarm.at_s)
        for_s = _DIM_BUSY_S if glance.due or glance.hands or alarm is not None else _DIM_S
        if known and is_quiet(bench.plan, now_s) and (alarm is None or not alarm.saves):
            for_s = _DIM_QUIET_S
        return full if 0 <= now_s - lit_s < for_s else max(1, full // _DIM)

    def _light(self, bench, glance, quiet, now_s):
        """The light's pattern: colour, rhythm and the word on the screen say the same. In quiet hours it is steady."""
        alarm = self.alarms.top
        if alarm is not None:
            pattern = sounds.OF_SOUND[alarm.sound]
            if alarm.saves or not quiet:
                # Nobody came for half an hour: it flashes with each sound only, and the board sleeps in between.
                if now_s - alarm.at_s > _ALONE_S and alarm.next_s - now_s < _ALONE_AGAIN_S:
                    return sounds.L_STEADY[pattern]
                return pattern
            return sounds.L_ACT if pattern is sounds.L_CALLS else sounds.L_OFF
        if glance.due:
            return sounds.L_ACT
        if bench.mode == D.DAY_RUNNING and glance.left_kind == 2:
            return sounds.L_RESTS
        return sounds.L_OFF

    def stop(self, now_ms):
        """Silence and darkness: somebody wants the prompt."""
        self.sounder.hush()
        self.lamp.show(sounds.L_OFF, now_ms)


def is_quiet(plan, now_s):
    """True in the quiet hours of a plan."""
    if plan is None:
        return False
    for span in plan.quiet:
        if span[0] <= now_s < span[1]:
            return True
    return False
