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

5. Everything that must survive a power cut is in the FX_JOURNAL_* effects; `restore` applies them again. What is not
   journaled (`for_s`, warnings given, probe counts, undo) is worked out again from plan and time.

Deliberate presses (a long press, or `force` over the link) carry arg DELIBERATE: they may start a step before the
minimum rest is over, or while other hands-on work runs. All events are tuples (EV_*, step_id, arg).
"""

from shared_schedule import plan as P
from shared_schedule.units import NO_CDEG

# States of a step. Numbers are journaled and never reused.
WAITING = 0
RUNNING = 1
DONE = 2
SKIPPED = 3
READY = 4
STATE_WORDS = ("waiting", "running", "done", "skipped", "ready")

# Modes of the day, derived from the states.
IDLE = 0
DAY_RUNNING = 1
FINISHED = 2

# Events.
EV_START_STEP = 1
EV_STEP_DONE = 2
EV_SKIP = 3
EV_UNDO = 4
EV_TICK = 5  # arg = tick number, + UNTICK to clear it
EV_OVERRIDE = 6  # done although ticks are unanswered
EV_TIME = 7
EV_TEMPERATURE = 8  # arg = probe cdeg; step_id = step the probe is in
EV_DOSE = 9  # arg = dose so far, s
EV_CLOSE = 10  # from inside: the step that waited for this one starts
EV_FLOW = 11  # from inside: a rest follows at once

DELIBERATE = 1
UNTICK = 16
TICK_OVEN = 7  # the answer "the oven is empty"

# Causes in the journal.
BY_BUTTON = 1
BY_LINK = 2
BY_CLOCK = 3
BY_PROBE = 4
BY_PROOF = 5
BY_UNDO = 6
BY_EARLY = 7
BY_OVERRIDE = 8

# Effects, tuples (FX_*, step_id, arg).
FX_JOURNAL_STEP = 1  # arg = (from, to, cause)
FX_JOURNAL_TICK = 2  # arg = (n, on)
FX_STEP_DUE = 3
FX_STEP_ENDED = 4  # a step became READY or ended by itself: sound "rest done"
FX_REFUSED = 5  # arg = reason
FX_FINISHED = 6
FX_OVER_MAX = 7  # a rest or hold is past its maximum; arg = seconds past

# Reasons of a refusal.
R_NO_STEP = 1
R_NOT_NOW = 2
R_BEFORE = 3
R_TOO_EARLY = 4
R_UNTICKED = 5
R_OVEN = 6
R_HANDS_FULL = 7
R_NOTHING_TO_UNDO = 8
R_NO_TICK = 9
REASONS = (
    "", "the plan has no such step", "the step is not in a state for that", "a step before it is not finished",
    "the rest before it is shorter than its minimum; press long to start all the same",
    "something has to be ticked first", "first say that the oven is empty",
    "other hands-on work is running; finish it first", "nothing was pressed in the last 10 seconds",
    "the step has no such tick",
)  # fmt: skip

_ROWS = (
    (WAITING, EV_START_STEP, RUNNING),
    (WAITING, EV_FLOW, RUNNING),
    (WAITING, EV_SKIP, SKIPPED),
    (WAITING, EV_TICK, WAITING),
    (RUNNING, EV_STEP_DONE, DONE),
    (RUNNING, EV_OVERRIDE, DONE),
    (RUNNING, EV_CLOSE, DONE),
    (RUNNING, EV_SKIP, SKIPPED),
    (RUNNING, EV_TICK, RUNNING),
    (RUNNING, EV_TIME, READY),
    (RUNNING, EV_TEMPERATURE, READY),
    (RUNNING, EV_DOSE, READY),
    (READY, EV_STEP_DONE, DONE),
    (READY, EV_OVERRIDE, DONE),
    (READY, EV_CLOSE, DONE),
    (READY, EV_SKIP, SKIPPED),
    (READY, EV_TICK, READY),
)
TABLE = {(source, event): target for source, event, target in _ROWS}
EDGES = frozenset([(source, target) for source, _event, target in _ROWS if source != target])

UNDO_WITHIN_S = 10
CORE_BAND_CDEG = 100  # a core temperature counts as reached within 1 °C
CORE_SAMPLES = 6  # half a minute at one sample in 5 s: longer than a needle takes to settle
PROBE_FRESH_S = 300  # older than this, a probe reading no longer keeps a rest waiting
FOLLOWS_WITHIN_S = 900  # a planned gap up to a quarter of an hour is "at once"

_RESTING = (P.BULK, P.CHILL, P.TEMPER, P.REST, P.HOLD, P.FREEZE, P.THAW, P.PROOF, P.COOL)
_NOTHING = ()


class DayState:
    """State of a running plan; times are project seconds, 0 = not yet. Lists run parallel to plan.steps."""

    def __init__(self, plan):
        count = len(plan.steps)
        self.after = [tuple([plan.index_of(step_id) for step_id in step.after]) for step in plan.steps]
        self.steps = [WAITING] * count
        self.started_at_s = [0] * count
        self.ready_at_s = [0] * count
        self.ended_at_s = [0] * count
        self.ticked = [0] * count
        self.unsure = [0] * count  # bits 1, 2, 4: started, ready, ended were stamped while the clock was unknown
        self.for_s = [planned_for_s(step) for step in plan.steps]  # how long the step is expected to last
        self.due_told = [False] * count
        self.max_told = [False] * count
        self.near = [0] * count  # probe samples in a row at the core temperature
        self.probed_at_s = [0] * count
        self.clock_ok = True
        self.bends = []  # (cdeg, verdict) of the bend tests of this batch
        self.last = None  # (at_s, [(index, from, to)], tick) of the last press

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
        return (
            self.steps == other.steps
            and self.started_at_s == other.started_at_s
            and self.ready_at_s == other.ready_at_s
            and self.ended_at_s == other.ended_at_s
            and self.ticked == other.ticked
        )


# --- what the plan says about a step -----------------------------------------------------------------------------


def planned_for_s(step):
    """Return how long the plan lets a step last, within its own limits; seconds."""
    planned = step.planned_for_s or step.ideal_s
    if step.max_s and planned > step.max_s:
        return step.max_s
    return max(planned, step.min_s)


def runs_itself(step):
    """True for rests, proofs, ovens: a step that the start of the next one may close."""
    return step.ends_by != P.BY_COOK


def follows_at_once(plan, index):
    """True if the step begins by itself when the steps before it end."""
    step = plan.steps[index]
    if step.kind not in _RESTING or step.attended_s or not step.after or step.flags & P.ASK_OVEN_EMPTY:
        return False
    latest = 0
    for step_id in step.after:
        earlier = plan.steps[plan.index_of(step_id)]
        latest = max(latest, earlier.start_at_s + earlier.planned_for_s)
    return step.start_at_s - latest <= FOLLOWS_WITHIN_S


def before(state, index):
    """Return the indices of the steps that must give way before a step starts; skipped ones pass on theirs."""
    steps = state.steps
    for other in state.after[index]:
        if steps[other] == SKIPPED:
            break
    else:
        return state.after[index]  # nothing skipped: no allocation
    found = []
    todo = list(state.after[index])
    while todo:
        other = todo.pop()
        if steps[other] == SKIPPED:
            todo.extend(state.after[other])
        elif other not in found:
            found.append(other)
    return found


def _waiters(state, index):
    """Return how many steps still WAIT for this one (through skipped steps too)."""
    count = 0
    for other in range(index + 1, len(state.steps)):
        if state.steps[other] == WAITING and index in before(state, other):
            count += 1
    return count


def all_ticks(step):
    """Return the bit mask of the ticks a step asks for before it may end."""
    return (1 << len(step.ticks)) - 1


def is_open(step_state):
    """True while a step runs or stands ready."""
    return step_state == RUNNING or step_state == READY


def is_open_or_waiting(step_state):
    """True for a step that has not ended."""
    return step_state != DONE and step_state != SKIPPED


def hands_on(plan, state, index, now_s):
    """True while a step needs the cook's hands."""
    step = plan.steps[index]
    if state.steps[index] != RUNNING or not step.attended_s:
        return False
    return step.ends_by == P.BY_COOK or now_s < state.started_at_s[index] + step.attended_s


