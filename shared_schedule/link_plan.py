"""The device's end of a plan transfer: offered by the host, pulled by the device, stored when whole."""

import binascii

from shared_schedule import messages as m
from shared_schedule.link_rules import CHUNK_MIN, PULL_AHEAD, PULL_MS, PULL_TRIES, clip, ms_since

ROOM = 4096  # octets of a plan that are always there; 48 steps have 3,300. A longer one is taken when memory allows
SHORT_MAX = 8
NO_MEMORY = "there is no memory for it; the old plan goes on. Unplug the timer, plug it in again, and repeat"


class PlanIn:
    """`reply(number, seq, values)` queues an answer; `logs` is told when a new plan makes its memory worthless."""

    def __init__(self, handler, reply, logs):
        self._handler = handler
        self._reply = reply
        self._logs = logs
        self.pull = None  # at most one
        self._room = bytearray(ROOM)  # had at boot: in mid-day it may not be found in one piece

    def other_host(self):
        """Another host said hello: keep what has come, but ask for nothing until it offers the same plan."""
        if self.pull is not None:
            self.pull.tries = 0

    def tick(self, now_ms):
        """Ask again for what has not come."""
        pull = self.pull
        if pull is not None and pull.taking:
            self._take_further(pull, now_ms)
        elif pull is not None and pull.outcome is None and pull.tries and ms_since(pull.asked_ms, now_ms) >= PULL_MS:
            pull.lost()
            pull.tries -= 1
            if pull.tries:
                self._ask(pull, now_ms)

    def offer(self, seq, values, now_ms):
        plan_id, length, crc = values["plan_id"], values["length"], values["crc32"]
        pull = self.pull
        if pull is not None and (pull.plan_id, pull.length, pull.crc) == (plan_id, length, crc):
            if pull.outcome is not None and seq == pull.seq and self._handler.plan_held() == (plan_id, crc):
                self._answer(seq, plan_id, pull.outcome[0], pull.outcome[1])  # the answer was lost
                return
            if pull.taking:
                pull.seq = seq
                self._ask(pull, now_ms)
                return
            if pull.outcome is None:  # broken off, or our question was lost: go on where it stopped
                pull.tries = PULL_TRIES
                pull.seq = seq
                self._ask(pull, now_ms)
                return
        if pull is not None and pull.taking:
            self._answer(seq, plan_id, m.BUSY, "another plan is being taken; repeat in some seconds")
            return
        if self._handler.plan_held() == (plan_id, crc):
            self._answer(seq, plan_id, m.ALREADY, "")
            return
        room = min(m.PLAN_MAX, self._handler.plan_room())
        if length > room:
            text = "the plan has %d octets, the device has room for %d" % (length, room)
            self._answer(seq, plan_id, m.TOO_LARGE, text)
            return
        if not length or not plan_id:
            self._answer(seq, plan_id, m.BAD_VALUE, "an empty plan")
            return
        if plan_id != crc:
            self._answer(seq, plan_id, m.BAD_VALUE, "the id of a plan is its CRC-32, and this is another")
            return
        self.pull = None  # an unfinished one makes room
        try:
            self.pull = pull = Pull(plan_id, length, crc, seq, self._room)
        except MemoryError:
            self._answer(seq, plan_id, m.TOO_LARGE, NO_MEMORY)
            return
        self._ask(pull, now_ms)

    def _answer(self, seq, plan_id, code, text, offset=0, count=0, chunk=0):
        values = {"plan_id": plan_id, "code": code, "text": clip(text, m.TEXT_MAX)}
        values["offset"] = offset
        values["count"] = count
        values["chunk"] = chunk
        self._reply(m.PLAN_ANSWER, seq, values)

    def _ask(self, pull, now_ms):
        pull.asked_ms = now_ms
        pull.asked_to = min(pull.length, pull.got + pull.ahead)
        self._answer(pull.seq, pull.plan_id, m.WANT, "", pull.got, pull.asked_to - pull.got, pull.chunk)

    def part(self, values, now_ms):
        pull = self.pull
        if pull is None or not pull.tries or pull.taking or pull.outcome is not None:
            return
        if values["plan_id"] != pull.plan_id:
            return
        offset, data = values["offset"], values["data"]
        end = offset + len(data)
        if offset > pull.got:  # a part between was lost; ask once, further parts of this round are no news
            if pull.gap_at != pull.got:
                pull.lost()
                pull.gap_at = pull.got
                self._ask(pull, now_ms)
            return
        if end <= pull.got or end > pull.length:
            return
        try:
            pull.data[offset:end] = m.masked(data, values["mask"])
        except MemoryError:  # in pieces: what is smaller may fit
            pull.lost()
            pull.short += 1
            if pull.short > SHORT_MAX:
                self._refuse(pull, m.TOO_LARGE, NO_MEMORY)
            else:
                self._ask(pull, now_ms)
            return
        pull.got = end
        pull.asked_ms = now_ms
        pull.tries = PULL_TRIES
        if end < pull.length:
            if end >= pull.asked_to:
                pull.gained()
                self._ask(pull, now_ms)
            return
        data = pull.data  # itself, no copy: there may not be memory for a second one
        self._logs.forget()  # a new plan begins new logs
        if binascii.crc32(data) != pull.crc:
            pull.got = 0  # frames are checked, so this is a host that changed its mind: start over
            self._ask(pull, now_ms)
            return
        pull.taking = True
        self._outcome(pull, self._tried(self._handler.on_plan, data))

    def _take_further(self, pull, now_ms):
        """A plan is read and checked a little in each turn of the loop, so that presses are heard meanwhile."""
        outcome = self._tried(self._handler.plan_step)
        if outcome is not None:
            self._outcome(pull, outcome)
        elif ms_since(pull.asked_ms, now_ms) >= PULL_MS:
            self._ask(pull, now_ms)  # nothing is wanted: it tells the host that all is there and being looked at

    def _tried(self, call, *arguments):
        try:
            return call(*arguments)
        except ValueError as problem:
            return m.BAD_VALUE, str(problem)
        except OSError as problem:
            return m.STORAGE, str(problem)
        except MemoryError:
            return m.TOO_LARGE, NO_MEMORY

    def _outcome(self, pull, outcome):
        if outcome is None:
            return  # it goes on in tick()
        pull.taking = False
        pull.data = bytearray()
        pull.outcome = outcome
        self._answer(pull.seq, pull.plan_id, outcome[0], outcome[1])
        if outcome[0] != m.OK:
            self.pull = None  # so that the same plan may be offered again when the reason is gone

    def _refuse(self, pull, code, text):
        self.pull = None
        self._answer(pull.seq, pull.plan_id, code, text)


class Pull:
    """A plan on its way in."""

    def __init__(self, plan_id, length, crc, seq, room):
        self.plan_id = plan_id
        self.length = length
        self.crc = crc
        self.seq = seq
        self.data = memoryview(room)[:length] if length <= len(room) else bytearray(length)
        self.taking = False  # all of it is here, and the handler is at it
        self.short = 0  # times there was no memory for a part
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
