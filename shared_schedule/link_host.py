"""The host's end of the link: bytes in, events out; time is an input. The device does not load this module.

Theory of operation. One job at a time: a greeting, a request, a plan to send or a log to fetch. A job ends in exactly
one event, DONE or FAILED. Replies carry the seq they answer, so a late or doubled reply is told apart. After silence
the request is sent again under the same seq, which the device acts on once. After a second silence a hello goes
first, because what listens may have become a prompt, and a hello is the only frame that is harmless there; it also
shows by its boot id whether the device restarted, which fails the job as "rebooted": what the device remembered of
the last request is gone, so the caller must greet again and ask for the state before doing anything.
"""

import binascii
from collections import namedtuple

from shared_schedule import link_jobs
from shared_schedule import messages as m
from shared_schedule.framing import FLAG, Deframer, encode, encode_quiet
from shared_schedule.link_jobs import Greeting, LogIn, PlanOut, Request
from shared_schedule.link_rules import HELLO_MS, HELLO_TRIES, REPLY_MS, ms_since

# Events. `number` is a message number or 0, `values` a dict, an int pair or octets.
PROGRESS = link_jobs.PROGRESS
DONE = "done"  # the job's reply (number, values); for a log its octets are in take_log()
FAILED = "failed"  # values["reason"]: silent | rebooted | refused (with code, text)
TELEMETRY = "telemetry"
NOISE = "noise"  # values = octets that were no frame, NOT sanitised
PROMPT = "prompt"  # a MicroPython prompt answers instead of the application
Event = namedtuple("Event", ("kind", "number", "values"))

HELLO_BLOCK = 64  # a device that reads in blocks must get whole blocks, before it could say so
_FILLERS = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"