# --- guards: each answers 0 or a reason --------------------------------------------------------------------------


def _guard_before(plan, state, index, arg, now_s):
    for other in before(state, index):
        step_state = state.steps[other]
        if step_state == WAITING:
            return R_BEFORE
        if is_open(step_state):
            step = plan.steps[other]
            if not runs_itself(step):
                return R_BEFORE
            if state.ticked[other] & all_ticks(step) != all_ticks(step):
                return R_UNTICKED
            if step_state == RUNNING and arg != DELIBERATE and now_s - state.started_at_s[other] < step.min_s:
                return R_TOO_EARLY
    return 0


def _guard_oven(plan, state, index, _arg, _now_s):
    if plan.steps[index].flags & P.ASK_OVEN_EMPTY and not state.ticked[index] & (1 << TICK_OVEN):
        return R_OVEN
    return 0


def _guard_hands(plan, state, index, arg, now_s):
    if plan.steps[index].attended_s and plan.steps[index].ends_by == P.BY_COOK and arg != DELIBERATE:
        for other in range(len(plan.steps)):
            if plan.steps[other].ends_by == P.BY_COOK and hands_on(plan, state, other, now_s):
                return R_HANDS_FULL
    return 0


def _guard_ticks(plan, state, index, _arg, _now_s):
    wanted = all_ticks(plan.steps[index])
    return R_UNTICKED if state.ticked[index] & wanted != wanted else 0


