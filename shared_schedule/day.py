"""The state machine of a running plan: events in, effects out, no clock, no file.

Theory of operation
-------------------
1. Every step is in one of five states. `TABLE` holds every transition there is, {(state, event): state}; nothing
   changes a step's state but `_move`, which reads the table. Guards say when a transition of the table may be taken;
   each is a function of its own with a reason code. The one exception is undo, which walks table edges backwards.

        WAITING --start/flow--> RUNNING --done/override/close--> DONE
           |                      |  \\--time/core/dose--> READY --done/override/close--> DONE
           '------- skip -------> SKIPPED <---- skip --- RUNNING, READY

2. A rest never ends itself while somebody has to act on it. At its time, core temperature or dose it becomes READY
   and stays so (dough in the fridge goes on resting) until the cook starts the step that waits for it: that start
   closes it. A step nobody has to act on (COOL at the end of the day, a chill that becomes a hold on the same shelf)
   is closed by the machine.

3. A resting step whose turn follows at once starts by itself when the cook says that the step before is done: who
   has finished a fold has put the pâton away. A change of place without a press before it waits for a press.

4. An illegal event changes nothing and answers with one FX_REFUSED(reason).

5. Everything that must survive a power cut is in the FX_JOURNAL_* effects; `history` applies them again. What is not
   journaled (`for_s`, warnings given, probe counts, undo) is worked out again from plan and time.

Deliberate presses (a long press, or `force` over the link) carry arg DELIBERATE: they may start a step before the
minimum rest is over, or while other hands-on work runs. All events are tuples (EV_*, step_id, arg).
"""

from shared_schedule import plan as P
from shared_schedule.focus import can_start, due, focus, go_event, is_due, left_s, next_after, running_rests, wants_done
from shared_schedule.history import BEGUN, DayState, carry_over, restore, restore_tick
from shared_schedule.states import (
    BY_BUTTON, BY_CLOCK, BY_EARLY, BY_LINK, BY_OVERRIDE, BY_PROBE, BY_PROOF, BY_UNDO, DAY_RUNNING, DELIBERATE, DONE,
    EDGES, EV_CLOSE, EV_DOSE, EV_FLOW, EV_OVERRIDE, EV_SKIP, EV_START_STEP, EV_STEP_DONE, EV_TEMPERATURE, EV_TICK,
    EV_TIME, EV_UNDO, FINISHED, FOLLOWS_WITHIN_S, FX_FINISHED, FX_JOURNAL_STEP, FX_JOURNAL_TICK, FX_OVER_MAX,
    FX_REFUSED, FX_STEP_DUE, FX_STEP_ENDED, IDLE, PUT_AWAY_S, READY, REASONS, RESTING, RUNNING, R_BEFORE, R_HANDS_FULL,
    R_NOTHING_TO_UNDO, R_NOT_NOW, R_NO_STEP, R_NO_TICK, R_OVEN, R_TOO_EARLY, R_UNTICKED, SKIPPED, STATE_WORDS,
    TABLE, TICK_OVEN, UNTICK, WAITING, all_ticks, before, follows_at_once, hands_on, is_open,
    has_not_ended, planned_for_s, probe_at, runs_itself, tick_mask, unanswered, waiters,
)  # fmt: skip
from shared_schedule.units import NO_CDEG

UNDO_WITHIN_S = 10
CORE_BAND_CDEG = 100  # a core temperature counts as reached within 1 °C
CORE_SAMPLES = 6  # half a minute at one sample in 5 s: longer than a needle takes to settle
PROBE_FRESH_S = 300  # older than this, a probe reading no longer keeps a rest waiting

_NOTHING = ()


# --- guards: each answers 0 or a reason --------------------------------------------------------------------------


