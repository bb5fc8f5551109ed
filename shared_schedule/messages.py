"""The messages of the link: one table, and a codec that is driven by it.

Job: what is said. How it is framed is framing.py's, when it is said and said again is link.py's.
PROTOCOL.md is generated from this table, and from companion/tools/protocol_words.py, which says what each
message is for. The fingerprint of the table is pinned by a test together with the version, so that a message cannot
change without the version changing with it.

Every payload starts with   number u8, session u16, seq u16   (little endian, like all integers here), then the
fields in the table's order. `session` is chosen by the host for each connection and `seq` counts its requests up from
1; the device copies both into the reply, and sends 0 as seq in what nobody asked for.

Temperatures are i16 in 0.01 degC, NO_READING where there is none. Times are u32 seconds since 2020-01-01T00:00Z.
"""

import struct

PROTOCOL_MAJOR = 1  # another major is refused
PROTOCOL_MINOR = 1  # another minor is talked to, with a warning

NO_READING = -32768  # i16 temperature fields: no sensor, open, short or out of range

# Caps, in octets. A length on the wire is compared with these before anything is allocated.
CHUNK_MAX = 1400  # one LOG_DATA: 15 octets around it are 1.1 %; the device holds it up to five times while encoding
PLAN_CHUNK_MAX = 1000  # one PLAN_DATA; the device holds it up to three times while decoding
PLAN_MAX = 8192  # a whole plan (plan.MAX_PLAN_BYTES); one of 48 steps is under 4096
STEPS_MAX = 96  # records in STATE (plan.MAX_STEPS)
STEP_RECORD = "<BII"  # in STATE.steps: state, started at, ended at (0 = not yet)
CHANNEL_RECORD = "<Bh"  # in TELEMETRY.more, one for each channel past the first two: number, 0.01 degC
CHANNEL_OCTETS = 3
LOG_MAX = 4194304  # a stream; the largest board's whole file system has 3 MiB
TEXT_MAX = 120
HEADER = "<BHH"
HEADER_OCTETS = 5
DEVICE_CAP = 1020  # longest payload the device takes
HOST_CAP = 1440  # longest payload the host takes

STREAM_JOURNAL = 1
STREAM_SAMPLES = 2
STREAM_PLAN = 3
STREAM_CRASH = 4
STREAMS = (
    (STREAM_JOURNAL, "journal"),
    (STREAM_SAMPLES, "samples"),
    (STREAM_PLAN, "plan as held"),
    (STREAM_CRASH, "crash log"),
)

# Result codes. Never renumbered.
OK = 0
ALREADY = 1  # nothing to do: it is so already
REFUSED = 2
TOO_LARGE = 3
BAD_VALUE = 4
NO_PLAN = 5
BUSY = 6
UNKNOWN = 7  # message, key or stream not known
WRONG_VERSION = 8
STORAGE = 9
WANT = 10  # PLAN_ANSWER: send me this much from there
INCOMPLETE = 11
FAILED = 12
CODES = (
    (OK, "ok"),
    (ALREADY, "already"),
    (REFUSED, "refused"),
    (TOO_LARGE, "too large"),
    (BAD_VALUE, "bad value"),
    (NO_PLAN, "no plan"),
    (BUSY, "busy"),
    (UNKNOWN, "unknown"),
    (WRONG_VERSION, "wrong version"),
    (STORAGE, "storage"),
    (WANT, "want"),
    (INCOMPLETE, "incomplete"),
    (FAILED, "failed"),
)

# Actions of COMMAND. Absolute ("step 7 is done"), never relative, so that repeating one does no harm.
ACTION_STEP_START = 1
ACTION_STEP_DONE = 2
ACTION_STEP_SKIP = 3
ACTION_UNDO = 4
ACTION_TICK = 5
ACTION_ACKNOWLEDGE = 6
ACTION_SNOOZE = 7
ACTION_BEND = 8
ACTION_FORGET_PLAN = 9
ACTIONS = (
    (ACTION_STEP_START, "step_start"),
    (ACTION_STEP_DONE, "step_done"),
    (ACTION_STEP_SKIP, "step_skip"),
    (ACTION_UNDO, "undo"),
    (ACTION_TICK, "tick"),
    (ACTION_ACKNOWLEDGE, "acknowledge"),
    (ACTION_SNOOZE, "snooze"),
    (ACTION_BEND, "bend"),
    (ACTION_FORGET_PLAN, "forget_plan"),
)

