"""Projected start and end of every step from what has really happened: the timer's own local replan.

Rules, in this order: what happened stays; no step starts before the steps it must follow; the cook has two hands (one
hands-on step at a time, in planned order) and the oven one chamber; no step is pulled ahead of its planned start; a
rest lasts until its planned end, shrinks towards its ideal and then, as far as the ready time needs it, towards its
minimum when the day is late, and never below; a cold hold takes up lateness like any other rest. What cannot be kept
is listed in `broken`. The companion's planner does the full job (other orders, other nights); this one answers "what
does my being late mean" within a few milliseconds of a microcontroller's time per pass.
"""

from shared_schedule import day as D
from shared_schedule import plan as P

BROKEN_MAX = 1  # the step will be longer than its maximum
BROKEN_MIN = 2  # the step was ended before its minimum

_LEVELS = 8  # 0 = rests at their ideal .. 8 = rests at their minimum
# What may be cut short when the day is late. A proof, a bake or a thaw takes what it takes.
_SHRINKING = (P.BULK, P.CHILL, P.TEMPER, P.REST, P.HOLD, P.COOL)
_A_TURN = 16  # steps placed in one turn: some 10 ms of a Pico's time


class Projection:
    """Projected day: start_at_s[], end_at_s[], slack_s, slip_s, broken[(index, BROKEN_*, seconds)].

    `slip_s`: how much later than the ready time the last step ends (0 = on time). `slack_s`: how long the cook may
    dawdle now without the ready time slipping or the night's rest being cut, rests at their minimum; negative when it
    is too late for that. `advance()` places a few steps, so that a device can spread the work over several turns of
    its loop; `project` runs it to the end. `passes` counts whole passes over the plan.
    """

    def __init__(self, plan, state, now_s):
        count = len(plan.steps)
        self.plan = plan
        self.state = state
        self.now_s = now_s
        self.start_at_s = [0] * count
        self.end_at_s = [0] * count
        self.free_at_s = [0] * count  # when the step could give way, before its followers stretch it
        self.slack_s = 0
        self.slip_s = 0
        self.broken = []
        self.passes = 0
        self.done = False
        self._low = 0  # the smallest level not yet excluded, and one that is good enough (or the last resort)
        self._high = _LEVELS
        self._level = 0
        self._stage = 0
        self._next = 0  # the step to be placed next
        self._cook_at_s = 0
        self._oven = -1
        self._night = None
        self._morning_slack_s = None

    def advance(self):
        """Place a few more steps; return True when the projection is complete."""
        if self.done:
            return True
        if self._stage == 0:  # everything as soon as possible: what slack is there
            if self._place(_LEVELS, True):
                self._slack()
                self._stage = 1
            return False
        if not self._place(self._level, False):
            return False
        slip_s = self._slip()
        if self._stage == 1:  # rests at their ideal
            if slip_s <= 0:
                return self._finish(slip_s)
            self._stage = 2
            self._level = _LEVELS
            return False
        if self._stage == 2:  # rests at their minimum: the best there is
            if slip_s > 0:
                return self._finish(slip_s)
            self._stage = 3
        elif self._stage == 3:
            if slip_s > 0:
                self._low = self._level
            else:
                self._high = self._level
            if self._level == self._high and self._high - self._low == 1:
                return self._finish(slip_s)
        if self._high - self._low == 1:
            self._level = self._high
        else:
            self._level = (self._low + self._high) // 2
        return False

    def _slip(self):
        return max(self.end_at_s) - self.plan.ready_at_s

    def _slack(self):
        """Slack against the ready time; while a night lies ahead, against bedtime and the first work after it."""
        plan = self.plan
        slack_s = plan.ready_at_s - max(self.end_at_s)
        night = _next_quiet(plan, self.now_s)
        if night is not None and self._morning_slack_s is not None:
            if slack_s >= 0:
                slack_s = self._morning_slack_s
            for index in range(len(plan.steps)):
                step = plan.steps[index]
                if step.attended_s and step.start_at_s < night[0] and self.state.steps[index] == D.WAITING:
                    slack_s = min(slack_s, night[0] - self.start_at_s[index] - step.attended_s)
        self.slack_s = slack_s

    def _finish(self, slip_s):
        self.slip_s = max(0, slip_s)
        plan = self.plan
        for index in range(len(plan.steps)):
            step = plan.steps[index]
            step_state = self.state.steps[index]
            lasts_s = self.end_at_s[index] - self.start_at_s[index]
            if step_state != D.SKIPPED and step.max_s and D.runs_itself(step) and lasts_s > step.max_s:
                self.broken.append((index, BROKEN_MAX, lasts_s - step.max_s))
            if step_state == D.DONE and D.runs_itself(step) and lasts_s < step.min_s:
                self.broken.append((index, BROKEN_MIN, step.min_s - lasts_s))
        self.done = True
        return True

    def _place(self, level, hurry):
        """Place the next few steps, rests between ideal (level 0) and minimum (level 8); True at the end of a pass."""
        plan = self.plan
        if self._next == 0:
            self.passes += 1
            self._cook_at_s = self._hands_free_at_s()
            self._oven = -1
            self._night = _next_quiet(plan, self.now_s) if hurry else None
        end = min(self._next + _A_TURN, len(plan.steps))
        for index in range(self._next, end):
            step_state = self.state.steps[index]
            if step_state == D.DONE:
                self.start_at_s[index] = self.state.started_at_s[index]
                self.end_at_s[index] = self.free_at_s[index] = self.state.ended_at_s[index]
            elif step_state == D.SKIPPED:
                # Takes no time; what stood before it is handed on to what comes after.
                at_s = max(self._earliest_s(index), self.state.ended_at_s[index])
                self.start_at_s[index] = self.end_at_s[index] = self.free_at_s[index] = at_s
            else:
                self._place_open(index, step_state, level, hurry)
        self._next = 0 if end == len(plan.steps) else end
        return self._next == 0

    def _place_open(self, index, step_state, level, hurry):
        """Place one step that has not ended."""
        step = self.plan.steps[index]
        itself = D.runs_itself(step)
        if step_state == D.WAITING:
            start_s = self._start_s(index, step, itself, hurry)
        else:
            start_s = self.state.started_at_s[index]
        if step_state == D.READY:
            free_s = self.now_s
        elif itself:
            free_s = max(self.now_s, start_s + self._lasts(index, start_s, level, hurry))
        else:
            free_s = max(self.now_s, start_s + D.planned_for_s(step))
        self.start_at_s[index] = start_s
        self.free_at_s[index] = self.end_at_s[index] = free_s
        if step.place == P.OVEN:
            self._oven = index
        if step_state == D.WAITING:
            for other in D.before(self.state, index):
                # A rest lasts until the step that waits for it begins.
                if start_s > self.end_at_s[other] and D.has_not_ended(self.state.steps[other]):
                    if D.runs_itself(self.plan.steps[other]):
                        self.end_at_s[other] = start_s

    def _start_s(self, index, step, itself, hurry):
        """Return when a WAITING step can start, and take the cook's hands for it."""
        start_s = max(self._earliest_s(index), self.now_s)
        if not hurry:
            start_s = max(start_s, step.start_at_s)
        elif self._night is not None and step.start_at_s >= self._night[1]:
            # Nobody gets up for it before its time; what it could have waited is slack of the evening.
            if not self._all_after(index, self._night[1]):
                spare_s = step.start_at_s - start_s
                if self._morning_slack_s is None or spare_s < self._morning_slack_s:
                    self._morning_slack_s = spare_s
            start_s = max(start_s, step.start_at_s)
        if step.place == P.OVEN and self._oven >= 0 and _apart(self.plan, self._oven, index):
            start_s = max(start_s, self.free_at_s[self._oven])
        if step.attended_s:
            start_s = max(start_s, self._cook_at_s)
            self._cook_at_s = start_s + (step.attended_s if itself else D.planned_for_s(step))
        return start_s

    def _earliest_s(self, index):
        earliest_s = 0
        for other in D.before(self.state, index):
            if self.free_at_s[other] > earliest_s:
                earliest_s = self.free_at_s[other]
        return earliest_s

    def _hands_free_at_s(self):
        """Return when the hands-on work that runs now is expected to end."""
        at_s = self.now_s
        for index in range(len(self.plan.steps)):
            if D.hands_on(self.plan, self.state, index, self.now_s):
                step = self.plan.steps[index]
                for_s = step.attended_s if D.runs_itself(step) else D.planned_for_s(step)
                at_s = max(at_s, self.state.started_at_s[index] + for_s)
        return at_s

    def _all_after(self, index, at_s):
        """True if a step waits for steps of the same morning only; one without any is not bound to the evening."""
        for other in D.before(self.state, index):
            if self.plan.steps[other].start_at_s < at_s and self.state.steps[other] != D.DONE:
                return False
        return True

    def _lasts(self, index, start_s, level, hurry):
        """Return how long a step that runs by itself is to last, begun at `start_s`."""
        step = self.plan.steps[index]
        planned_s = D.planned_for_s(step)
        if step.ends_by == P.BY_CORE or step.ends_by == P.BY_DOSE:
            planned_s = self.state.for_s[index]  # the forecast of core temperature or dose, when the device has one
            if self.state.steps[index] == D.RUNNING:
                return planned_s
        if step.kind not in _SHRINKING:
            return planned_s
        # A cold hold has room on purpose: it gives way first, every other rest keeps to its ideal as long as it can.
        ideal_s = min(step.min_s if step.kind == P.HOLD else max(step.ideal_s, step.min_s), planned_s)
        least_s = min(step.min_s, ideal_s)
        floor_s = ideal_s - (ideal_s - least_s) * level // _LEVELS
        if hurry:
            return floor_s
        until_plan_s = step.start_at_s + step.planned_for_s - start_s
        return max(floor_s, min(planned_s, until_plan_s))


def _next_quiet(plan, now_s):
    """Return the next quiet span that has not begun, or None."""
    for span in plan.quiet:
        if span[0] > now_s:
            return span
    return None


def _apart(plan, first, second):
    """True if the plan itself keeps two oven steps apart (two trays may share the oven when it says so)."""
    return plan.steps[second].start_at_s >= plan.steps[first].start_at_s + plan.steps[first].planned_for_s


def project(plan, state, now_s):
    """Return the complete Projection of the day at `now_s`. Allocates four lists of the plan's length."""
    projection = Projection(plan, state, now_s)
    while not projection.advance():
        pass
    return projection


def adopt(projection):
    """Let the rests that end by time end when the projection says: a late day's rests become ready sooner."""
    plan = projection.plan
    state = projection.state
    for index in range(len(plan.steps)):
        step = plan.steps[index]
        if state.steps[index] == D.RUNNING and step.kind in _SHRINKING and step.ends_by in (P.BY_COOK, P.BY_TIME):
            state.for_s[index] = projection.free_at_s[index] - state.started_at_s[index]
