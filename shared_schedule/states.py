"""States, events, effects and the transition table of a running plan, and what plan and state say by themselves.

`day` runs the machine on top of this and explains how it works; `focus` answers the screen; `history` keeps the past.
"""

from shared_schedule import plan as P
from shared_schedule.units import NO_CDEG

# States of a step. Numbers are journaled and never reused.
WAITING = 0
RUNNING = 1
DONE = 2
SKIPPED = 3
READY = 4
STATE_WORDS = {WAITING: "waiting", RUNNING: "running", DONE: "done", SKIPPED: "skipped", READY: "ready"}

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
    "not rested long enough; hold the middle button to start anyway",
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

FOLLOWS_WITHIN_S = 900  # a planned gap up to a quarter of an hour is "at once"

PUT_AWAY_S = 300  # up to five minutes of hands-on time at its start, a rest is "put it in the fridge"
# Dough rests or ovens work by themselves, whatever the plan says about who looks in the end.
RESTING = (P.BULK, P.CHILL, P.TEMPER, P.REST, P.HOLD, P.FREEZE, P.THAW, P.PROOF, P.COOL)
_MACHINES = (P.ICE, P.PREHEAT, P.BAKE)


def planned_for_s(step):
    """Return how long the plan lets a step last, within its own limits; seconds."""
    planned = step.planned_for_s or step.ideal_s
    if step.max_s and planned > step.max_s:
        return step.max_s
    return max(planned, step.min_s)


def runs_itself(step):
    """True for rests, proofs, ovens: a step that needs no hands and that the start of the next one may close.

    A rest that the cook ends (BY_COOK) is one too: it becomes READY at its planned time, like one that ends by time.
    """
    return step.ends_by != P.BY_COOK or step.kind in RESTING or step.kind in _MACHINES


def follows_at_once(plan, index):
    """True if the step begins by itself when the steps before it end."""
    step = plan.steps[index]
    if step.kind not in RESTING or step.attended_s > PUT_AWAY_S or not step.after or step.flags & P.ASK_OVEN_EMPTY:
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


def waiters(state, index):
    """Return how many steps still WAIT for this one (through skipped steps too)."""
    count = 0
    for other in range(index + 1, len(state.steps)):
        if state.steps[other] == WAITING and index in before(state, other):
            count += 1
    return count


def tick_mask(step, number):
    """Return the bits that an answer sets: the oven's question and a single tick that words it are one question."""
    if step.flags & P.ASK_OVEN_EMPTY and len(step.ticks) == 1 and number in (0, TICK_OVEN):
        return 1 | (1 << TICK_OVEN)
    return 1 << number


def all_ticks(step):
    """Return the bit mask of the ticks a step asks for before it may end."""
    return (1 << len(step.ticks)) - 1


def unanswered(step, ticked):
    """Return the bit mask of the ticks still to be answered; 0 when the step may end."""
    return all_ticks(step) & ~ticked


def is_open(step_state):
    """True while a step runs or stands ready."""
    return step_state == RUNNING or step_state == READY


def has_not_ended(step_state):
    """True for a step that has not ended."""
    return step_state != DONE and step_state != SKIPPED


def hands_on(plan, state, index, now_s):
    """True while a step needs the cook's hands."""
    step = plan.steps[index]
    if state.steps[index] != RUNNING or not step.attended_s:
        return False
    return not runs_itself(step) or now_s < state.started_at_s[index] + step.attended_s


def asks_probe(step):
    """True for a step that wants the needle in its dough or butter."""
    return step.low_cdeg != NO_CDEG or step.core_cdeg != NO_CDEG or step.kind == P.PROOF or step.kind == P.BULK


def probe_at(plan, state):
    """Return the index of the open step whose dough the needle is in, -1 for none.

    There is one needle: it goes with what hands work on; with no such work it is where it was put last, in the rest
    that was begun last. The cook, the timer and the logbook keep this one rule.
    """
    best = -1
    hands = False
    for index in range(len(plan.steps)):
        step = plan.steps[index]
        if not is_open(state.steps[index]) or not asks_probe(step):
            continue
        works = not runs_itself(step)
        if best >= 0:
            older = state.started_at_s[index] < state.started_at_s[best]
            if (hands and not works) or (hands == works and older):
                continue
        best = index
        hands = works
    return best
