"""The one word on the bench timer's screen, and its number on the wire. Numbers are never reused, words stay short.

Every word has at most ten letters, so that it fits a 2.42 inch display at 8 mm height.
"""

from shared_schedule import journal as J
from shared_schedule import plan as P

NONE = 0
NO_PLAN = 1
SET_CLOCK = 2
NEXT = 3
READY = 4
CHILL_NOW = 5
WAIT = 6  # too cold to be worked
NO_READING = 7
DONE = 8
TICK = 9  # a question is asked
MEMORY = 10
BEND = 11
KIND = 20  # + kind of step

WORDS = {
    NONE: "", NO_PLAN: "NO PLAN", SET_CLOCK: "SET CLOCK", NEXT: "NEXT", READY: "READY", CHILL_NOW: "CHILL NOW",
    WAIT: "WAIT", NO_READING: "NO READING", DONE: "DONE", TICK: "CHECK", MEMORY: "MEMORY", BEND: "BEND TEST",
}  # fmt: skip

# What the cook does in a step of each kind.
KIND_WORDS = {
    P.MIX: "MIX", P.BULK: "BULK", P.FLATTEN: "FLATTEN", P.CHILL: "CHILL", P.BLOCK: "BUTTER", P.TEMPER: "TEMPER",
    P.ICE: "ICE BENCH", P.LOCK_IN: "LOCK IN", P.FOLD: "ROLL", P.REST: "REST", P.SHEET: "SHEET", P.CUT: "CUT",
    P.SHAPE: "SHAPE", P.HOLD: "HOLD", P.FREEZE: "FREEZE", P.THAW: "THAW", P.PROOF: "PROOF", P.WASH: "EGG WASH",
    P.PREHEAT: "PREHEAT", P.BAKE: "BAKE", P.COOL: "COOL",
}  # fmt: skip

# Alarms in the journal and on the wire; the spoken form of each.
ALARM_WORDS = {
    J.STEP_DUE: "step due", J.WINDOW_SOON: "butter soon too warm", J.WINDOW_LEFT_WARM: "butter too warm",
    J.WINDOW_LEFT_COLD: "butter too cold", J.SENSOR_FAULT: "sensor fault", J.PROOF_CAP: "proof too warm",
    J.HOLD_MAX: "kept too long", J.CLOCK_UNKNOWN: "clock unknown", J.REST_DONE: "rest done",
    J.OVEN_EMPTY: "is the oven empty?", J.LOW_MEMORY: "low memory", J.SLIP: "running late",
}  # fmt: skip


def alarm_word(kind):
    """Return the words for an alarm; "" for none, "alarm" for one this version does not know."""
    return ALARM_WORDS.get(kind, "alarm") if kind else ""


def word(code):
    """Return the word for a number from the wire; "" for one this version does not know."""
    if code > KIND:
        return KIND_WORDS.get(code - KIND, "")
    return WORDS.get(code, "")