def hello_frame(session, seq=0, major=m.PROTOCOL_MAJOR, minor=m.PROTOCOL_MINOR):
    """Return a hello of printable octets only, filled with flags to whole blocks. Both octets of session < 0x80."""
    for i in range(52 * 52 * 52):
        filler = bytes((_FILLERS[i % 52], _FILLERS[i // 52 % 52], _FILLERS[i // 2704], 0x41))
        frame = encode_quiet(m.encode(m.HELLO, session, seq, {"major": major, "minor": minor, "filler": filler}))
        if frame is not None:
            return fill(frame, HELLO_BLOCK)
    raise ValueError("session %d has no printable hello" % session)


def quiet_session(number):
    """Map any integer to a session whose hello can be printable: two capital or small letters."""
    return _FILLERS[number % 52] | _FILLERS[number // 52 % 52] << 8


def next_session(session):
    """Return another of quiet_session's values."""
    return quiet_session(_FILLERS.index(bytes((session & 0xFF,))) + 52 * _FILLERS.index(bytes((session >> 8,))) + 1)


def fill(octets, block):
    """Fill with flags to a multiple of `block` octets."""
    short = -len(octets) % block
    return octets + FLAG * short


class HostSession:
    """The host's end. The client does, over and over: feed(), tick(), and writes what output() returns.

    `session` is from quiet_session(); choose it at random for each connection. Raises RuntimeError when a job is
    started while another is under way (local misuse).
    """

    def __init__(self, session):
        self.session = session
        self.device = None  # fields of the last HELLO_REPLY
        self.read_block = 1
        self.deframer = Deframer(m.HOST_CAP)
        self.counters = {"resent": 0, "hellos": 0, "stray": 0, "illegal": 0, "mismatched": 0}
        self._hello = hello_frame(session)
        self._seq = 0
        self._job = None
        self._probing = False
        self._hellos_left = 0
        self._due_ms = None  # when the job, or the hello, has been silent too long
        self._queue = []
        self._events = []
        self._prompt = False

    # -- jobs -------------------------------------------------------------------------------------------------

    @property
    def busy(self):
        """True while a job is under way."""
        return self._job is not None

    def hello(self):
        """Greet. DONE brings HELLO_REPLY; the caller judges the version."""
        self._start(Greeting())
        self._begin_probe()

    def request(self, number, values=None, patience_ms=REPLY_MS):
        """Ask. DONE brings the reply, be it a RESULT or one of the number's own kind."""
        seq = self.next_seq()
        self._start(Request(seq, number, m.encode(number, self.session, seq, values), patience_ms))

    def send_plan(self, plan_id, data):
        """Offer a plan. DONE brings the closing PLAN_ANSWER, with its code (ok, already, or why not).

        ValueError when the id is not the plan's CRC-32.
        """
        if plan_id != binascii.crc32(data):
            raise ValueError("the id of a plan is its CRC-32, and %08x is another" % plan_id)
        seq = self.next_seq()
        values = {"plan_id": plan_id, "length": len(data), "crc32": plan_id}
        self._start(PlanOut(self, seq, m.encode(m.PLAN_OFFER, self.session, seq, values), plan_id, bytes(data)))

    def fetch(self, stream, start, end):
        """Fetch octets start..end of a stream. PROGRESS as they come; then take_log() has them."""
        if not 0 <= start <= end or end - start > m.LOG_MAX:
            raise ValueError("octets %d to %d are no log" % (start, end))
        self._start(LogIn(self, stream, start, end))

    def take_log(self):
        """Return (start, octets) of the unbroken part at the start of the running fetch; also after it failed."""
        return self._log.unbroken()

    def cancel(self):
        """Give the job up without an event."""
        self._job = None
        self._probing = False
        self._queue = []

    def _start(self, job):
        if self._job is not None:
            raise RuntimeError("the link has a job under way")
        self._job = job
        self._probing = False
        self._due_ms = None
        if isinstance(job, LogIn):
            self._log = job
        job.begin(self)

    def next_seq(self):
        """For jobs: the next request's number."""
        self._seq = self._seq % 0xFFFF + 1
        return self._seq

    # -- octets and time --------------------------------------------------------------------------------------

    def output(self, now_ms):
        """Return octets to be written now, all of them, or b"". They count as sent."""
        if self._queue:
            octets = self._queue.pop(0)
            self._due_ms = None
        elif self._job is not None and not self._probing:
            octets = self._job.more(self)
        else:
            octets = None
        if not octets:
            return b""
        self._touch(now_ms)
        return fill(octets, self.read_block) if self.read_block > 1 else octets

    def feed(self, data, now_ms):
        """Take octets from the port; then read events()."""
        for payload in self.deframer.feed(data):
            self._take(payload, now_ms)
        noise = self.deframer.take_noise()
        if noise:
            self._events.append(Event(NOISE, 0, noise))
        if self.deframer.tail().endswith(b">>> "):
            self._saw_prompt()

    def events(self):
        """Return the events since the last call."""
        events = self._events
        self._events = []
        return events

    def tick(self, now_ms):
        """Let time pass; must be called at least every 50 ms while busy."""
        if self._job is None:
            return
        if self._due_ms is None:
            self._touch(now_ms)
        if ms_since(self._due_ms, now_ms) < 0:
            return
        if self._probing:
            self._hellos_left -= 1
            if self._hellos_left <= 0:
                self._fail({"reason": "silent"})
            else:
                self._send_hello()
            return
        job = self._job
        job.silences += 1
        job.tries -= 1
        if job.tries <= 0:
            self._fail({"reason": "silent"})
        elif job.silences >= 2 and not self._probing:
            self._begin_probe()
        else:
            self.counters["resent"] += 1
            self._due_ms = None
            job.again(self)

    def queue(self, payload):
        """For jobs: put a payload on its way."""
        self._queue.append(encode(payload))

    def emit(self, kind, number, values):
        """For jobs: report progress."""
        self._events.append(Event(kind, number, values))

    def finish(self, number, values):
        """For jobs: end well."""
        self._job = None
        self._events.append(Event(DONE, number, values))

    def _fail(self, values):
        self._job = None
        self._probing = False
        self._queue = []
        self._events.append(Event(FAILED, 0, values))

    def refused(self, values):
        """For jobs: the device said no."""
        self._fail({"reason": "refused", "code": values["code"], "text": values["text"]})

    def _touch(self, now_ms):
        self._due_ms = now_ms + (HELLO_MS if self._probing else self._job.patience_ms if self._job else 0)

    def _begin_probe(self):
        self._probing = True
        self._hellos_left = HELLO_TRIES
        self._send_hello()

    def _send_hello(self):
        self.counters["hellos"] += 1
        self._queue = [self._hello]
        self._due_ms = None

    def _saw_prompt(self):
        if not self._prompt:
            self._prompt = True
            self._events.append(Event(PROMPT, 0, {}))

    # -- what comes in ----------------------------------------------------------------------------------------

    def _take(self, payload, now_ms):
        try:
            number, session, seq, values = m.decode(payload)
        except m.MessageError:
            self.counters["illegal"] += 1
            return
        if session != self.session:
            self.counters["stray"] += 1
            return
        if m.direction_of(number) == ">":
            self._saw_prompt()  # our own frame came back: a prompt, or a modem, that echoes
            return
        if number == m.TELEMETRY:
            self._events.append(Event(TELEMETRY, number, values))
            return
        if number == m.HELLO_REPLY:
            self._greeted(values, now_ms)
            return
        job = self._job
        if job is None or self._probing or not job.take(self, number, seq, values):
            self.counters["stray"] += 1
            return
        if self._job is job:
            job.silences = 0
            self._touch(now_ms)

    def _greeted(self, values, now_ms):
        before = self.device
        self.device = values
        self.read_block = max(1, values["read_block"])
        self._prompt = False
        if self._job is None or not self._probing:
            return
        self._probing = False
        self._queue = []
        if isinstance(self._job, Greeting):
            self.finish(m.HELLO_REPLY, values)
        elif before is None or before["boot_id"] != values["boot_id"]:
            # A new session, so that a late copy of an old request means nothing to a device that forgot it.
            self.session = next_session(self.session)
            self._hello = hello_frame(self.session)
            self._fail({"reason": "rebooted"})
        else:
            self._job.again(self)
            self._touch(now_ms)
