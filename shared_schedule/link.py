"""The device's end of the link, and the constants both ends share. Bytes in, bytes out; time is an input.

Job: hello, requests answered at most once, a plan pulled in, logs streamed out, telemetry dropped when it would
wait. It must not touch a port, a clock or a file: firmware moves the octets, the handler knows the day.

Guarantees are unequal, to keep this side small. Host to device: checked, numbered, sent again until answered, acted
on once. Device to host: checked, may be lost, so the host asks again. The one thing the device asks for by itself
is the missing part of a plan it was offered.

Illegal input (bad frames, unknown messages, cut or oversize fields, wrong session, old numbers) changes nothing.
"""

import binascii

from shared_schedule import messages as m
from shared_schedule.framing import Deframer, encode

# Retry table. Times in ms. Each says what it waits for.
REPLY_MS = 600  # a sector erase stops the device up to 400 ms, a bulk frame ahead takes 125 ms at 115200, a screen 25
REPLY_TRIES = 8  # at bit errors 1e-3 and 5 % loss an exchange fails with 0.4: 8 tries leave 7 in 10 000
HELLO_MS = 300  # nothing can be queued ahead of its answer, and an unknown listener should be asked again soon
HELLO_TRIES = 12  # 3.6 s: a board that was just reset is back on USB after 1 to 2 s
BULK_SILENCE_MS = 700  # longest pause inside a window: erase 400 ms + a whole frame 125 ms + a busy loop pass
BULK_TRIES = 12  # silent or fruitless rounds in a row before the transfer counts as broken off
SLOW_MS = 15000  # self-test and the like, which the device does before it answers
PULL_MS = 250  # device: plan part asked for and not come; at 115200 the first octets take 5 ms
PULL_TRIES = 40  # device: 10 s, then it waits for the host to offer again
PULL_AHEAD = 4096  # device: most octets of plan asked for at once
TELEMETRY_MS = 1000  # the display's own pace
LISTENER_MS = 15000  # telemetry stops when the host was not heard for this long
PING_MS = 5000  # host: how often while it only watches; two of three pings may be lost
CHUNK_MIN = 32  # at bit errors 1e-3 a frame of 32+15 octets still passes with 0.68
SEQ_HALF = 0x8000
_REPLIES_MAX = 4  # replies waiting for the port; a host that does not read gets no more than these
_TICKS = 1 << 30  # MicroPython's ticks_ms wraps here


def ms_since(earlier, now):
    """Milliseconds from `earlier` to `now` on a counter that wraps at 2**30 (right up to 6.2 days apart)."""
    return (now - earlier + (_TICKS >> 1)) % _TICKS - (_TICKS >> 1)