def _guard_minimum(plan, state, index, arg, now_s):
    step = plan.steps[index]
    if state.steps[index] == RUNNING and runs_itself(step) and arg != DELIBERATE:
        if now_s - state.started_at_s[index] < step.min_s:
            return R_TOO_EARLY
    return 0


def _guard_tick(plan, state, index, arg, _now_s):
    step = plan.steps[index]
    number = arg & ~UNTICK
    if number == TICK_OVEN:
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
    """Take one edge of the table. The only writer of step states, with `_put`."""
    old = state.steps[index]
    new = TABLE[(old, kind)]
    if moves is not None:
        moves.append((index, old, new))
    _put(state, index, old, new, now_s)
    effects.append((FX_JOURNAL_STEP, plan.steps[index].step_id, (old, new, cause)))


def _put(state, index, old, new, now_s):
    """Set a state and its instants; the same for live events, undo and replay."""
    unsure = 0 if state.clock_ok else 7
    state.steps[index] = new
    if new == WAITING:
        state.started_at_s[index] = state.ready_at_s[index] = state.ended_at_s[index] = 0
        state.unsure[index] = 0
        state.near[index] = 0
        state.due_told[index] = False
    elif new == RUNNING:
        if old == WAITING:
            state.started_at_s[index] = now_s
            state.unsure[index] |= unsure & 1
        state.ready_at_s[index] = state.ended_at_s[index] = 0
        state.max_told[index] = False
        state.near[index] = 0
    elif new == READY:
        if old == RUNNING:
            state.ready_at_s[index] = now_s
            state.unsure[index] |= unsure & 2
        state.ended_at_s[index] = 0
    else:
        state.ended_at_s[index] = now_s
        state.unsure[index] |= unsure & 4


def _close_before(plan, state, index, now_s, cause, effects, moves):
    """Close the rests that a starting step ends, unless another step still waits for them."""
    for other in before(state, index):
        if is_open(state.steps[other]) and _waiters(state, other) == 1:
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
    bit = 1 << (arg & ~UNTICK)
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


def _undo(plan, state, _now_s):
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
        _put(state, index, new, old, 0)
        effects.append((FX_JOURNAL_STEP, plan.steps[index].step_id, (new, old, BY_UNDO)))
    return effects


# --- time, temperature, dose -------------------------------------------------------------------------------------


def _ready_by_time(plan, state, index, now_s):
    step = plan.steps[index]
    if state.unsure[index] & 1 == (1 if state.clock_ok else 0):
        return False  # begun by another clock than today's: elapsed time is not known
    elapsed_s = now_s - state.started_at_s[index]
    wait_s = state.for_s[index]
    if step.ends_by == P.BY_CORE and state.probed_at_s[index]:
        if now_s - state.probed_at_s[index] <= PROBE_FRESH_S:
            wait_s = step.max_s
    elif step.ends_by == P.BY_DOSE and step.dose_s:
        wait_s = step.max_s
    return elapsed_s >= wait_s


