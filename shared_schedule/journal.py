"""Journal records: bytes and back; `history` says what they lead to. No file in here; the firmware's store writes.

A record is [type u8][len u8][payload][crc32 u32], all little-endian, the CRC-32 (ISO-HDLC) over type, len and payload.
Payload begins with seq u32 and at_s u32; the body follows as BODIES says. A torn or damaged record never reads as
another: the reader stops there, or goes on at the next whole record when asked to, and counts what it left out.

From format 2 on a journal begins with a FORMAT record; without one it is format 1. A whole record of a type that is not
known is passed over, and so is what stands after the known part of a body: both may be added without a new number.
"""

import binascii
import struct
from collections import namedtuple

from shared_schedule.states import FX_JOURNAL_STEP, FX_JOURNAL_TICK

BOOT = 1
PLAN = 2
STEP = 3
TICK = 4
ALARM = 5
ACK = 6
BEND = 7
CLOCK = 8
FAULT = 9
NOTE = 10
FINISHED = 11
CRASH = 12
AIR = 13
LOST = 14
FORMAT = 15
CHANNEL = 16

VERSION = 2  # the newest format; every one from 1 on is read

TEXT = "*"  # UTF-8 text, to the end of the body
BODIES = {
    BOOT: "BBBBB",  # reset cause, clock ok, major, minor, patch
    PLAN: "IH",  # plan id, length in bytes
    STEP: "BBBB",  # step id, from, to, cause
    TICK: "BBB",  # step id, n, on
    ALARM: "BBh",  # kind, step id, cdeg
    ACK: "BB",  # kind, step id
    BEND: "hBB",  # cdeg, verdict, step id
    CLOCK: "II",  # old, new
    FAULT: "BB",  # channel, fault
    NOTE: TEXT,
    FINISHED: "B",  # 0
    CRASH: TEXT,
    AIR: "hB",  # cdeg, relative humidity in percent
    LOST: "BI",  # what, bytes
    FORMAT: "B",  # format number of this journal from here on
    CHANNEL: "BBBBB*",  # number, kind, place, paton, curve; name
}

TEXT_CAP = 100  # bytes of UTF-8 in a note or crash line
OVERHEAD = 14  # type, len, seq, at_s, crc

# Alarm kinds. Numbers are never reused.
STEP_DUE = 1
WINDOW_SOON = 2
WINDOW_LEFT_WARM = 3
WINDOW_LEFT_COLD = 4
SENSOR_FAULT = 5
PROOF_CAP = 6
HOLD_MAX = 7
CLOCK_UNKNOWN = 8
REST_DONE = 9
OVEN_EMPTY = 10
LOW_MEMORY = 11
SLIP = 12

_LIMITS = {"B": (0, 255), "H": (0, 65535), "h": (-32768, 32767), "I": (0, 0xFFFFFFFF)}

Record = namedtuple("Record", ("type", "seq", "at_s", "body"))


def encode(kind, seq, at_s, *body):
    """Return one record's bytes. Raises ValueError when a value does not fit its field (struct would wrap it)."""
    if kind not in BODIES:
        raise ValueError("no journal record has type %d" % kind)
    form = BODIES[kind]
    if len(body) != len(form):
        raise ValueError("journal record %d has %d fields, got %d" % (kind, len(form), len(body)))
    raw = b""
    for place in range(len(form)):
        if form[place] == TEXT:
            raw += clip_text(body[place], TEXT_CAP - len(raw)).encode()
        else:
            _check(kind, place, form[place], body[place])
            raw += struct.pack("<" + form[place], body[place])
    _check(kind, "seq", "I", seq)
    _check(kind, "at_s", "I", at_s)
    head = struct.pack("<BBII", kind, 8 + len(raw), seq, at_s) + raw
    return head + struct.pack("<I", binascii.crc32(head) & 0xFFFFFFFF)


def _check(kind, place, letter, value):
    low, high = _LIMITS[letter]
    if value < low or value > high:
        raise ValueError("journal record %d, field %s: %d is not in %d..%d" % (kind, place, value, low, high))


def clip_text(text, cap):
    """Return text without control characters, cut at a whole character to at most `cap` bytes of UTF-8."""
    clean = "".join([char if ord(char) >= 32 and not 127 <= ord(char) < 160 else " " for char in text[:cap]])
    while len(clean.encode()) > cap:
        clean = clean[:-1]
    return clean


class Reader:
    """Iterator over records in bytes. `unread` is the number of bytes given up, `at` where the reader stands."""

    def __init__(self, data, offset=0, skip_damage=False):
        self.data = data
        self.at = offset
        self.unread = 0
        self.skip_damage = skip_damage
        self.stopped = False

    def __iter__(self):
        return self

    def __next__(self):
        size = len(self.data)
        lost = 0
        while self.at < size and not self.stopped:
            record, length = _parse(self.data, self.at)
            self.at += length
            if record is not None:
                self.unread += lost
                if record.type == FORMAT and record.body[0] > VERSION:
                    raise ValueError("the journal has format %d; update the older side" % record.body[0])
                return record
            if length:
                continue  # whole, and of a type that is not known
            if not self.skip_damage:
                break
            self.at += 1
            lost += 1
        if not self.stopped:
            self.unread += size - self.at + lost
            self.stopped = True
        raise StopIteration


def read(data, offset=0, skip_damage=False):
    """Return a Reader: iterate for Record(type, seq, at_s, body); then `.unread` says how many bytes were not read.

    It stops at the first damaged record; with `skip_damage` it goes on at the next whole one.
    """
    return Reader(data, offset, skip_damage)


def _parse(data, at):
    """Return (record, octets): (None, octets) for a type not known, (None, 0) if no sound record begins at `at`."""
    if at + OVERHEAD > len(data):
        return None, 0
    kind = data[at]
    size = data[at + 1]
    end = at + 2 + size
    if not kind or size < 8 or size > 8 + TEXT_CAP or end + 4 > len(data):
        return None, 0
    head = bytes(data[at:end])
    if struct.unpack("<I", bytes(data[end : end + 4]))[0] != binascii.crc32(head) & 0xFFFFFFFF:
        return None, 0
    form = BODIES.get(kind)
    if form is None:
        return None, 6 + size
    numbers = "<" + form.rstrip(TEXT)
    end = 10 + struct.calcsize(numbers)
    if end > len(head):
        return None, 0
    body = struct.unpack(numbers, head[10:end])
    if form[-1] == TEXT:
        try:
            body += (head[end:].decode(),)
        except UnicodeError:
            return None, 0
    seq, at_s = struct.unpack("<II", head[2:10])
    return Record(kind, seq, at_s, body), 6 + size


def step_record(seq, at_s, effect):
    """Return the record of an FX_JOURNAL_STEP or FX_JOURNAL_TICK effect."""
    kind, step_id, arg = effect
    if kind == FX_JOURNAL_STEP:
        return encode(STEP, seq, at_s, step_id, arg[0], arg[1], arg[2])
    if kind == FX_JOURNAL_TICK:
        return encode(TICK, seq, at_s, step_id, arg[0], arg[1])
    raise ValueError("effect %d is not journaled" % kind)
