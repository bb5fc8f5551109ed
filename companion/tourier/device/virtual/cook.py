"""The scripted cook: reads the screen, presses the buttons, and does in the kitchen what he was told; or does not.

He knows the plan's steps (what hands do in a fold) but not the clock: when to begin and when a rest is over he takes
from the bench timer, unless a scenario makes him late, absent or stubborn. Same plan, scenario and seed: same day.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from shared_schedule import plan as P
from shared_schedule.states import follows_at_once
from tourier.device.virtual.hands import Hands
from tourier.device.virtual.scenarios import Scenario, Slip
from tourier.device.virtual.sidechannel import Glance

TAP_MS = 110
LONG_MS = 1200

_LOOK_S = 5  # how often he looks at the screen while there is something to do
_BORED_S = 20  # and while there is not
_WAIT_LONGEST_S = 1800  # too cold to roll: half an hour is all the patience he has
_AHEAD_S = 120  # this much before its planned time a step may as well begin
_CHILL_S = 600  # too warm: ten minutes in the fridge at a time, as the screen says
_CHILLS_MOST = 3

_RESTS = (P.BULK, P.CHILL, P.TEMPER, P.REST, P.HOLD, P.FREEZE, P.THAW, P.PROOF, P.COOL, P.BAKE, P.PREHEAT)


@dataclass
class _Work:
    """The hands-on step in hand."""

    step: P.Step
    ends_at_s: int
    stubborn: bool  # the scenario has him go on whatever the screen says
    begun_at_s: int = 0
    chill_until_s: int = 0
    chills: int = 0
    fresh: bool = True


@dataclass
class CookLog:
    """What he did, for the rehearsal's report: (at_s, sentence)."""

    lines: list[tuple[int, str]] = field(default_factory=list)

    def add(self, at_s: int, text: str) -> None:
        self.lines.append((at_s, text))