def _guard_before(plan, state, index, arg, now_s):
    # "Not rested long enough" comes last: it promises that holding the button helps, so nothing else may refuse then.
    early = 0
    for other in before(state, index):
        step_state = state.steps[other]
        if step_state == WAITING:
            return R_BEFORE
        if is_open(step_state):
            step = plan.steps[other]
            if not runs_itself(step):
                return R_BEFORE
            if unanswered(step, state.ticked[other]):
                return R_UNTICKED
            if step_state == RUNNING and arg != DELIBERATE and now_s - state.started_at_s[other] < step.min_s:
                early = R_TOO_EARLY
    return early


def _guard_oven(plan, state, index, _arg, _now_s):
    if plan.steps[index].flags & P.ASK_OVEN_EMPTY and not state.ticked[index] & (1 << TICK_OVEN):
        return R_OVEN
    return 0


def _guard_hands(plan, state, index, arg, now_s):
    if plan.steps[index].attended_s and not runs_itself(plan.steps[index]) and arg != DELIBERATE:
        for other in range(len(plan.steps)):
            if not runs_itself(plan.steps[other]) and hands_on(plan, state, other, now_s):
                return R_HANDS_FULL
    return 0


def _guard_ticks(plan, state, index, _arg, _now_s):
    return R_UNTICKED if unanswered(plan.steps[index], state.ticked[index]) else 0


def _guard_minimum(plan, state, index, arg, now_s):
    step = plan.steps[index]
    if state.steps[index] == RUNNING and runs_itself(step) and arg != DELIBERATE:
        if now_s - state.started_at_s[index] < step.min_s:
            return R_TOO_EARLY
    return 0


def _guard_tick(plan, state, index, arg, _now_s):
    step = plan.steps[index]
    number = arg & ~UNTICK
    if number == TICK_OVEN or tick_mask(step, number) & (1 << TICK_OVEN):
        return 0 if step.flags & P.ASK_OVEN_EMPTY else R_NO_TICK
    if not 0 <= number < len(step.ticks):
        return R_NO_TICK
    return 0 if is_open(state.steps[index]) else R_NOT_NOW


GUARDS = {
    EV_START_STEP: (_guard_before, _guard_oven, _guard_hands),
    EV_STEP_DONE: (_guard_ticks, _guard_minimum),
    EV_OVERRIDE: (),
    EV_SKIP: (),
    EV_TICK: (_guard_tick,),
}


def refusal(plan, state, event, now_s):
    """Return 0 if a press would be accepted now, else the reason it would be refused with."""
    kind, step_id, arg = event
    if kind == EV_UNDO:
        return 0 if _can_undo(state, now_s) else R_NOTHING_TO_UNDO
    index = plan.index_of(step_id)
    if index < 0 or kind not in GUARDS:
        return R_NO_STEP
    if (state.steps[index], kind) not in TABLE:
        return R_NOT_NOW
    for guard in GUARDS[kind]:
        reason = guard(plan, state, index, arg, now_s)
        if reason:
            return reason
    return 0


# --- the step function -------------------------------------------------------------------------------------------


def step(plan, state, event, now_s, cause=BY_BUTTON):
    """Apply one event; return its effects. Changes `state` in place, only when the event is legal.

    `cause` is BY_BUTTON or BY_LINK for the cook's events. Allocates only when something happens.
    """
    kind = event[0]
    if kind == EV_TIME:
        return _time(plan, state, now_s)
    if kind == EV_TEMPERATURE:
        return _temperature(plan, state, event, now_s)
    if kind == EV_DOSE:
        return _dose(plan, state, event, now_s)
    reason = refusal(plan, state, event, now_s)
    if reason:
        return ((FX_REFUSED, event[1], reason),)
    if kind == EV_UNDO:
        return _undo(plan, state, now_s)
    index = plan.index_of(event[1])
    if kind == EV_TICK:
        return _tick(plan, state, index, event[2], now_s)
    effects = []
    moves = []
    if kind == EV_START_STEP:
        _close_before(plan, state, index, now_s, cause, effects, moves)
    elif kind == EV_OVERRIDE:
        cause = BY_OVERRIDE
    elif kind == EV_STEP_DONE and state.steps[index] == RUNNING and runs_itself(plan.steps[index]):
        cause = BY_EARLY
    _move(plan, state, index, kind, now_s, cause, effects, moves)
    _flow(plan, state, now_s, cause, effects, moves, kind != EV_SKIP)
    state.last = (now_s, moves, None)
    if state.mode == FINISHED:
        effects.append((FX_FINISHED, 0, 0))
    return effects