class DeviceSession:
    """The device's end. Firmware does, over and over:

        session.feed(octets, now_ms)        # when the port had some; in blocks, not octet by octet
        session.tick(now_ms)                # at least every 50 ms
        waiting = session.output(now_ms)    # octets to write next, or b""
        session.sent(n)                     # n of them were taken by the port (0 is fine)

    `now_ms` is any millisecond counter, wrapping at 2**30 or not at all. Nothing here waits. At most four short
    replies or one log frame are held for a port that takes nothing; telemetry is not made while anything waits.

    `handler` has these methods. Those marked * may raise ValueError(text) (the value is refused: BAD_VALUE) or OSError
    (storage: STORAGE); the text reaches the host's user, at most 120 octets of it. Other exceptions pass through
    to the firmware, KeyboardInterrupt above all.

        hello() -> dict               fields of HELLO_REPLY but major and minor: firmware (str <= 24), board_id (8
                                      octets), boot_id, plan_id, running, clock_ok, heap_free, journal_octets,
                                      samples_octets, read_block
        state() -> dict               fields of STATE
        telemetry() -> dict or None   fields of TELEMETRY; None = nothing to say now
        plan_held() -> (plan_id, crc32 of its bytes)     (0, 0) when none is held
        plan_room() -> int            octets the device could take for a plan now
      * on_plan(data) -> (code, text) the whole plan as offered, checked against its CRC; validates and stores it
                                      before it returns messages.OK, or returns another code and why
        log_info(stream) -> (first, end) or None         extent; None = no such stream
      * log_read(stream, offset, n, into) -> count       copies at most n octets at offset into the memoryview
                                      `into`; 0 at the end. Called with n <= messages.CHUNK_MAX
      * log_drop(plan_id, stream, upto) -> (code, text)
        clock_get() -> (now_s, ms, offset_min, ok)
      * clock_set(now_s, ms, offset_min) -> (code, text)
      * command(action, step_id, arg) -> (code, text)    returns only when the effect is on flash
      * note(text) -> (code, text)
        setting_get(key) -> bytes or None
      * setting_set(key, value) -> (code, text)
        counters() -> dict            fields of COUNTERS but those this class counts itself
        self_test() -> (passed, text)
    """

    def __init__(self, handler):
        self._handler = handler
        self._deframer = Deframer(m.DEVICE_CAP)
        self._session = None  # none before the first hello: nothing but a hello is answered
        self._version_ok = False
        self._last_seq = 0
        self._last_reply = None
        self._replies = []
        self._out = b""
        self._out_at = 0
        self._follows = False
        self._reads = []
        self._sum = None
        self._served = None  # [stream, start, upto, crc32] of what was sent in one go: spares a second reading
        self._pull = None
        self._heard_ms = None
        self._telemetry_ms = 0
        self._buffer = bytearray(m.CHUNK_MAX)
        self._view = memoryview(self._buffer)
        self.repeats = 0
        self.telemetry_dropped = 0

    # -- octets -----------------------------------------------------------------------------------------------

    def feed(self, data, now_ms):
        """Take octets from the port."""
        for payload in self._deframer.feed(data):
            self._take(payload, now_ms)

    def output(self, now_ms):
        """Return the octets to write next, b"" when there are none; the same again until sent() tells of progress."""
        if self._out_at >= len(self._out):
            self._out = b""
            self._out_at = 0
            if self._replies or not self._reads:
                self._follows = False
            if self._replies:
                self._out = encode(self._replies.pop(0))
            elif self._reads:
                self._out = self._log_frame()
            elif self._telemetry_due(now_ms):
                self._telemetry_ms = now_ms
                values = self._handler.telemetry()
                if values is not None:
                    self._out = encode(m.encode(m.TELEMETRY, self._session, 0, values))
        return self._out[self._out_at :] if self._out_at else self._out

    def sent(self, count):
        """The port took `count` octets of what output() returned."""
        self._out_at += count

    def pending(self):
        """True while there is something to do: do not idle then, call tick() and output() again at once."""
        return self._out_at < len(self._out) or bool(self._replies) or bool(self._reads) or self._sum is not None

    def tick(self, now_ms):
        """Let time pass: ask again for plan parts, go on with a checksum, count telemetry that had to be dropped."""
        if self._sum is not None:
            self._sum_step()
        pull = self._pull
        if pull is not None and pull.outcome is None and pull.tries and ms_since(pull.asked_ms, now_ms) >= PULL_MS:
            pull.lost()
            pull.tries -= 1
            if pull.tries:
                self._ask(now_ms)
        if self.pending() and self._telemetry_due(now_ms):
            self._telemetry_ms = now_ms
            self.telemetry_dropped += 1

    def disconnected(self):
        """The port went away: forget what waits for it. Plan parts and the memory of the last request stay."""
        self._deframer.reset()
        self._replies = []
        self._out = b""
        self._out_at = 0
        self._reads = []
        self._sum = None
        self._heard_ms = None

    def _telemetry_due(self, now_ms):
        if self._heard_ms is None:
            return False
        if ms_since(self._heard_ms, now_ms) >= LISTENER_MS:
            self._heard_ms = None
            return False
        return ms_since(self._telemetry_ms, now_ms) >= TELEMETRY_MS

    def _reply(self, number, seq, values):
        payload = m.encode(number, self._session, seq, values)
        if len(self._replies) < _REPLIES_MAX:
            self._replies.append(payload)
        return payload

    def _result(self, seq, code, text=""):
        return self._reply(m.RESULT, seq, {"code": code, "text": clip(text, m.TEXT_MAX)})

    # -- requests ---------------------------------------------------------------------------------------------

    def _take(self, payload, now_ms):
        try:
            number, session, seq, values = m.decode(payload)
        except m.MessageError as problem:
            self._refuse_unreadable(payload, problem)
            return
        if m.direction_of(number) != ">":
            return
        if number == m.HELLO:
            self._heard_ms = now_ms
            self._hello(session, seq, values)
            return
        if session != self._session:
            return  # an old connection's octets, or a host that did not say hello
        self._heard_ms = now_ms
        if not self._version_ok:
            mine = (m.PROTOCOL_MAJOR, m.PROTOCOL_MINOR)
            self._result(seq, m.WRONG_VERSION, "the device speaks protocol %d.%d" % mine)
            return
        if m.has_effect(number):
            self._once(number, seq, values)
        else:
            self._answer(number, seq, values, now_ms)

    def _refuse_unreadable(self, payload, problem):
        try:
            number, session, seq = m.header(payload)
        except m.MessageError:
            return
        # Named only to a host we are in conversation with, and never for what a device would send.
        if session == self._session and m.direction_of(number) != "<":
            self._result(seq, m.UNKNOWN if not m.direction_of(number) else m.BAD_VALUE, str(problem))

    def _hello(self, session, seq, values):
        if session != self._session:
            self._session = session
            self._served = None
            self._last_seq = 0
            self._last_reply = None
            self._replies = []
            self._reads = []
            self._sum = None
            if self._pull is not None:
                self._pull.tries = 0  # kept, but silent until this host offers the same plan
        self._version_ok = values["major"] == m.PROTOCOL_MAJOR
        fields = self._handler.hello()
        fields["major"] = m.PROTOCOL_MAJOR
        fields["minor"] = m.PROTOCOL_MINOR
        self._reply(m.HELLO_REPLY, seq, fields)

    def _once(self, number, seq, values):
        """Do what has an effect, unless it was done already."""
        if seq == self._last_seq:
            self.repeats += 1
            if self._last_reply is not None and len(self._replies) < _REPLIES_MAX:
                self._replies.append(self._last_reply)
            return
        if not 0 < (seq - self._last_seq) & 0xFFFF < SEQ_HALF:
            self.repeats += 1
            return  # a copy that was overtaken by later requests: its answer was given long ago
        handler = self._handler
        self._served = None  # the effect may be on a log
        try:
            if number == m.COMMAND:
                code, text = handler.command(values["action"], values["step_id"], values["arg"])
            elif number == m.NOTE:
                code, text = handler.note(values["text"])
            elif number == m.SETTING_SET:
                code, text = handler.setting_set(values["key"], values["value"])
            elif number == m.CLOCK_SET:
                code, text = handler.clock_set(values["now_s"], values["ms"], values["offset_min"])
            else:
                code, text = handler.log_drop(values["plan_id"], values["stream"], values["upto"])
        except ValueError as problem:
            code, text = m.BAD_VALUE, str(problem)
        except OSError as problem:
            code, text = m.STORAGE, str(problem)
        self._last_seq = seq
        self._last_reply = self._result(seq, code, text)

    def _answer(self, number, seq, values, now_ms):
        handler = self._handler
        if number == m.PING:
            self._result(seq, m.OK)
        elif number == m.STATE_GET:
            self._reply(m.STATE, seq, handler.state())
        elif number == m.PLAN_OFFER:
            self._offer(seq, values, now_ms)
        elif number == m.PLAN_DATA:
            self._part(values, now_ms)
        elif number == m.LOG_READ:
            self._read(seq, values)
        elif number == m.LOG_INFO:
            extent = handler.log_info(values["stream"])
            if extent is None:
                self._result(seq, m.UNKNOWN, "no stream %d" % values["stream"])
            else:
                self._reply(m.LOG_INFO_REPLY, seq, {"stream": values["stream"], "first": extent[0], "end": extent[1]})
        elif number == m.LOG_SUM:
            if self._extent_holds(seq, values) and (self._sum is None or self._sum[0] != seq):
                self._sum = self._sum_begun(seq, values["stream"], values["offset"], values["length"])
        elif number == m.CLOCK_GET:
            now_s, ms, offset_min, ok = handler.clock_get()
            self._reply(m.CLOCK, seq, {"now_s": now_s, "ms": ms, "offset_min": offset_min, "ok": ok})
        elif number == m.SETTING_GET:
            value = handler.setting_get(values["key"])
            if value is None:
                self._result(seq, m.UNKNOWN, "no setting of that name")
            else:
                self._reply(m.SETTING, seq, {"key": values["key"], "value": value})
        elif number == m.COUNTERS_GET:
            fields = handler.counters()
            fields["frames_in"] = self._deframer.frames
            fields["frames_bad"] = self._deframer.damaged + self._deframer.overruns
            fields["noise_octets"] = self._deframer.noise_octets
            fields["repeats"] = self.repeats
            fields["telemetry_dropped"] = self.telemetry_dropped
            self._reply(m.COUNTERS, seq, fields)
        elif number == m.SELF_TEST:
            passed, text = handler.self_test()
            self._reply(m.SELF_TEST_REPLY, seq, {"passed": passed, "text": clip(text, 480)})

    # -- plan in ----------------------------------------------------------------------------------------------

    def _offer(self, seq, values, now_ms):
        plan_id, length, crc = values["plan_id"], values["length"], values["crc32"]
        pull = self._pull
        if pull is not None and (pull.plan_id, pull.length, pull.crc) == (plan_id, length, crc):
            if pull.outcome is not None and seq == pull.seq and self._handler.plan_held() == (plan_id, crc):
                self._plan_answer(seq, plan_id, pull.outcome[0], pull.outcome[1])  # the answer was lost
                return
            if pull.outcome is None:  # broken off, or our question was lost: go on where it stopped
                pull.tries = PULL_TRIES
                pull.seq = seq
                self._ask(now_ms)
                return
        if self._handler.plan_held() == (plan_id, crc):
            self._plan_answer(seq, plan_id, m.ALREADY, "")
            return
        room = min(m.PLAN_MAX, self._handler.plan_room())
        if length > room:
            text = "the plan has %d octets, the device has room for %d" % (length, room)
            self._plan_answer(seq, plan_id, m.TOO_LARGE, text)
            return
        if not length or not plan_id:
            self._plan_answer(seq, plan_id, m.BAD_VALUE, "an empty plan")
            return
        self._pull = _Pull(plan_id, length, crc, seq)
        self._ask(now_ms)

    def _plan_answer(self, seq, plan_id, code, text, offset=0, count=0, chunk=0):
        values = {"plan_id": plan_id, "code": code, "text": clip(text, m.TEXT_MAX)}
        values["offset"] = offset
        values["count"] = count
        values["chunk"] = chunk
        self._reply(m.PLAN_ANSWER, seq, values)

    def _ask(self, now_ms):
        pull = self._pull
        pull.asked_ms = now_ms
        pull.asked_to = min(pull.length, pull.got + pull.ahead)
        self._plan_answer(pull.seq, pull.plan_id, m.WANT, "", pull.got, pull.asked_to - pull.got, pull.chunk)

    def _part(self, values, now_ms):
        pull = self._pull
        if pull is None or not pull.tries or pull.outcome is not None or values["plan_id"] != pull.plan_id:
            return
        offset, data = values["offset"], values["data"]
        end = offset + len(data)
        if offset > pull.got:  # a part between was lost; ask once, further parts of this round are no news
            if pull.gap_at != pull.got:
                pull.lost()
                pull.gap_at = pull.got
                self._ask(now_ms)
            return
        if end <= pull.got or end > pull.length:
            return
        pull.data[offset:end] = m.masked(data, values["mask"])
        pull.got = end
        pull.asked_ms = now_ms
        pull.tries = PULL_TRIES
        if end < pull.length:
            if end >= pull.asked_to:
                pull.gained()
                self._ask(now_ms)
            return
        data = bytes(pull.data)
        self._served = None  # a new plan begins new logs
        if binascii.crc32(data) != pull.crc:
            pull.got = 0  # frames are checked, so this is a host that changed its mind: start over
            self._ask(now_ms)
            return
        try:
            code, text = self._handler.on_plan(data)
        except ValueError as problem:
            code, text = m.BAD_VALUE, str(problem)
        except OSError as problem:
            code, text = m.STORAGE, str(problem)
        pull.outcome = (code, text)
        pull.data = None  # stored now; the memory is wanted elsewhere
        self._plan_answer(pull.seq, pull.plan_id, code, text)
        if code != m.OK:
            self._pull = None  # so that the same plan may be offered again when the reason is gone

    # -- logs out ---------------------------------------------------------------------------------------------

    def _extent_holds(self, seq, values):
        """True when the range asked for can be read; else the refusal is queued."""
        extent = self._handler.log_info(values["stream"])
        if extent is None:
            self._result(seq, m.UNKNOWN, "no stream %d" % values["stream"])
        elif values["offset"] < extent[0] or values["offset"] + values["length"] > extent[1]:
            self._result(seq, m.BAD_VALUE, "octets %d to %d can be read" % extent)
        else:
            return True
        return False

    def _read(self, seq, values):
        if values["fresh"]:
            self._reads = []
        for read in self._reads:
            if read[0] == seq:
                return
        if len(self._reads) >= 2 or not self._extent_holds(seq, values):
            return
        chunk = min(max(values["chunk"], CHUNK_MIN), m.CHUNK_MAX)
        self._reads.append([seq, values["stream"], values["offset"], values["offset"] + values["length"], chunk, 0])

    def _log_frame(self):
        read = self._reads[0]
        seq, stream, offset, end, chunk, crc = read
        count = 0
        if offset < end:
            try:
                count = self._handler.log_read(stream, offset, min(chunk, end - offset), self._view)
            except (OSError, ValueError):
                pass  # LOG_END tells the host how far it got
        if not count:
            self._reads.pop(0)
            self._follows = False
            return encode(m.encode(m.LOG_END, self._session, seq, {"end": offset, "crc32": crc}))
        data = bytes(self._view[:count])
        read[2] = offset + count
        read[5] = binascii.crc32(data, crc)
        served = self._served
        if served is None or served[0] != stream or offset < served[1]:
            self._served = [stream, offset, offset + count, binascii.crc32(data)]
        elif served[2] == offset:
            served[2] = offset + count
            served[3] = binascii.crc32(data, served[3])
        mask = m.mask_for(data)
        values = {"offset": offset, "mask": mask, "data": m.masked(data, mask)}
        follows = self._follows  # its flag closed the frame before, and opens this one
        self._follows = True
        return encode(m.encode(m.LOG_DATA, self._session, seq, values), not follows)

    def _sum_begun(self, seq, stream, offset, length):
        end = offset + length
        served = self._served
        if served is not None and served[0] == stream and served[1] == offset and served[2] <= end:
            return [seq, stream, served[2], end, served[3]]
        return [seq, stream, offset, end, 0]

    def _sum_step(self):
        """Go on by a few KiB, so that no pass of the loop is held up by a long log."""
        seq, stream, offset, end, crc = self._sum
        for _ in range(4):
            count = 0
            if offset < end:
                try:
                    count = self._handler.log_read(stream, offset, min(m.CHUNK_MAX, end - offset), self._view)
                except (OSError, ValueError):
                    pass
            if not count:
                self._sum = None
                self._reply(m.LOG_SUM_REPLY, seq, {"stream": stream, "end": offset, "crc32": crc})
                return
            crc = binascii.crc32(self._view[:count], crc)
            offset += count
        self._sum[2] = offset
        self._sum[4] = crc


class _Pull:
    """A plan on its way in."""

    def __init__(self, plan_id, length, crc, seq):
        self.plan_id = plan_id
        self.length = length
        self.crc = crc
        self.seq = seq
        self.data = bytearray(length)
        self.got = 0
        self.asked_to = 0
        self.asked_ms = 0
        self.gap_at = -1
        self.tries = PULL_TRIES
        self.chunk = m.PLAN_CHUNK_MAX
        self.ahead = PULL_AHEAD
        self.outcome = None

    def lost(self):
        """Something did not come: ask for less, in smaller parts."""
        self.chunk = max(CHUNK_MIN, self.chunk // 2)
        self.ahead = max(4 * self.chunk, self.ahead // 4)
        self.gap_at = -1

    def gained(self):
        """All that was asked for came: ask for more."""
        self.chunk = min(m.PLAN_CHUNK_MAX, self.chunk * 2)
        self.ahead = min(PULL_AHEAD, self.ahead * 2)


def clip(text, octets):
    """Return text cut so that its UTF-8 form has at most `octets` octets, at a character's boundary."""
    data = text.encode()
    if len(data) <= octets:
        return text
    while octets and data[octets] & 0xC0 == 0x80:
        octets -= 1
    return str(data[:octets], "utf-8")
