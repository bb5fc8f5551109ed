"""What the screen asks of a running plan: what to look at, what is due, what the one button means. Changes nothing."""

from shared_schedule import plan as P
from shared_schedule.states import (
    DONE,
    EV_START_STEP,
    EV_STEP_DONE,
    READY,
    RESTING,
    RUNNING,
    WAITING,
    before,
    follows_at_once,
    is_open,
    runs_itself,
    unanswered,
)  # fmt: skip


def can_start(plan, state, index):
    """True if everything before a WAITING step is finished or stands READY."""
    if state.steps[index] != WAITING:
        return False
    for other in before(state, index):
        step_state = state.steps[other]
        if step_state != DONE and not (step_state == READY and runs_itself(plan.steps[other])):
            return False
    return True


def is_due(plan, state, index, now_s):
    """True if a WAITING step can start and its planned time has come."""
    return now_s >= plan.steps[index].start_at_s and can_start(plan, state, index)


def due(plan, state, now_s):
    """Return the indices of the steps that are due, in planned order."""
    return [index for index in range(len(plan.steps)) if is_due(plan, state, index, now_s)]


def running_rests(plan, state):
    """Return the indices of the steps that run by themselves now (RUNNING or READY), in planned order."""
    return [
        index for index in range(len(plan.steps)) if is_open(state.steps[index]) and runs_itself(plan.steps[index])
    ]


def left_s(plan, state, index, now_s):
    """Return the seconds until a running step is expected to be ready; 0 or less when it is; None if unknown."""
    if not state.steps[index] == RUNNING:
        return 0
    if state.unsure[index] & 1 == (1 if state.clock_ok else 0):
        return None
    return state.started_at_s[index] + state.for_s[index] - now_s


def focus(plan, state, now_s):
    """Return the index of the step the cook should look at, -1 when the day is finished.

    In this order: what must come out now (a READY oven or mixer), what is due and then runs by itself (it takes a
    minute), the hands-on step begun last, the first step that is due or whose rest is READY, what runs by itself
    and is ready soonest, what waits for another step, the next step of the plan.
    """
    quick = hands = started = soonest = waiting = -1
    for index in range(len(plan.steps)):
        step_state = state.steps[index]
        if step_state == READY and wants_done(plan, state, index):
            return index
        if step_state == RUNNING and not runs_itself(plan.steps[index]):
            if hands < 0 or state.started_at_s[index] >= state.started_at_s[hands]:
                hands = index
        elif is_open(step_state):
            if soonest < 0 or _ready_key(state, index) < _ready_key(state, soonest):
                soonest = index
        elif step_state == WAITING:
            if waiting < 0:
                waiting = index
            if can_start(plan, state, index):
                if started < 0 or _start_key(plan, index) < _start_key(plan, started):
                    started = index
                if quick < 0 and runs_itself(plan.steps[index]) and now_s >= plan.steps[index].start_at_s:
                    quick = index
    for index in (quick, hands):
        if index >= 0:
            return index
    if started >= 0 and (now_s >= plan.steps[started].start_at_s or frees_rest(state, started)):
        return started
    for index in (soonest, started):
        if index >= 0:
            return index
    return waiting


def wants_done(plan, state, index):
    """True if a READY step is answered with "done" (take it out), not by starting the step that waits for it."""
    step = plan.steps[index]
    if step.kind == P.BAKE or unanswered(step, state.ticked[index]):
        return True
    if step.kind in RESTING:
        return False
    other = next_after(state, index)
    return other < 0 or follows_at_once(plan, other)


def frees_rest(state, index):
    for other in before(state, index):
        if state.steps[other] == READY:
            return True
    return False


def _ready_key(state, index):
    # What is READY and still here waits for another step and asks for nothing: what still runs is more to the point.
    return (1 if state.steps[index] == READY else 0, state.started_at_s[index] + state.for_s[index], index)


def _start_key(plan, index):
    return (plan.steps[index].start_at_s, index)


def next_after(state, index):
    """Return the index of the first WAITING step that waits for `index`, or -1."""
    for other in range(index + 1, len(state.steps)):
        if state.steps[other] == WAITING and index in before(state, other):
            return other
    return -1


def go_event(plan, state, now_s):
    """Return the event that the one "go" button means now, or None: start what is due, or say done."""
    index = focus(plan, state, now_s)
    if index < 0:
        return None
    if state.steps[index] == WAITING:
        return (EV_START_STEP, plan.steps[index].step_id, 0)
    if runs_itself(plan.steps[index]):
        other = next_after(state, index)
        if other >= 0 and not wants_done(plan, state, index):
            return (EV_START_STEP, plan.steps[other].step_id, 0)
    return (EV_STEP_DONE, plan.steps[index].step_id, 0)
