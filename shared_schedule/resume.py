"""A day taken up again: from the journal after a power cut, under a new plan, or when the clock is set."""

from shared_schedule.states import BY_UNDO, EDGES, TICK_OVEN, DayState, put, tick_mask


def restore(plan, state, step_id, old, new, cause, at_s):
    """Apply one journaled transition; return False (and change nothing) if it is not one this machine can have made."""
    index = plan.index_of(step_id)
    if index < 0 or state.steps[index] != old:
        return False
    edge = (new, old) if cause == BY_UNDO else (old, new)
    if edge not in EDGES:
        return False
    put(state, index, old, new, at_s)
    return True


def restore_tick(plan, state, step_id, number, on):
    """Apply one journaled tick; return False if the step has no such tick."""
    index = plan.index_of(step_id)
    if index < 0 or not (number == TICK_OVEN or 0 <= number < len(plan.steps[index].ticks)):
        return False
    bit = tick_mask(plan.steps[index], number)
    state.ticked[index] = state.ticked[index] | bit if on else state.ticked[index] & ~bit
    return True


def carry_over(old_plan, old_state, new_plan):
    """Return the state of a plan that replaces another mid-day: steps with the same id and kind keep what happened."""
    state = DayState(new_plan)
    state.clock_ok = old_state.clock_ok
    state.bends = list(old_state.bends)
    for index in range(len(new_plan.steps)):
        old = old_plan.index_of(new_plan.steps[index].step_id)
        if old < 0 or old_plan.steps[old].kind != new_plan.steps[index].kind:
            continue
        state.steps[index] = old_state.steps[old]
        state.started_at_s[index] = old_state.started_at_s[old]
        state.ready_at_s[index] = old_state.ready_at_s[old]
        state.ended_at_s[index] = old_state.ended_at_s[old]
        state.ticked[index] = old_state.ticked[old]
        state.unsure[index] = old_state.unsure[old]
        state.near[index] = old_state.near[old]
        state.probed_at_s[index] = old_state.probed_at_s[old]
    return state


def set_clock(state, old_s, new_s):
    """The clock was set: move what was stamped while it was unknown, and trust it from now on."""
    shift_s = new_s - old_s
    for index in range(len(state.steps)):
        bits = state.unsure[index]
        if bits & 1:
            state.started_at_s[index] += shift_s
        if bits & 2 and state.ready_at_s[index]:
            state.ready_at_s[index] += shift_s
        if bits & 4 and state.ended_at_s[index]:
            state.ended_at_s[index] += shift_s
        state.unsure[index] = 0
    state.clock_ok = True
    state.last = None