HELLO = 1
HELLO_REPLY = 2
RESULT = 3
PING = 4
STATE_GET = 5
STATE = 6
PLAN_OFFER = 10
PLAN_ANSWER = 11
PLAN_DATA = 12
LOG_INFO = 20
LOG_INFO_REPLY = 21
LOG_READ = 22
LOG_DATA = 23
LOG_END = 24
LOG_SUM = 25
LOG_SUM_REPLY = 26
LOG_DROP = 27
CLOCK_GET = 30
CLOCK = 31
CLOCK_SET = 32
COMMAND = 40
NOTE = 41
SETTING_GET = 42
SETTING = 43
SETTING_SET = 44
COUNTERS_GET = 50
COUNTERS = 51
SELF_TEST = 52
SELF_TEST_REPLY = 53
TELEMETRY = 60

# By name, so that the rows are made when the module is loaded: constant rows would each bring strings of their own.
_U8, _U16, _U32, _I16, _I32 = "u8", "u16", "u32", "i16", "i32"
_FIX, _STR, _BYTES, _REST = "fix", "str", "bytes", "rest"

# Field kinds: u8 u16 u32 i16 i32; "fix" exactly cap octets; "bytes"/"str" u8 length then at most cap octets;
# "rest" all that is left of the payload, at most cap octets.
# Directions: ">" host to device, "<" device to host. Marks: "e" has an effect (done at most once for each seq).
TABLE = (
    (HELLO, "HELLO", ">", (("major", _U8, 0), ("minor", _U8, 0), ("filler", _FIX, 4))),
    (HELLO_REPLY, "HELLO_REPLY", "<",
     (("major", _U8, 0), ("minor", _U8, 0), ("firmware", _STR, 24), ("board_id", _FIX, 8),
      ("boot_id", _U32, 0), ("plan_id", _U32, 0), ("running", _U8, 0), ("clock_ok", _U8, 0),
      ("heap_free", _U32, 0), ("journal_octets", _U32, 0), ("samples_octets", _U32, 0), ("read_block", _U8, 0))),
    (RESULT, "RESULT", "<", (("code", _U8, 0), ("text", _STR, TEXT_MAX))),
    (PING, "PING", ">", ()),
    (STATE_GET, "STATE_GET", ">", ()),
    (STATE, "STATE", "<",
     (("plan_id", _U32, 0), ("at_s", _U32, 0), ("running", _U8, 0), ("focus", _U8, 0), ("alarm", _U8, 0),
      ("fault", _U8, 0), ("steps", _REST, 9 * STEPS_MAX))),
    (PLAN_OFFER, "PLAN_OFFER", ">", (("plan_id", _U32, 0), ("length", _U32, 0), ("crc32", _U32, 0))),
    (PLAN_ANSWER, "PLAN_ANSWER", "<",
     (("plan_id", _U32, 0), ("code", _U8, 0), ("offset", _U32, 0), ("count", _U16, 0), ("chunk", _U16, 0),
      ("text", _STR, TEXT_MAX))),
    (PLAN_DATA, "PLAN_DATA", ">",
     (("plan_id", _U32, 0), ("offset", _U32, 0), ("mask", _U8, 0), ("data", _REST, PLAN_CHUNK_MAX))),
    (LOG_INFO, "LOG_INFO", ">", (("stream", _U8, 0),)),
    (LOG_INFO_REPLY, "LOG_INFO_REPLY", "<", (("stream", _U8, 0), ("first", _U32, 0), ("end", _U32, 0))),
    (LOG_READ, "LOG_READ", ">",
     (("stream", _U8, 0), ("fresh", _U8, 0), ("offset", _U32, 0), ("length", _U32, 0), ("chunk", _U16, 0))),
    (LOG_DATA, "LOG_DATA", "<", (("offset", _U32, 0), ("mask", _U8, 0), ("data", _REST, CHUNK_MAX))),
    (LOG_END, "LOG_END", "<", (("end", _U32, 0), ("crc32", _U32, 0))),
    (LOG_SUM, "LOG_SUM", ">", (("stream", _U8, 0), ("offset", _U32, 0), ("length", _U32, 0))),
    (LOG_SUM_REPLY, "LOG_SUM_REPLY", "<", (("stream", _U8, 0), ("end", _U32, 0), ("crc32", _U32, 0))),
    (LOG_DROP, "LOG_DROP", ">e", (("plan_id", _U32, 0), ("stream", _U8, 0), ("upto", _U32, 0))),
    (CLOCK_GET, "CLOCK_GET", ">", ()),
    (CLOCK, "CLOCK", "<", (("now_s", _U32, 0), ("ms", _U16, 0), ("offset_min", _I16, 0), ("ok", _U8, 0))),
    (CLOCK_SET, "CLOCK_SET", ">e", (("now_s", _U32, 0), ("ms", _U16, 0), ("offset_min", _I16, 0))),
    (COMMAND, "COMMAND", ">e", (("action", _U8, 0), ("step_id", _U8, 0), ("arg", _I32, 0))),
    (NOTE, "NOTE", ">e", (("text", _STR, TEXT_MAX),)),
    (SETTING_GET, "SETTING_GET", ">", (("key", _STR, 24),)),
    (SETTING, "SETTING", "<", (("key", _STR, 24), ("value", _BYTES, 64))),
    (SETTING_SET, "SETTING_SET", ">e", (("key", _STR, 24), ("value", _BYTES, 64))),
    (COUNTERS_GET, "COUNTERS_GET", ">", ()),
    (COUNTERS, "COUNTERS", "<",
     (("uptime_s", _U32, 0), ("boots", _U32, 0), ("heap_free", _U32, 0), ("heap_low", _U32, 0),
      ("loop_worst_ms", _U32, 0), ("flash_writes", _U32, 0), ("frames_in", _U32, 0), ("frames_bad", _U32, 0),
      ("noise_octets", _U32, 0), ("repeats", _U32, 0), ("telemetry_dropped", _U32, 0))),
    (SELF_TEST, "SELF_TEST", ">", ()),
    (SELF_TEST_REPLY, "SELF_TEST_REPLY", "<", (("passed", _U8, 0), ("text", _REST, 480))),
    (TELEMETRY, "TELEMETRY", "<",
     (("at_s", _U32, 0), ("mode", _U8, 0), ("word", _U8, 0), ("step_id", _U8, 0), ("fold_n", _U8, 0),
      ("fold_of", _U8, 0), ("bench_cdeg", _I16, 0), ("probe_cdeg", _I16, 0), ("low_cdeg", _I16, 0),
      ("high_cdeg", _I16, 0), ("left_s", _I32, 0), ("slack_s", _I32, 0), ("alarm", _U8, 0), ("fault", _U8, 0),
      ("more", _REST, CHANNEL_OCTETS * 2))),
)  # fmt: skip