class Cook:
    """`act` returns the presses he makes now, as (button, for_ms). `scenario` None: a good day.

    `plan` None: he takes the first plan that the timer is sent.
    """

    def __init__(self, plan: P.Plan | None, scenario: Scenario | None = None, seed: int = 0) -> None:
        self.plan = plan
        self.scenario = scenario or Scenario("good", "")
        self.log = CookLog()
        self.presses = 0
        self._hands = Hands(plan, self.scenario, self.log) if plan is not None else None
        self._random = random.Random(f"cook-{seed}")
        self._next_s = 0
        self._works: dict[int, _Work] = {}  # by step id: two pâtons may both be in hand
        self._late_since: dict[int, int] = {}
        self._put_down: P.Step | None = None  # the step he has just said is done
        self._pressed = 0  # the step he has just pressed start for
        self._seen: tuple | None = None
        self._seen_s = 0
        self._delay_s = 0.0
        self._rested: dict[int, int] = {}  # rest in view -> since when

    def wants(self, now_s: int, _glances: int) -> bool:
        """True when he looks at the screen now."""
        return now_s >= self._next_s and self.plan is not None

    def take_plan(self, plan: P.Plan) -> None:
        """Learn what today's work is."""
        self.plan = plan
        self._hands = Hands(plan, self.scenario, self.log)

    @property
    def hands(self) -> Hands:
        """What he does with the dough; he has hands as soon as he has a plan."""
        assert self._hands is not None
        return self._hands

    def act(self, now_s: int, glance: Glance, kitchen) -> list[tuple[str, int]]:
        """Look, move what has to be moved, and return the presses."""
        asleep_until = self._asleep(now_s)
        if asleep_until:
            self._next_s = asleep_until
            return []
        self._next_s = now_s + _LOOK_S
        self._notice(now_s, glance, kitchen)
        press = self._decide(now_s, glance, kitchen)
        if press:
            self.presses += 1
            self._seen = None
            return [press]
        if not self._works and not glance.due and glance.middle_label not in ("yes", "ok", "seen"):
            self._next_s = now_s + _BORED_S
        return []

    # --- seeing ---------------------------------------------------------------------------------------------------

    def _asleep(self, now_s: int) -> int:
        for start, end in self.hands.plan.quiet:
            if start <= now_s < end:
                return end
        return 0

    def _step(self, step_id: int) -> P.Step | None:
        index = self.hands.plan.index_of(step_id)
        return self.hands.plan.steps[index] if index >= 0 else None

    def _slip(self, step: P.Step | None) -> Slip:
        return self.scenario.slip(step.kind, step.fold_n) if step is not None else Slip(0)

    def _after(self, step_id: int) -> P.Step | None:
        """The step that waits for this one and comes next."""
        for step in self.hands.plan.steps:
            if step_id in step.after and step.step_id not in self.hands.begun:
                return step
        return None

    def _notice(self, now_s: int, glance: Glance, kitchen) -> None:
        """A step that runs now and did not before: its dough is moved, its work begins."""
        if self._put_down is not None and glance.screen == "step":
            put_down, self._put_down = self._put_down, None
            for index, step in enumerate(self.hands.plan.steps):
                # The timer begins these rests by itself; he has put the things away.
                if put_down.step_id in step.after and step.step_id not in self.hands.begun:
                    if follows_at_once(self.hands.plan, index) and self.hands.finished.issuperset(step.after):
                        self._begin(step, now_s, kitchen)
        if self._pressed and glance.screen == "step":
            # What he started himself he does, even when the screen goes on to show something more urgent.
            pressed, self._pressed = self._step(self._pressed), 0
            offered = glance.middle_label == "start" and pressed is not None and glance.step_id == pressed.step_id
            if pressed is not None and not offered and pressed.step_id not in self.hands.begun:
                self._begin(pressed, now_s, kitchen)
        step = self._step(glance.step_id)
        if glance.screen != "step" or glance.step_state not in (1, 4) or step is None:
            return
        if step.step_id not in self.hands.begun:
            self._begin(step, now_s, kitchen)

    def _begin(self, step: P.Step, now_s: int, kitchen) -> None:
        slip = self._slip(step)
        takes_s = round(step.planned_for_s * self._random.uniform(0.9, 1.08)) + slip.extra_s
        self.hands.begin(step, now_s, kitchen, max(20, takes_s - slip.extra_s))
        if step.kind in _RESTS:
            self._rested[step.step_id] = now_s
            return
        stubborn = bool(slip.extra_s or slip.start_c is not None or slip.bench_c is not None or slip.late_s)
        if self.scenario.slips and step.kind in (P.LOCK_IN, P.FOLD):
            stubborn = stubborn or any(other.kind == P.LOCK_IN for other in self.scenario.slips)
        self._works[step.step_id] = _Work(step, now_s + takes_s, stubborn, now_s)

    # --- deciding -------------------------------------------------------------------------------------------------

    def _waited(self, now_s: int, what: tuple, extra_s: float = 0.0) -> bool:
        """True once he has had `what` before him for as long as it takes him to get there."""
        if self._seen != what:
            self._seen = what
            self._seen_s = now_s
            self._delay_s = self._random.uniform(4.0, 30.0) + extra_s
        return now_s - self._seen_s >= self._delay_s

    def _decide(self, now_s: int, glance: Glance, kitchen) -> tuple[str, int] | None:
        label = glance.middle_label
        if label == "ok":
            return "middle", TAP_MS
        if label == "yes":
            return ("middle", TAP_MS) if self._waited(now_s, ("yes", glance.step_id, glance.question)) else None
        if label == "seen":
            return self._alarm(now_s, glance, kitchen)
        if glance.screen == "set clock":
            return self._set_clock(now_s, glance)
        if label == "set":
            return ("middle", TAP_MS) if self._waited(now_s, ("set", glance.screen)) else None
        if label == "choose":
            return "left", TAP_MS
        if label == "start":
            return self._start(now_s, glance)
        if label in ("done", "next"):
            return self._go_on(now_s, glance, kitchen)
        return None

    def _alarm(self, now_s: int, glance: Glance, kitchen) -> tuple[str, int] | None:
        away_s = 0.0
        called_away = [work for work in self._works.values() if self._slip(work.step).extra_s]
        if called_away:
            away_s = max(0, called_away[0].ends_at_s - 120 - now_s)  # not there to hear it
        elif glance.alarm == 1:  # a step is due: he may be late by the scenario's doing
            away_s = self._late_left(self._step(glance.alarm_step), now_s)
        if self._waited(now_s, ("alarm", glance.alarm, glance.alarm_step), away_s):
            return "middle", TAP_MS
        return None

    def _set_clock(self, now_s: int, glance: Glance) -> tuple[str, int]:
        """Make the bench timer's clock show what the kitchen's does: one place after the other, always upwards."""
        hours, minutes = (int(part) for part in glance.lines[0].split(":"))
        wall = now_s + 60 * P.offset_min_at(self.hands.plan, now_s)
        missing = (wall // 60 - hours * 60 - minutes) % 1440
        day = int(glance.lines[1].split()[1])
        wrong_day = (datetime(2020, 1, 1) + timedelta(seconds=wall)).day != day
        wanted = (missing >= 60, missing >= 10, missing >= 1, wrong_day)[glance.chosen]
        return ("right" if wanted else "middle"), TAP_MS

    def _start(self, now_s: int, glance: Glance) -> tuple[str, int] | None:
        if not glance.due:
            return None
        step = self._step(glance.step_id)
        if step is not None and self._still_resting(step, now_s):
            return None
        late_s = self._late_left(step, now_s)
        if self._waited(now_s, ("start", glance.step_id), late_s):
            self._note_late(step)
            self._pressed = glance.step_id
            return "middle", TAP_MS
        return None

    def _still_resting(self, step: P.Step, now_s: int) -> bool:
        """True while the scenario has him leave a rest before this step longer than the timer asks."""
        for step_id in step.after:
            rest = self._step(step_id)
            factor = self._slip(rest).rest_factor
            if rest is not None and factor > 1.0 and step_id in self._rested:
                if now_s < self._rested[step_id] + factor * rest.planned_for_s:
                    return True
        return False

    def _late_left(self, step: P.Step | None, now_s: int) -> float:
        """How much longer the scenario keeps him from a step, counted from when it could first begin; s."""
        if step is None or step.step_id in self.hands.late or not self._slip(step).late_s:
            return 0.0
        since = self._late_since.setdefault(step.step_id, now_s)
        return max(0.0, since + self._slip(step).late_s - now_s)

    def _note_late(self, step: P.Step | None) -> None:
        if step is not None:
            self.hands.late.add(step.step_id)

    def _go_on(self, now_s: int, glance: Glance, kitchen) -> tuple[str, int] | None:
        step = self._step(glance.step_id)
        if step is None:
            return None
        if step.kind in _RESTS:
            return self._rest(step, now_s, glance, kitchen)
        work = self._works.get(step.step_id)
        if work is None:
            return None
        if not work.stubborn and not self._dough_fit(work, now_s, glance, kitchen):
            return None
        if now_s < work.ends_at_s:
            return None
        self.hands.finish(step, now_s, kitchen)
        del self._works[step.step_id]
        self._put_down = step
        return "middle", TAP_MS

    def _dough_fit(self, work: _Work, now_s: int, glance: Glance, kitchen) -> bool:
        """Do what the word says when the dough is too cold or too warm; True when work goes on."""
        if work.chill_until_s:
            if now_s < work.chill_until_s:
                return False
            work.chill_until_s = 0
            self.hands.to_bench(work.step, kitchen)
            work.ends_at_s = max(work.ends_at_s, now_s + 60)
        if glance.word == "CHILL NOW" and work.chills < _CHILLS_MOST and work.step.kind in (P.FOLD, P.SHEET, P.LOCK_IN):
            work.chills += 1
            work.chill_until_s = now_s + _CHILL_S
            work.ends_at_s += _CHILL_S
            self.hands.to_fridge(work.step, kitchen)
            self.log.add(now_s, f"{work.step.name}: too warm, ten minutes in the fridge")
            return False
        if glance.word == "WAIT" and now_s - work.begun_at_s < _WAIT_LONGEST_S:
            work.ends_at_s = max(work.ends_at_s, now_s + work.step.planned_for_s // 3)
            return False
        return True

    def _rest(self, step: P.Step, now_s: int, glance: Glance, kitchen) -> tuple[str, int] | None:
        """A rest, a proof or the oven: wait for the timer's word, unless the scenario knows better."""
        slip = self._slip(step)
        since = self._rested.get(step.step_id, now_s)
        after = self._after(step.step_id)
        if slip.rest_factor != 1.0:
            if now_s < since + slip.rest_factor * step.planned_for_s:
                return None
            self._leave_rest(step, now_s, kitchen, glance)
            return "middle", LONG_MS
        if not glance.due:
            return None
        late_s = slip.extra_s if step.kind == P.BAKE else 0.0
        if glance.middle_label == "next":
            late_s += self._late_left(after, now_s)
            if after is not None and now_s < after.start_at_s - _AHEAD_S and after.kind in _RESTS:
                return None  # from one cold place to another there is no hurry: he keeps to the timetable
        if not self._waited(now_s, ("rest", step.step_id), late_s):
            return None
        self._note_late(after)
        self._leave_rest(step, now_s, kitchen, glance)
        return "middle", TAP_MS

    def _leave_rest(self, step: P.Step, now_s: int, kitchen, glance: Glance) -> None:
        if glance.middle_label == "done":
            self.hands.finish(step, now_s, kitchen)
