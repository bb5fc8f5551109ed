"""A plain bench timer for the link's tests: everything in memory, every effect written down.

Runs on both interpreters. It is the model the link is judged by, so it is kept dull.
"""

import binascii

from shared_schedule import messages as m


class ModelTimer:
    """The handler a DeviceSession wants. `effects` lists what was done, in order."""

    def __init__(self, boot_id=1, room=m.PLAN_MAX, read_block=0):
        self.boot_id = boot_id
        self.room = room
        self.read_block = read_block
        self.plan = b""
        self.plan_id = 0
        self.effects = []
        self.streams = {m.STREAM_JOURNAL: b"", m.STREAM_SAMPLES: b"", m.STREAM_CRASH: b""}
        self.first = {}
        self.settings = {}
        self.notes = []
        self.clock = (0, 0, 0, 0)
        self.say_telemetry = True
        self.refuse_plan = None
        self.lifted = 0
        self.loop_worst_ms = 0

    def hello(self):
        return {
            "firmware": "0.1.0",
            "board_id": b"MODEL\x03}~",
            "boot_id": self.boot_id,
            "plan_id": self.plan_id,
            "running": 1 if self.plan else 0,
            "clock_ok": self.clock[3],
            "heap_free": 200000,
            "journal_octets": len(self.streams[m.STREAM_JOURNAL]),
            "samples_octets": len(self.streams[m.STREAM_SAMPLES]),
            "read_block": self.read_block,
        }

    def state(self):
        return {"plan_id": self.plan_id, "focus": 255, "steps": bytes(9 * 3)}

    def telemetry(self):
        if not self.say_telemetry:
            return None
        return {"at_s": 5, "bench_cdeg": 2150, "probe_cdeg": m.NO_READING, "left_s": -1}

    def plan_held(self):
        return (self.plan_id, binascii.crc32(self.plan)) if self.plan else (0, 0)

    def plan_room(self):
        return self.room

    def on_plan(self, data):
        if self.refuse_plan:
            return m.REFUSED, self.refuse_plan
        self.plan = bytes(data)
        self.plan_id = binascii.crc32(self.plan)
        self.effects.append(("plan", self.plan_id))
        return m.OK, ""

    def log_info(self, stream):
        if stream == m.STREAM_PLAN:
            return 0, len(self.plan)
        data = self.streams.get(stream)
        return None if data is None else (self.first.get(stream, 0), len(data))

    def log_read(self, stream, offset, n, into):
        data = self.plan if stream == m.STREAM_PLAN else self.streams[stream]
        part = data[offset : offset + n]
        into[: len(part)] = part
        self.lifted += len(part)
        return len(part)

    def log_drop(self, plan_id, stream, upto):
        self.first[stream] = upto
        self.effects.append(("drop", stream, upto))
        return m.OK, ""

    def clock_get(self):
        return self.clock

    def clock_set(self, now_s, ms, offset_min):
        self.clock = (now_s, ms, offset_min, 1)
        self.effects.append(("clock", now_s))
        return m.OK, ""

    def command(self, action, step_id, arg):
        if action > m.ACTION_FORGET_PLAN:
            raise ValueError(f"no action {action}")
        self.effects.append((action, step_id, arg))
        return m.OK, ""

    def note(self, text):
        self.notes.append(text)
        self.effects.append(("note", text))
        return m.OK, ""

    def setting_get(self, key):
        return self.settings.get(key)

    def setting_set(self, key, value):
        self.settings[key] = value
        self.effects.append(("setting", key, value))
        return m.OK, ""

    def counters(self):
        return {"uptime_s": 1, "boots": 1, "heap_free": 200000, "loop_worst_ms": self.loop_worst_ms}

    def self_test(self):
        return 1, "display ok\nprobe ok\n"