# What answers a request, where it is not RESULT.
REPLY_OF = {
    STATE_GET: STATE,
    PLAN_OFFER: PLAN_ANSWER,
    LOG_INFO: LOG_INFO_REPLY,
    LOG_SUM: LOG_SUM_REPLY,
    CLOCK_GET: CLOCK,
    SETTING_GET: SETTING,
    COUNTERS_GET: COUNTERS,
    SELF_TEST: SELF_TEST_REPLY,
}

_INTEGERS = {
    "u8": ("<B", 1, 0, 0xFF),
    "u16": ("<H", 2, 0, 0xFFFF),
    "u32": ("<I", 4, 0, 0xFFFFFFFF),
    "i16": ("<h", 2, -0x8000, 0x7FFF),
    "i32": ("<i", 4, -0x80000000, 0x7FFFFFFF),
}
_BY_NUMBER = {}
for _row in TABLE:
    _BY_NUMBER[_row[0]] = _row


class MessageError(ValueError):
    """A payload, or a value to be sent, that the table does not allow. The text names message and field."""


def name_of(number):
    """Return the message's name, or `message N` for an unknown number."""
    row = _BY_NUMBER.get(number)
    return row[1] if row else "message %d" % number


def direction_of(number):
    """Return ">" (host to device) or "<", or "" for an unknown number."""
    row = _BY_NUMBER.get(number)
    return row[2][0] if row else ""


def has_effect(number):
    """True for requests the device does at most once for each seq."""
    row = _BY_NUMBER.get(number)
    return row is not None and "e" in row[2]


def fields_of(number):
    """Return the table's ((name, kind, cap), ...) for a known number."""
    return _BY_NUMBER[number][3]