def _move(plan, state, index, kind, now_s, cause, effects, moves):
    """Take one edge of the table. The only writer of step states, with undo."""
    old = state.steps[index]
    new = TABLE[(old, kind)]
    if moves is not None:
        moves.append((index, old, new))
    state.put(index, old, new, now_s, cause)
    effects.append((FX_JOURNAL_STEP, plan.steps[index].step_id, (old, new, cause)))


def _close_before(plan, state, index, now_s, cause, effects, moves):
    """Close the rests that a starting step ends, unless another step still waits for them."""
    for other in before(state, index):
        if is_open(state.steps[other]) and waiters(state, other) == 1:
            early = state.steps[other] == RUNNING
            _move(plan, state, other, EV_CLOSE, now_s, BY_EARLY if early else cause, effects, moves)


def _flow(plan, state, now_s, cause, effects, moves, pressed):
    """Start the rests that follow at once on what has just been finished; those may start others in turn."""
    for index in range(len(plan.steps)):
        if state.steps[index] != WAITING or not plan.steps[index].after:
            continue
        ended_now = False
        closed = True
        for other in before(state, index):
            if state.steps[other] != DONE:
                closed = False
            elif state.ended_at_s[other] == now_s:
                ended_now = True
        if closed and ended_now and pressed and follows_at_once(plan, index):
            _move(plan, state, index, EV_FLOW, now_s, cause, effects, moves)


def _tick(plan, state, index, arg, now_s):
    bit = tick_mask(plan.steps[index], arg & ~UNTICK)
    on = 0 if arg & UNTICK else 1
    old = state.ticked[index]
    state.ticked[index] = old | bit if on else old & ~bit
    if state.ticked[index] == old:
        return _NOTHING  # said twice: nothing new to write
    state.last = (now_s, (), (index, old))
    return [(FX_JOURNAL_TICK, plan.steps[index].step_id, (arg & ~UNTICK, on))]


def _can_undo(state, now_s):
    if state.last is None or not 0 <= now_s - state.last[0] <= UNDO_WITHIN_S:
        return False
    for index, _old, new in state.last[1]:
        if state.steps[index] != new:
            return False
    return True


def _undo(plan, state, now_s):
    _at_s, moves, tick = state.last
    state.last = None
    effects = []
    if tick is not None:
        index, old = tick
        changed = state.ticked[index] ^ old
        number = 0
        while changed >> number != 1:
            number += 1
        state.ticked[index] = old
        effects.append((FX_JOURNAL_TICK, plan.steps[index].step_id, (number, (old >> number) & 1)))
    for index, old, new in reversed(moves):
        state.put(index, new, old, now_s, BY_UNDO)
        effects.append((FX_JOURNAL_STEP, plan.steps[index].step_id, (new, old, BY_UNDO)))
    return effects


# --- time, temperature, dose -------------------------------------------------------------------------------------


def _ready_by_time(plan, state, index, now_s):
    step = plan.steps[index]
    if state.unsure[index] & BEGUN == (1 if state.clock_ok else 0):
        return False  # begun by another clock than today's: elapsed time is not known
    elapsed_s = now_s - state.started_at_s[index]
    wait_s = state.for_s[index]
    if step.ends_by == P.BY_CORE and state.probed_at_s[index]:
        if now_s - state.probed_at_s[index] <= PROBE_FRESH_S:
            wait_s = step.max_s
    elif step.ends_by == P.BY_DOSE and step.dose_s and probe_at(plan, state) == index:
        wait_s = step.max_s  # its dose is counted; without the probe a proof is called at the time last forecast
    return elapsed_s >= wait_s


