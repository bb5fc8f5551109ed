"""What a host's end can be busy with: a greeting, a request, a plan going out, a log coming in.

A job talks to its HostSession by queue(), emit(), finish(), refused(), next_seq() and nothing else.
"""

import binascii

from shared_schedule import messages as m
from shared_schedule.framing import encode
from shared_schedule.link_rules import BULK_SILENCE_MS, BULK_TRIES, CHUNK_MIN, REPLY_MS, REPLY_TRIES

PROGRESS = "progress"  # the event of a job under way: values = (octets so far, octets in all)
WINDOW = 8192  # octets of log asked for at once, twice over: 1.4 s of a 115200 line, so a late request never idles it


class Job:
    """What one job does: begin, again (after silence), more (lazily made octets), take (a frame; True when used)."""

    patience_ms = REPLY_MS
    tries = REPLY_TRIES
    silences = 0

    def more(self, host):
        return None

    def take(self, host, number, seq, values):
        return False


class Greeting(Job):
    def begin(self, host):
        pass

    def again(self, host):
        pass


class Request(Job):
    def __init__(self, seq, number, payload, patience_ms):
        self.seq = seq
        self.replies = (m.RESULT, m.REPLY_OF.get(number))
        self.payload = payload
        self.patience_ms = patience_ms

    def begin(self, host):
        host.queue(self.payload)

    again = begin

    def take(self, host, number, seq, values):
        if seq != self.seq or number not in self.replies:
            return False
        host.finish(number, values)
        return True


class PlanOut(Job):
    patience_ms = BULK_SILENCE_MS
    tries = BULK_TRIES

    def __init__(self, host, seq, offer, plan_id, data):
        self.seq = seq
        self.offer = offer
        self.plan_id = plan_id
        self.data = data
        self.at = self.to = self.best = 0
        self.chunk = m.PLAN_CHUNK_MAX

    def begin(self, host):
        host.queue(self.offer)

    again = begin

    def more(self, host):
        if self.at >= self.to:
            return None
        part = self.data[self.at : min(self.to, self.at + self.chunk)]
        mask = m.mask_for(part)
        values = {"plan_id": self.plan_id, "offset": self.at, "mask": mask, "data": m.masked(part, mask)}
        self.at += len(part)
        return encode(m.encode(m.PLAN_DATA, host.session, self.seq, values), opening=self.at == len(part))

    def take(self, host, number, seq, values):
        if seq != self.seq:
            return False
        if number == m.RESULT:
            host.refused(values)
        elif number != m.PLAN_ANSWER or values["plan_id"] != self.plan_id:
            return False
        elif values["code"] != m.WANT:
            host.finish(number, values)
        else:
            self.at = min(values["offset"], len(self.data))
            self.to = min(self.at + values["count"], len(self.data))
            self.chunk = min(max(1, values["chunk"]), m.PLAN_CHUNK_MAX)
            if self.at > self.best:
                self.best = self.at
                self.tries = BULK_TRIES
            host.emit(PROGRESS, number, (self.at, len(self.data)))
        return True


class LogIn(Job):
    """A fetch: sweeps over what is missing, two windows asked for at any time."""

    patience_ms = BULK_SILENCE_MS
    tries = BULK_TRIES

    def __init__(self, host, stream, start, end):
        self.stream = stream
        self.start = start
        self.end = end
        self.data = bytearray(end - start)
        self.gaps = [(start, end)] if end > start else []
        self.missing = end - start
        self.cursor = start
        self.chunk = m.CHUNK_MAX
        self.reads = []
        self.seqs = []
        self.fresh = 1
        self.missing_at_sweep = None

    def begin(self, host):
        self._ask(host)
        if not self.gaps:
            host.finish(m.LOG_END, {"end": self.end, "crc32": 0})

    def again(self, host):
        self.chunk = max(CHUNK_MIN, self.chunk // 2)
        self.reads = []
        self.fresh = 1
        self.cursor = self.start
        self._ask(host)

    def unbroken(self):
        """Return (start, octets) up to the first gap."""
        upto = self.gaps[0][0] if self.gaps else self.end
        return self.start, bytes(self.data[: upto - self.start])

    def _next_range(self):
        """Return the next missing (lo, hi) behind the cursor; gaps closer than a chunk are asked for as one."""
        lo = None
        hi = 0
        for gap_lo, gap_hi in self.gaps:
            if gap_hi <= self.cursor:
                continue
            if lo is None:
                lo = max(gap_lo, self.cursor)
            elif gap_lo - hi > self.chunk:
                break
            hi = min(gap_hi, lo + WINDOW)
            if hi < gap_hi:
                break
        return lo, hi

    def _ask(self, host):
        while len(self.reads) < 2:
            lo, hi = self._next_range()
            if lo is None:
                if self.reads or not self.gaps:
                    return
                self.cursor = self.start  # a new sweep over what was lost
                if self.missing == self.missing_at_sweep:
                    self.tries -= 1
                self.missing_at_sweep = self.missing
                continue
            self.cursor = hi
            seq = host.next_seq()
            self.seqs = self.seqs[-15:] + [seq]
            self.reads.append((seq, lo, hi))
            values = {"stream": self.stream, "fresh": self.fresh, "offset": lo, "length": hi - lo, "chunk": self.chunk}
            self.fresh = 0
            host.queue(m.encode(m.LOG_READ, host.session, seq, values))

    def take(self, host, number, seq, values):
        if seq not in self.seqs:
            return False
        if number == m.LOG_DATA:
            self._data(host, values)
        elif number == m.LOG_END:
            self._window_over(host, seq, values)
        elif number == m.RESULT:
            host.refused(values)
            return True
        else:
            return False
        if not self.gaps:
            host.finish(m.LOG_END, {"end": self.end, "crc32": binascii.crc32(self.data)})
        elif self.tries <= 0:  # the device answers, but sweep after sweep brings nothing
            host.refused({"code": m.STORAGE, "text": "octet %d cannot be read" % self.gaps[0][0]})
        return True

    def _data(self, host, values):
        lo = values["offset"]
        data = m.masked(values["data"], values["mask"])
        hi = lo + len(data)
        if lo < self.start or hi > self.end or hi == lo:
            host.counters["illegal"] += 1
            return
        self.data[lo - self.start : hi - self.start] = data
        gaps = []
        missing = 0
        for gap_lo, gap_hi in self.gaps:
            for piece in ((gap_lo, min(gap_hi, lo)), (max(gap_lo, hi), gap_hi)):
                if piece[0] < piece[1]:
                    gaps.append(piece)
                    missing += piece[1] - piece[0]
        self.gaps = gaps
        if missing < self.missing:
            self.missing = missing
            self.tries = BULK_TRIES
            host.emit(PROGRESS, m.LOG_DATA, (self.end - self.start - missing, self.end - self.start))

    def _window_over(self, host, seq, values):
        for i, read in enumerate(self.reads):
            if read[0] == seq:
                lo, hi = read[1], values["end"]
                self.reads = self.reads[i + 1 :]  # windows are served in order: earlier ones are over too
                lost = [gap for gap in self.gaps if gap[0] < read[2] and gap[1] > lo]
                if lost:
                    self.chunk = max(CHUNK_MIN, self.chunk // 2)
                else:
                    self.chunk = min(m.CHUNK_MAX, self.chunk * 2)
                    have = self.data[lo - self.start : hi - self.start]
                    if binascii.crc32(have) != values["crc32"]:
                        host.counters["mismatched"] += 1
                        self.gaps = sorted(self.gaps + [(lo, read[2])])
                        self.missing += read[2] - lo
                break
        self._ask(host)