def encode(number, session, seq, values=None):
    """Return the payload. `values` is a dict by field name; an absent field is 0 or empty.

    Raises MessageError for a value that is out of range, too long or not in the table: struct on MicroPython
    would wrap it silently.
    """
    fields = _BY_NUMBER[number][3]
    values = values or {}
    out = [struct.pack(HEADER, number, session & 0xFFFF, seq & 0xFFFF)]
    known = 0
    for name, kind, cap in fields:
        if name in values:
            known += 1
        integer = _INTEGERS.get(kind)
        if integer:
            value = int(values.get(name, 0))
            if not integer[2] <= value <= integer[3]:
                raise MessageError("%s.%s: %d does not fit %s" % (name_of(number), name, value, kind))
            out.append(struct.pack(integer[0], value))
            continue
        value = values.get(name, b"")
        value = value.encode() if isinstance(value, str) else bytes(value)
        if kind == "fix":
            value = value or bytes(cap)
            if len(value) != cap:
                raise MessageError("%s.%s: must be %d octets, not %d" % (name_of(number), name, cap, len(value)))
        else:
            if len(value) > cap:
                raise MessageError("%s.%s: %d octets, at most %d" % (name_of(number), name, len(value), cap))
            if kind != "rest":
                out.append(bytes((len(value),)))
        out.append(value)
    if known != len(values):
        raise MessageError("%s: a field it does not have" % name_of(number))
    return b"".join(out)


def header(payload):
    """Return (number, session, seq); MessageError when the payload is too short for them."""
    if len(payload) < HEADER_OCTETS:
        raise MessageError("payload of %d octets has no header" % len(payload))
    return struct.unpack(HEADER, payload[:HEADER_OCTETS])


def decode(payload):
    """Return (number, session, seq, values). Raises MessageError for anything the table does not allow.

    `str` fields come back as str, "bytes", "fix" and "rest" as bytes. Octets left over after the last field are
    ignored, so that a newer minor version may add fields at the end.
    """
    number, session, seq = header(payload)
    row = _BY_NUMBER.get(number)
    if row is None:
        raise MessageError("message number %d is not known" % number)
    at = HEADER_OCTETS
    size = len(payload)
    values = {}
    for name, kind, cap in row[3]:
        integer = _INTEGERS.get(kind)
        if integer:
            end = at + integer[1]
        elif kind == "fix":
            end = at + cap
        elif kind == "rest":
            end = size
        else:
            if at >= size:
                raise MessageError("%s.%s: cut short" % (row[1], name))
            end = at + 1 + payload[at]
            at += 1
        if end > size:
            raise MessageError("%s.%s: cut short" % (row[1], name))
        if not integer and end - at > cap:
            raise MessageError("%s.%s: %d octets, at most %d" % (row[1], name, end - at, cap))
        value = payload[at:end]
        if integer:
            value = struct.unpack(integer[0], value)[0]
        elif kind == "str":
            value = _text(value, row[1], name)
        else:
            value = bytes(value)
        values[name] = value
        at = end
    return number, session, seq, values


def _text(octets, message, field):
    try:
        return str(octets, "utf-8")
    except (UnicodeError, ValueError):
        raise MessageError("%s.%s: not UTF-8" % (message, field))


# Masking. Log octets cluster: two hours of a probe between 7.68 and 10.23 degC would put an 0x03 into every
# sample, and each costs an escape. XOR with one octet a frame moves the cluster away from the three escaped octets.
# 0x00, 0x03, 0x7D, 0x7E are a group under XOR (0x03 ^ 0x7D = 0x7E), so the 64 masks with bits 0 and 6 clear lie in
# 64 different cosets and no octet value is unlucky under two of them: whatever the data, the best of the 64 leaves
# at most 1 octet in 64 to escape. The usual ones come first, picked to suit small numbers of either sign.
_USUAL_MASKS = (0x00, 0x20, 0x28, 0xA0, 0x94, 0x0C)
_ENOUGH = 300  # fewer than one escape in 300 octets: not worth another try
_PROMISED = 64


def mask_for(data):
    """Return the octet to XOR `data` with so that at most 1 octet in 64 needs escaping, mostly far fewer.

    Three C-speed counts a try; one to six tries in the usual case, 70 against the most awkward data.
    """
    best = 0
    fewest = len(data) + 1
    for i in range(6 + 256):
        mask = _USUAL_MASKS[i] if i < 6 else i - 6
        if mask & 0x41:
            continue
        if i >= 6 and fewest * _PROMISED <= len(data):
            break
        count = (
            data.count(bytes((0x03 ^ mask,))) + data.count(bytes((0x7D ^ mask,))) + data.count(bytes((0x7E ^ mask,)))
        )
        if count < fewest:
            best = mask
            fewest = count
            if count * _ENOUGH <= len(data):
                break
    return best


def masked(data, mask):
    """Return `data` with every octet XOR `mask`. One long-integer operation, so C speed on both interpreters."""
    if not mask or not data:
        return bytes(data)
    count = len(data)
    data = int.from_bytes(data, "little") ^ int.from_bytes(bytes((mask,)) * count, "little")
    return data.to_bytes(count, "little")
