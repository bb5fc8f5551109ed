"""What happened to the steps of a day, and its replay from the journal: one shape and one rule for everybody.

The timer takes a day up again from it after a power cut, a replan begins with it, the account of a batch and the desk
tell it. Lists run parallel to plan.steps; instants are project seconds, 0 = not yet.

A record is obeyed when the transition table has its edge, also where an earlier record was lost (damaged flash, a log
from elsewhere): what it says of the step is sound by itself. A beginning that nothing tells of is put at the first
record that shows it was past, and marked UNSEEN.
"""

from shared_schedule import journal as J
from shared_schedule.states import (
    BY_UNDO,
    DAY_RUNNING,
    EDGES,
    FINISHED,
    IDLE,
    READY,
    RUNNING,
    TICK_OVEN,
    WAITING,
    planned_for_s,
    tick_mask,
)  # fmt: skip

# Bits of `unsure`: stamped while the clock was unknown; they move with the clock when it is set.
BEGUN = 1
WAS_READY = 2
ENDED = 4
UNSEEN = 8  # the record of the beginning is missing: it began at or before its stamp


class History:
    """What happened to `count` steps. `steps` holds their states, `cause` why each is in it (BY_*, 0 = never moved)."""

    def __init__(self, count):
        self.steps = [WAITING] * count
        self.started_at_s = [0] * count
        self.ready_at_s = [0] * count
        self.ended_at_s = [0] * count
        self.ticked = [0] * count
        self.unsure = bytearray(count)
        self.cause = bytearray(count)
        self.clock_ok = True
        self.bends = []  # (cdeg, verdict) of the bend tests of this batch

    @property
    def mode(self):
        """IDLE, DAY_RUNNING or FINISHED."""
        waiting = 0
        for state in self.steps:
            if state == RUNNING or state == READY:
                return DAY_RUNNING
            if state == WAITING:
                waiting += 1
        if waiting == len(self.steps):
            return IDLE
        return DAY_RUNNING if waiting else FINISHED

    def same_as(self, other):
        """True if everything that survives a power cut is equal."""
        for name in _KEPT:
            if getattr(self, name) != getattr(other, name):
                return False
        return self.bends == other.bends

    def put(self, index, old, new, now_s, cause):
        """Set a state and its instants; the same for live events, undo and replay."""
        unsure = self.unsure
        clock = 0 if self.clock_ok else 7
        self.steps[index] = new
        self.cause[index] = cause
        if new == WAITING:
            self.started_at_s[index] = self.ready_at_s[index] = self.ended_at_s[index] = 0
            unsure[index] = 0
            return
        if old == WAITING and new == RUNNING:
            self.started_at_s[index] = now_s
            unsure[index] = clock & BEGUN
        elif old != WAITING and not self.started_at_s[index]:
            self.started_at_s[index] = now_s
            unsure[index] |= clock & BEGUN | UNSEEN
        if new == RUNNING:
            self.ready_at_s[index] = self.ended_at_s[index] = 0
            unsure[index] &= BEGUN | UNSEEN
        elif new == READY:
            if old == RUNNING:
                self.ready_at_s[index] = now_s
                unsure[index] |= clock & WAS_READY
            self.ended_at_s[index] = 0
            unsure[index] &= ~ENDED
        else:
            self.ended_at_s[index] = now_s
            unsure[index] |= clock & ENDED

    def set_clock(self, old_s, new_s):
        """The clock was set: move what was stamped while it was unknown, and trust it from now on."""
        shift_s = new_s - old_s
        for index in range(len(self.steps)):
            bits = self.unsure[index]
            if bits & BEGUN:
                self.started_at_s[index] += shift_s
            if bits & WAS_READY:
                self.ready_at_s[index] += shift_s
            if bits & ENDED:
                self.ended_at_s[index] += shift_s
            self.unsure[index] = bits & UNSEEN
        self.clock_ok = True


_KEPT = ("steps", "started_at_s", "ready_at_s", "ended_at_s", "ticked", "cause", "unsure", "clock_ok")


class DayState(History):
    """State of a running plan: what happened, and what the machine of `day` works out again from plan and time."""

    def __init__(self, plan):
        count = len(plan.steps)
        History.__init__(self, count)
        self.after = [tuple([plan.index_of(step_id) for step_id in step.after]) for step in plan.steps]
        self.for_s = [planned_for_s(step) for step in plan.steps]  # how long the step is expected to last
        self.due_told = bytearray(count)
        self.max_told = bytearray(count)
        self.near = [0] * count  # probe samples in a row at the core temperature
        self.probed_at_s = [0] * count
        self.last = None  # (at_s, [(index, from, to)], tick) of the last press

    def put(self, index, old, new, now_s, cause):
        History.put(self, index, old, new, now_s, cause)
        if new == WAITING:
            self.due_told[index] = 0
        elif new == RUNNING:
            self.max_told[index] = 0
        if new <= RUNNING:
            self.near[index] = 0

    def set_clock(self, old_s, new_s):
        History.set_clock(self, old_s, new_s)
        self.last = None


def restore(plan, past, step_id, old, new, cause, at_s):
    """Apply one journaled transition; return False (and change nothing) if it is not one this machine can have made."""
    index = plan.index_of(step_id)
    edge = (new, old) if cause == BY_UNDO else (old, new)
    if index < 0 or edge not in EDGES:
        return False
    past.put(index, old, new, at_s, cause)
    return True


def restore_tick(plan, past, step_id, number, on):
    """Apply one journaled tick; return False if the step has no such tick."""
    index = plan.index_of(step_id)
    if index < 0 or not (number == TICK_OVEN or 0 <= number < len(plan.steps[index].ticks)):
        return False
    bit = tick_mask(plan.steps[index], number)
    past.ticked[index] = past.ticked[index] | bit if on else past.ticked[index] & ~bit
    return True


def apply(plan, past, record):
    """Apply one record to a History or DayState; return False if it cannot have been made by this day."""
    kind = record.type
    body = record.body
    if kind == J.STEP:
        return restore(plan, past, body[0], body[1], body[2], body[3], record.at_s)
    if kind == J.TICK:
        return restore_tick(plan, past, body[0], body[1], body[2])
    if kind == J.BOOT:
        past.clock_ok = body[1] != 0
    elif kind == J.CLOCK:
        past.set_clock(body[0], body[1])
    elif kind == J.BEND:
        past.bends.append((body[0], body[1]))
    return True


def replay(plan, records, past=None):
    """Return the History that the records lead to, from `past` (a History or DayState, changed) or the day's beginning.

    Records that do not fit the plan are passed over, never obeyed.
    """
    if past is None:
        past = History(len(plan.steps))
    for record in records:
        apply(plan, past, record)
    return past


def carry_over(old_plan, old, new_plan):
    """Return the state of a plan that replaces another mid-day: steps with the same id and kind keep what happened."""
    state = DayState(new_plan)
    state.clock_ok = old.clock_ok
    state.bends = list(old.bends)
    for index in range(len(new_plan.steps)):
        was = old_plan.index_of(new_plan.steps[index].step_id)
        if was < 0 or old_plan.steps[was].kind != new_plan.steps[index].kind:
            continue
        for name in _CARRIED:
            getattr(state, name)[index] = getattr(old, name)[was]
    return state


_CARRIED = _KEPT[:-1] + ("near", "probed_at_s")