def _time(plan, state, now_s):
    effects = _NOTHING
    for index in range(len(plan.steps)):
        step_state = state.steps[index]
        if step_state == WAITING:
            if not state.due_told[index] and state.clock_ok and is_due(plan, state, index, now_s):
                state.due_told[index] = True
                effects = list(effects)
                effects.append((FX_STEP_DUE, plan.steps[index].step_id, 0))
        elif step_state == RUNNING and runs_itself(plan.steps[index]) and _ready_by_time(plan, state, index, now_s):
            effects = list(effects)
            _become_ready(plan, state, index, EV_TIME, now_s, BY_CLOCK, effects)
        if is_open(state.steps[index]) and not state.max_told[index] and state.clock_ok:
            over_s = now_s - state.started_at_s[index] - plan.steps[index].max_s
            if over_s > 0 and plan.steps[index].max_s and not state.unsure[index] & 1:
                state.max_told[index] = True
                effects = list(effects)
                effects.append((FX_OVER_MAX, plan.steps[index].step_id, over_s))
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
    if step.kind == P.TEMPER or step.kind == P.THAW:
        reached = cdeg >= step.core_cdeg - CORE_BAND_CDEG
    else:
        reached = cdeg <= step.core_cdeg + CORE_BAND_CDEG
    state.near[index] = state.near[index] + 1 if reached else 0
    if state.near[index] < CORE_SAMPLES or now_s - state.started_at_s[index] < step.min_s:
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
    if step.kind not in _RESTING or step.attended_s or state.ticked[index] & all_ticks(step) != all_ticks(step):
        return False
    for other in range(index + 1, len(plan.steps)):
        after = plan.steps[other]
        if state.steps[other] == WAITING and index in before(state, other):
            if after.place != step.place or not follows_at_once(plan, other):
                return False
    return True


# --- questions the screen asks -----------------------------------------------------------------------------------


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
    minute), the hands-on step begun last, the first step that is due or whose rest is READY, what runs by itself and
    is ready soonest, the next step of the plan.
    """
    quick = hands = started = soonest = waiting = -1
    for index in range(len(plan.steps)):
        step_state = state.steps[index]
        if step_state == READY and _wants_done(plan, state, index):
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
    if started >= 0 and (now_s >= plan.steps[started].start_at_s or _frees_rest(state, started)):
        return started
    for index in (soonest, started):
        if index >= 0:
            return index
    return waiting


def _wants_done(plan, state, index):
    """True if a READY step is answered with "done" (take it out), not by starting the step that waits for it."""
    if plan.steps[index].kind == P.BAKE:
        return True
    if plan.steps[index].kind in _RESTING:
        return False
    other = next_after(state, index)
    return other < 0 or follows_at_once(plan, other)


def _frees_rest(state, index):
    for other in before(state, index):
        if state.steps[other] == READY:
            return True
    return False


def _ready_key(state, index):
    return (state.started_at_s[index] + state.for_s[index], index)


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
        if other >= 0 and not _wants_done(plan, state, index):
            return (EV_START_STEP, plan.steps[other].step_id, 0)
    return (EV_STEP_DONE, plan.steps[index].step_id, 0)


# --- replay, replacement, clock ----------------------------------------------------------------------------------


def restore(plan, state, step_id, old, new, cause, at_s):
    """Apply one journaled transition; return False (and change nothing) if it is not one this machine can have made."""
    index = plan.index_of(step_id)
    if index < 0 or state.steps[index] != old:
        return False
    edge = (new, old) if cause == BY_UNDO else (old, new)
    if edge not in EDGES:
        return False
    _put(state, index, old, new, at_s)
    return True


def restore_tick(plan, state, step_id, number, on):
    """Apply one journaled tick; return False if the step has no such tick."""
    index = plan.index_of(step_id)
    if index < 0 or not (number == TICK_OVEN or 0 <= number < len(plan.steps[index].ticks)):
        return False
    bit = 1 << number
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
