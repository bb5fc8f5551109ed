"""The device's end of the link. Bytes in, bytes out; time is an input.

Job: hello, requests answered at most once, a plan pulled in, logs streamed out, telemetry dropped when it would
wait. It must not touch a port, a clock or a file: firmware moves the octets, the handler knows the day.

Guarantees are unequal, to keep this side small. Host to device: checked, numbered, sent again until answered, acted
on once. Device to host: checked, may be lost, so the host asks again. The one thing the device asks for by itself
is the missing part of a plan it was offered.

Illegal input (bad frames, unknown messages, cut or oversize fields, wrong session, old numbers) changes nothing.
"""

from shared_schedule import messages as m
from shared_schedule.framing import Deframer, encode
from shared_schedule.link_logs import LogsOut
from shared_schedule.link_plan import PlanIn
from shared_schedule.link_rules import (
    LISTENER_MS,
    REPLIES_MAX,
    SEQ_HALF,
    TELEMETRY_MS,
    clip,
    ms_since,
)


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
      * on_plan(data) -> (code, text) the whole plan as offered (bytearray or memoryview), its CRC checked; validates
                                      and stores it before it returns messages.OK, or returns another code and why;
                                      None: not yet, tick() calls plan_step() until that returns something else
      * plan_step() -> as on_plan
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
        self._logs = LogsOut(handler, self._reply, self._result)
        self._plans = PlanIn(handler, self._reply, self._logs)
        self._heard_ms = None
        self._telemetry_ms = 0
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
            if self._replies or not self._logs.reads:
                self._logs.follows = False
            if self._replies:
                self._out = encode(self._replies.pop(0))
            elif self._logs.reads:
                self._out = self._logs.frame(self._session)
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
        logs = self._logs
        waits = self._out_at < len(self._out) or bool(self._replies)
        return waits or bool(logs.reads) or logs.sum is not None or self.taking

    @property
    def taking(self):
        """True while a plan is being looked at: call tick() again at once."""
        return self._plans.pull is not None and self._plans.pull.taking

    def tick(self, now_ms):
        """Let time pass: ask again for plan parts, go on with a checksum, count telemetry that had to be dropped."""
        if self._logs.sum is not None:
            self._logs.sum_step()
        self._plans.tick(now_ms)
        if self.pending() and self._telemetry_due(now_ms):
            self._telemetry_ms = now_ms
            self.telemetry_dropped += 1

    def disconnected(self):
        """The port went away: forget what waits for it. Plan parts and the memory of the last request stay."""
        self._deframer.reset()
        self._replies = []
        self._out = b""
        self._out_at = 0
        self._logs.stop()
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
        if len(self._replies) < REPLIES_MAX:
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
            self._logs.forget()
            self._last_seq = 0
            self._last_reply = None
            self._replies = []
            self._logs.stop()
            self._plans.other_host()
        self._version_ok = values["major"] == m.PROTOCOL_MAJOR
        fields = self._handler.hello()
        fields["major"] = m.PROTOCOL_MAJOR
        fields["minor"] = m.PROTOCOL_MINOR
        self._reply(m.HELLO_REPLY, seq, fields)

    def _once(self, number, seq, values):
        """Do what has an effect, unless it was done already."""
        if seq == self._last_seq:
            self.repeats += 1
            if self._last_reply is not None and len(self._replies) < REPLIES_MAX:
                self._replies.append(self._last_reply)
            return
        if not 0 < (seq - self._last_seq) & 0xFFFF < SEQ_HALF:
            self.repeats += 1
            return  # a copy that was overtaken by later requests: its answer was given long ago
        handler = self._handler
        self._logs.forget()  # the effect may be on a log
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
            self._plans.offer(seq, values, now_ms)
        elif number == m.PLAN_DATA:
            self._plans.part(values, now_ms)
        elif number == m.LOG_READ:
            self._logs.read(seq, values)
        elif number == m.LOG_INFO:
            extent = handler.log_info(values["stream"])
            if extent is None:
                self._result(seq, m.UNKNOWN, "no stream %d" % values["stream"])
            else:
                self._reply(m.LOG_INFO_REPLY, seq, {"stream": values["stream"], "first": extent[0], "end": extent[1]})
        elif number == m.LOG_SUM:
            self._logs.summing(seq, values)
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