def _time(plan, state, now_s):
    effects = _NOTHING
    for index in range(len(plan.steps)):
        step_state = state.steps[index]
        if step_state == WAITING:
            if not state.due_told[index] and state.clock_ok and is_due(plan, state, index, now_s):
                state.due_told[index] = True
                effects = list(effects) + [(FX_STEP_DUE, plan.steps[index].step_id, 0)]
        elif step_state == RUNNING and runs_itself(plan.steps[index]) and _ready_by_time(plan, state, index, now_s):
            effects = list(effects)
            _become_ready(plan, state, index, EV_TIME, now_s, BY_CLOCK, effects)
        if is_open(state.steps[index]) and not state.max_told[index] and state.clock_ok:
            over_s = now_s - state.started_at_s[index] - plan.steps[index].max_s
            if over_s > 0 and plan.steps[index].max_s and not state.unsure[index] & BEGUN:
                state.max_told[index] = True
                effects = list(effects) + [(FX_OVER_MAX, plan.steps[index].step_id, over_s)]
    return effects


def _temperature(plan, state, event, now_s):
    index = plan.index_of(event[1])
    if index < 0 or state.steps[index] != RUNNING:
        return _NOTHING
    step = plan.steps[index]
    if step.ends_by != P.BY_CORE or step.core_cdeg == NO_CDEG:
        return _NOTHING
    cdeg = event[2]
    if cdeg == NO_CDEG:
        state.near[index] = 0
        return _NOTHING
    state.probed_at_s[index] = now_s
    # One-sided: what chills is ready below the mark, what warms is ready above it.
    warms = step.kind == P.TEMPER or step.kind == P.THAW
    if warms:
        reached = cdeg >= step.core_cdeg - CORE_BAND_CDEG
    else:
        reached = cdeg <= step.core_cdeg + CORE_BAND_CDEG
    state.near[index] = state.near[index] + 1 if reached else 0
    if state.near[index] < CORE_SAMPLES:
        return _NOTHING
    # A chill has a second clock, the gluten's; what is warmed has none, and butter left waiting for one turns soft.
    if not warms and now_s - state.started_at_s[index] < step.min_s:
        return _NOTHING
    effects = []
    _become_ready(plan, state, index, EV_TEMPERATURE, now_s, BY_PROBE, effects)
    return effects


def _dose(plan, state, event, now_s):
    index = plan.index_of(event[1])
    if index < 0 or state.steps[index] != RUNNING:
        return _NOTHING
    step = plan.steps[index]
    if step.ends_by != P.BY_DOSE or not step.dose_s or event[2] < step.dose_s:
        return _NOTHING
    if now_s - state.started_at_s[index] < step.min_s:
        return _NOTHING
    effects = []
    _become_ready(plan, state, index, EV_DOSE, now_s, BY_PROOF, effects)
    return effects


def _become_ready(plan, state, index, kind, now_s, cause, effects):
    """RUNNING to READY; and on to DONE when nobody has to act."""
    _move(plan, state, index, kind, now_s, cause, effects, None)
    effects.append((FX_STEP_ENDED, plan.steps[index].step_id, cause))
    if not _ends_by_itself(plan, state, index):
        return
    _move(plan, state, index, EV_CLOSE, now_s, cause, effects, None)
    _flow(plan, state, now_s, cause, effects, None, True)
    if state.mode == FINISHED:
        effects.append((FX_FINISHED, 0, 0))


def _ends_by_itself(plan, state, index):
    step = plan.steps[index]
    if step.kind not in RESTING or step.attended_s > PUT_AWAY_S or unanswered(step, state.ticked[index]):
        return False
    for other in range(index + 1, len(plan.steps)):
        after = plan.steps[other]
        if state.steps[other] == WAITING and index in before(state, other):
            if after.place != step.place or not follows_at_once(plan, other):
                return False
    return True
