"""The words both machines use for what the bench timer shows: state words, alarms, faults. Codes are never reused.

A state word says what to do now. Ten letters at most, so that it fits the display at reading height.
"""

NOTHING = 0
NO_PLAN = 1
WAIT = 2  # nothing to do until the next step
START = 3  # a step is due: begin it
CHILL_NOW = 4  # butter leaves its window on the warm side: stop and chill
TOO_COLD = 5  # butter would break: wait
NO_READING = 6
SET_CLOCK = 7
FINISHED = 8
ALARM = 9
MIX = 10
BULK = 11
FLATTEN = 12
CHILL = 13
BLOCK = 14
TEMPER = 15
ICE = 16
LOCK_IN = 17
FOLD = 18
REST = 19
SHEET = 20
CUT = 21
SHAPE = 22
HOLD = 23
FREEZE = 24
THAW = 25
PROOF = 26
WASH = 27
PREHEAT = 28
BAKE = 29
COOL = 30

STATE_WORDS = (
    "", "NO PLAN", "WAIT", "START", "CHILL NOW", "TOO COLD", "NO READING", "SET CLOCK", "FINISHED", "ALARM",
    "MIX", "BULK", "FLATTEN", "CHILL", "BUTTER", "TEMPER", "ICE", "LOCK IN", "ROLL+FOLD", "REST",
    "SHEET", "CUT", "SHAPE", "HOLD", "FREEZE", "THAW", "PROOF", "EGG WASH", "HEAT OVEN", "BAKE", "COOL",
)  # fmt: skip

# Step kind (plan.MIX = 1 ...) plus this is the state word of that step.
WORD_OF_KIND = 9

AL_NONE = 0
AL_STEP_DUE = 1
AL_WINDOW_SOON = 2  # forecast: the window will be left
AL_WINDOW_WARM = 3
AL_WINDOW_COLD = 4
AL_FAULT = 5
AL_PROOF_CAP = 6
AL_HOLD_MAX = 7
AL_CLOCK = 8
AL_REST_DONE = 9
AL_OVEN_EMPTY = 10
AL_LOW_MEMORY = 11
AL_SLIP = 12
ALARM_WORDS = (
    "", "step due", "window soon left", "window left, too warm", "window left, too cold", "sensor fault",
    "proof too warm", "hold too long", "clock unknown", "rest done", "is the oven empty?", "low memory",
    "ready time slips",
)  # fmt: skip


def word_of(words, code):
    """Return words[code], "?" for a code this side does not know."""
    return words[code] if 0 <= code < len(words) else "?"
