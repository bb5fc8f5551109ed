"""Both ends of the link wired together, on both interpreters."""

import binascii

from shared_schedule import link_host as lh
from shared_schedule import link_logs, link_plan
from shared_schedule import messages as m
from shared_schedule.framing import Deframer, encode
from shared_schedule.link import DeviceSession
from shared_schedule.link_rules import (
    HELLO_TRIES,
    LISTENER_MS,
    PULL_AHEAD,
    REPLY_TRIES,
    TELEMETRY_MS,
    clip,
    ms_since,
)

HEAP = "2m"  # the host is here too, and every frame is kept for looking at


class Bench:
    """As small a timer as will do; `done` lists the effects."""

    def __init__(self):
        self.plan = b""
        self.done = []
        self.log = bytes([i * 7 & 0xFF for i in range(256)]) * 120
        self.boot_id = 1
        self.room = 12288
        self.trouble = None
        self.read_block = 0

    def hello(self):
        return {"boot_id": self.boot_id, "board_id": b"12345678", "read_block": self.read_block}

    def state(self):
        return {"focus": 3, "steps": bytes(18)}

    def telemetry(self):
        return {"probe_cdeg": m.NO_READING}

    def plan_held(self):
        return (binascii.crc32(self.plan),) * 2 if self.plan else (0, 0)

    def plan_room(self):
        return self.room

    def on_plan(self, data):
        if self.trouble:
            raise self.trouble
        self.plan = data
        self.done.append("plan")
        return m.OK, ""

    def log_info(self, stream):
        return (0, len(self.log)) if stream == 2 else None

    def log_read(self, stream, offset, n, into):
        part = self.log[offset : offset + n]
        into[: len(part)] = part
        return len(part)

    def log_drop(self, plan_id, stream, upto):
        self.done.append(("drop", upto))
        return m.OK, ""

    def clock_get(self):
        return 10, 20, -60, 1

    def clock_set(self, now_s, ms, offset_min):
        self.done.append(("clock", now_s, ms, offset_min))
        return m.OK, ""

    def command(self, action, step_id, arg):
        if self.trouble:
            raise self.trouble
        self.done.append((action, step_id, arg))
        return m.OK, "done"

    def note(self, text):
        self.done.append(text)
        return m.OK, ""

    def setting_get(self, key):
        return b"\x01" if key == "beep" else None

    def setting_set(self, key, value):
        self.done.append((key, value))
        return m.OK, ""

    def counters(self):
        return {"uptime_s": 5}

    def self_test(self):
        return 1, "all well"


class Pair:
    """Two sessions and a cable that can lose what `lose(direction, octets)` says."""

    def __init__(self, bench=None, start_ms=0):
        self.bench = bench or Bench()
        self.device = DeviceSession(self.bench)
        self.host = lh.HostSession(lh.quiet_session(1234))
        self.now_ms = start_ms
        self.lose = None
        self.events = []
        self.keep = True
        self.up = []
        self.down = []

    def step(self, dt_ms=5):
        out = self.host.output(self.now_ms)
        if out:
            if self.keep:
                self.up.append(out)
            if not (self.lose and self.lose(">", out)):
                self.device.feed(out, self.now_ms)
        self.device.tick(self.now_ms)
        out = self.device.output(self.now_ms)
        if out:
            if self.keep:
                self.down.append(out)
            self.device.sent(len(out))
            if not (self.lose and self.lose("<", out)):
                self.host.feed(out, self.now_ms)
        self.host.tick(self.now_ms)
        self.events += [event for event in self.host.events() if event.kind != lh.PROGRESS]
        self.now_ms = (self.now_ms + dt_ms) % (1 << 30)

    def run(self, limit=20000):
        for _ in range(limit):
            self.step()
            if not self.host.busy:
                return self.ended()
        raise AssertionError("the job did not end")

    def ended(self):
        for event in self.events:
            if event.kind in (lh.DONE, lh.FAILED):
                self.events.remove(event)
                return event
        raise AssertionError("no end")

    def hello(self):
        self.host.hello()
        assert self.run().number == m.HELLO_REPLY
        return self

    def ask(self, number, values=None):
        self.host.request(number, values)
        return self.run()


def check_every_request_has_its_answer():
    pair = Pair().hello()
    assert pair.ask(m.PING).values["code"] == m.OK
    assert pair.ask(m.STATE_GET).values["focus"] == 3
    assert pair.ask(m.CLOCK_GET).values == {"now_s": 10, "ms": 20, "offset_min": -60, "ok": 1}
    assert pair.ask(m.CLOCK_SET, {"now_s": 5, "ms": 6, "offset_min": -90}).values["code"] == m.OK
    assert pair.ask(m.COMMAND, {"action": 2, "step_id": 4, "arg": -5}).values["text"] == "done"
    assert pair.ask(m.NOTE, {"text": "butter soft"}).values["code"] == m.OK
    assert pair.ask(m.SETTING_GET, {"key": "beep"}).values["value"] == b"\x01"
    assert pair.ask(m.SETTING_GET, {"key": "boop"}).values["code"] == m.UNKNOWN
    assert pair.ask(m.SETTING_SET, {"key": "beep", "value": b"\x00"}).values["code"] == m.OK
    assert pair.ask(m.COUNTERS_GET).values["uptime_s"] == 5
    assert pair.ask(m.SELF_TEST).values["text"] == b"all well"
    assert pair.ask(m.LOG_INFO, {"stream": 9}).values["code"] == m.UNKNOWN
    assert pair.ask(m.LOG_DROP, {"plan_id": 7, "stream": 2, "upto": 9}).values["code"] == m.OK
    assert pair.bench.done == [("clock", 5, 6, -90), (2, 4, -5), "butter soft", ("beep", b"\x00"), ("drop", 9)]
    sent = b"".join(pair.up + pair.down)
    assert b"\x03" not in sent


def check_plan_goes_in_whole_and_only_once():
    pair = Pair().hello()
    data = bytes([i * 13 & 0xFF for i in range(5000)])
    send(pair, data)
    assert pair.run().values["code"] == m.OK
    assert pair.bench.plan == data
    send(pair, data)
    assert pair.run().values["code"] == m.ALREADY
    assert pair.bench.done == ["plan"]


def check_plan_that_is_refused_can_be_offered_again():
    pair = Pair().hello()
    pair.bench.trouble = ValueError("step 3: butter warmer than the room")
    send(pair, b"x" * 700)
    end = pair.run().values
    assert end["code"] == m.BAD_VALUE and "step 3" in end["text"]
    pair.bench.trouble = OSError(28)
    send(pair, b"x" * 700)
    assert pair.run().values["code"] == m.STORAGE
    assert pair.bench.plan == b"" and pair.bench.done == []
    pair.bench.trouble = None
    send(pair, b"x" * 700)
    assert pair.run().values["code"] == m.OK


def send(pair, data):
    pair.host.send_plan(binascii.crc32(data), data)


def check_plan_under_another_id_is_refused_by_both_ends():
    pair = Pair().hello()
    data = b"x" * 40
    try:
        pair.host.send_plan(7, data)
    except ValueError as problem:
        assert "CRC-32" in str(problem)
    else:
        raise AssertionError("the host offers a plan under another id")
    offer = {"plan_id": 7, "length": len(data), "crc32": binascii.crc32(data)}
    answer = pair.ask(m.PLAN_OFFER, offer).values
    assert answer["code"] == m.BAD_VALUE and "CRC-32" in answer["text"] and pair.device._plans.pull is None
    send(pair, data)
    assert pair.run().values["code"] == m.OK and pair.bench.plan == data


def check_plan_that_would_fill_the_device_is_refused_before_it_is_sent():
    pair = Pair().hello()
    pair.bench.room = 900
    for size in (901, 12288, 20000):
        before = len(pair.up)
        send(pair, bytes(size))
        end = pair.run().values
        assert end["code"] == m.TOO_LARGE and "900" in end["text"]
        assert len(pair.up) == before + 1
        assert pair.device._plans.pull is None
    offer = {"plan_id": 7, "length": 0xFFFFFFFF, "crc32": 0}
    assert pair.ask(m.PLAN_OFFER, offer).values["code"] == m.TOO_LARGE


def check_plan_for_which_there_is_no_memory_is_refused_and_can_be_offered_again():
    """Memory in pieces: no room for it in one. The day goes on, the host is told, and nothing is half taken."""
    pair = Pair().hello()
    whole = link_plan.Pull
    asked = []

    def no_memory(*given):
        asked.append(given)
        raise MemoryError

    link_plan.Pull = no_memory
    try:
        send(pair, b"x" * 700)
        end = pair.run().values
    finally:
        link_plan.Pull = whole
    assert asked and end["code"] == m.TOO_LARGE and "memory" in end["text"]
    assert pair.device._plans.pull is None and not pair.bench.done
    send(pair, b"x" * 700)
    assert pair.run().values["code"] == m.OK and pair.bench.plan == b"x" * 700


class Fails:
    """Stands for a function, or for a bytearray; the first `left` uses find no memory."""

    def __init__(self, real, left):
        self.real = real
        self.left = left
        self.fired = 0

    def _use(self):
        if self.left:
            self.left -= 1
            self.fired += 1
            raise MemoryError

    def __call__(self, *given):
        self._use()
        return self.real(*given)

    def __setitem__(self, where, data):
        self._use()
        self.real[where] = data


def check_a_log_frame_for_which_there_is_no_memory_is_made_smaller():
    """Memory in pieces: the loop goes on, the log comes whole, and only the smallest frame's failure is raised."""
    pair = Pair().hello()
    whole = link_logs.encode
    short = Fails(whole, 2)
    link_logs.encode = short
    try:
        pair.host.fetch(2, 0, 9000)
        assert pair.run().kind == lh.DONE and short.fired == 2
        assert pair.host.take_log() == (0, pair.bench.log[:9000])
        short.left = 20
        pair.host.fetch(2, 0, 9000)
        try:
            pair.run()
        except MemoryError:
            pass
        else:
            raise AssertionError("frames cannot shrink for ever")
    finally:
        link_logs.encode = whole


def check_a_part_of_a_plan_for_which_there_is_no_memory_is_asked_for_again_smaller():
    pair = Pair().hello()
    whole = link_plan.Pull
    short = []

    def pieces(*given):
        pull = whole(*given)
        short.append(Fails(pull.data, 2))
        pull.data, kept = short[0], pull.data
        short.append(kept)
        return pull

    link_plan.Pull = pieces
    crc32 = link_plan.binascii
    link_plan.binascii = Unwrapped
    try:
        send(pair, b"xyz" * 900)
        end = pair.run().values
    finally:
        link_plan.Pull = whole
        link_plan.binascii = crc32
    assert short[0].fired == 2 and bytes(short[1]) == b"xyz" * 900 and end["code"] == m.OK


class Unwrapped:
    """binascii for a plan whose octets are held by `Fails`."""

    @staticmethod
    def crc32(data):
        return binascii.crc32(data.real)


def check_plan_is_handed_over_without_a_copy():
    """There may be memory for a plan once, not twice: what came in is what the handler gets."""
    pair = Pair().hello()
    held = []

    def keep(data):
        held.append(data)
        return m.OK, ""

    pair.bench.on_plan = keep
    pull = link_plan.Pull
    made = []

    def remember(*given):
        made.append(pull(*given))
        made.append(made[0].data)
        return made[0]

    link_plan.Pull = remember
    try:
        send(pair, b"x" * 700)
        assert pair.run().values["code"] == m.OK
    finally:
        link_plan.Pull = pull
    assert held[0] is made[1] and not made[0].data  # and the session lets go of it


def check_trouble_with_storage_is_told_not_raised():
    pair = Pair().hello()
    pair.bench.trouble = OSError(28)
    assert pair.ask(m.COMMAND, {"action": 2}).values["code"] == m.STORAGE
    pair.bench.trouble = ValueError("no step 9")
    assert pair.ask(m.COMMAND, {"action": 2}).values == {"code": m.BAD_VALUE, "text": "no step 9"}
    pair.bench.trouble = None
    assert pair.bench.done == []
    # A log that cannot be read for a while: the fetch waits for it, the checksum says how far it got.
    real = pair.bench.log_read
    left = [6]

    def worn(stream, offset, n, into):
        left[0] -= 1
        if left[0] > 0:
            raise OSError(5)
        return real(stream, offset, n, into)

    pair.bench.log_read = worn
    total = pair.ask(m.LOG_SUM, {"stream": 2, "offset": 0, "length": 5000}).values
    assert total["end"] == 0 and total["crc32"] == 0
    pair.host.fetch(2, 0, 5000)
    assert pair.run().kind == lh.DONE
    assert pair.host.take_log()[1] == pair.bench.log[:5000]
    assert left[0] <= 0
    # One that can never be read is given up, with what did arrive kept.
    pair.bench.log_read = lambda stream, offset, n, into: real(stream, offset, n, into) if offset < 3000 else 0
    pair.host.fetch(2, 0, 5000)
    end = pair.run()
    assert end.kind == lh.FAILED and end.values["code"] == m.STORAGE
    kept = pair.host.take_log()[1]
    assert len(kept) >= 3000 and pair.bench.log.startswith(kept)


def check_window_with_a_wrong_checksum_is_fetched_again():
    pair = Pair().hello()
    pair.host.fetch(2, 0, 20000)
    seq = pair.host._job.seqs[0]
    wrong = b"\x00" * 1000
    for offset in range(0, 8192, 1000):
        part = {"offset": offset, "data": wrong[: min(1000, 8192 - offset)]}
        pair.host.feed(encode(m.encode(m.LOG_DATA, pair.host.session, seq, part)), 0)
    end = {"end": 8192, "crc32": binascii.crc32(pair.bench.log[:8192])}
    pair.host.feed(encode(m.encode(m.LOG_END, pair.host.session, seq, end)), 0)
    assert pair.host.counters["mismatched"] == 1
    assert pair.run().kind == lh.DONE
    assert pair.host.take_log()[1] == pair.bench.log[:20000]


def check_misuse_is_told_at_once():
    pair = Pair().hello()
    pair.host.request(m.PING)
    try:
        pair.host.request(m.PING)
    except RuntimeError:
        pass
    else:
        raise AssertionError("two jobs at a time")
    pair.run()
    for start, end in ((5, 4), (-1, 4), (0, m.LOG_MAX + 1)):
        try:
            pair.host.fetch(2, start, end)
        except ValueError:
            continue
        raise AssertionError((start, end))
    pair.host.fetch(2, 7, 7)  # nothing to fetch is done at once
    assert pair.run().kind == lh.DONE and pair.host.take_log() == (7, b"")


def check_plan_with_other_octets_than_offered_is_not_stored():
    pair = Pair().hello()
    number = binascii.crc32(b"a" * 40)
    offer = {"plan_id": number, "length": 40, "crc32": number}
    pair.ask(m.PLAN_OFFER, offer)
    seq = pair.host._seq
    for letter in (b"b", b"a"):
        part = {"plan_id": number, "offset": 0, "data": letter * 40}
        pair.device.feed(encode(m.encode(m.PLAN_DATA, pair.host.session, seq, part)), 0)
        assert pair.bench.done == ([] if letter == b"b" else ["plan"])
    assert pair.bench.plan == b"a" * 40


def check_gap_in_a_plan_is_asked_for_at_once():
    pair = Pair().hello()
    pair.ask(m.PLAN_OFFER, {"plan_id": 7, "length": 3000, "crc32": 7})
    part = {"plan_id": 7, "offset": 1000, "data": bytes(500)}
    pair.device.feed(encode(m.encode(m.PLAN_DATA, pair.host.session, pair.host._seq, part)), 0)
    asked = m.decode(Deframer(m.HOST_CAP).feed(pair.device.output(0))[0])[3]
    assert asked["code"] == m.WANT and asked["offset"] == 0 and pair.device._plans.pull.got == 0
    for wild in (2900, 3000, 0xFFFFFFFF):
        part = {"plan_id": 7, "offset": wild, "data": bytes(500)}
        pair.device.feed(encode(m.encode(m.PLAN_DATA, pair.host.session, pair.host._seq, part)), 0)
    assert len(pair.device._plans.pull.data) == 3000 and pair.device._plans.pull.got == 0


def check_log_comes_whole():
    pair = Pair().hello()
    end = len(pair.bench.log)
    pair.host.fetch(2, 0, end)
    assert pair.run().kind == lh.DONE
    assert pair.host.take_log() == (0, pair.bench.log)
    pair.host.fetch(2, 12345, end)
    assert pair.run().kind == lh.DONE
    assert pair.host.take_log() == (12345, pair.bench.log[12345:])
    got = pair.ask(m.LOG_SUM, {"stream": 2, "offset": 100, "length": end - 100}).values
    assert got["crc32"] == binascii.crc32(pair.bench.log[100:])
    assert pair.ask(m.LOG_SUM, {"stream": 2, "offset": 100, "length": end}).values["code"] == m.BAD_VALUE
    pair.host.fetch(2, 0, end + 1)
    end = pair.run()
    assert end.kind == lh.FAILED and end.values["code"] == m.BAD_VALUE


def check_octets_of_another_fetch_are_not_mixed_in():
    pair = Pair().hello()
    pair.host.fetch(2, 0, 2000)
    stale = pair.host._job.seqs[0] - 1
    part = {"offset": 0, "data": b"stale" * 100}
    pair.host.feed(encode(m.encode(m.LOG_DATA, pair.host.session, stale, part)), 0)
    assert pair.host.counters["stray"] == 1
    assert pair.run().kind == lh.DONE
    assert pair.host.take_log()[1] == pair.bench.log[:2000]


def check_nothing_lost_when_a_third_of_the_frames_are():
    pair = Pair().hello()
    pair.keep = False
    state = [0, 0]

    def lose(direction, octets):
        state[0] = (state[0] * 1664525 + 1013904223) & 0xFFFFFFFF  # no period that the repeats could fall in with
        state[1] += state[0] % 3000 < 1000
        return state[0] % 3000 < 1000

    pair.lose = lose
    data = bytes([i * 13 & 0xFF for i in range(5000)])
    send(pair, data)
    assert pair.run().values["code"] == m.OK and pair.bench.plan == data
    pair.host.fetch(2, 0, len(pair.bench.log))
    assert pair.run().kind == lh.DONE
    assert pair.host.take_log()[1] == pair.bench.log
    for i in range(20):
        end = pair.ask(m.COMMAND, {"action": 2, "step_id": i})
        assert end.kind == lh.DONE
    assert pair.bench.done == ["plan"] + [(2, i, 0) for i in range(20)]
    assert state[1] > 30 and pair.device.repeats > 0


def check_same_request_twice_acts_once():
    pair = Pair().hello()
    payload = m.encode(m.COMMAND, pair.host.session, 1, {"action": 2, "step_id": 4})
    later = m.encode(m.COMMAND, pair.host.session, 2, {"action": 2, "step_id": 5})
    replies = []
    for part in (payload, payload, later, payload, later):
        pair.device.feed(encode(part), 0)
        while pair.device.pending():
            out = pair.device.output(0)
            replies.append(out)
            pair.device.sent(len(out))
    assert pair.bench.done == [(2, 4, 0), (2, 5, 0)]
    assert replies[0] == replies[1] and replies[2] == replies[3] and len(replies) == 4
    assert pair.device.repeats == 3


def check_number_wraps():
    pair = Pair().hello()
    pair.host._seq = pair.device._last_seq = 0xFFFE
    for i in range(4):
        pair.ask(m.COMMAND, {"action": 1, "step_id": i})
    assert pair.host._seq == 3
    assert pair.bench.done == [(1, i, 0) for i in range(4)]


def check_nothing_is_answered_before_a_hello():
    pair = Pair()
    for number in (m.COMMAND, m.STATE_GET, m.PLAN_OFFER, m.LOG_READ):
        pair.device.feed(encode(m.encode(number, 5, 1)), 0)
    assert not pair.device.pending() and pair.bench.done == []
    pair.hello()
    pair.device.feed(encode(m.encode(m.COMMAND, 5, 1, {"action": 2})), 0)
    assert pair.bench.done == []


def check_other_major_is_refused_and_told():
    pair = Pair()
    pair.device.feed(lh.hello_frame(lh.quiet_session(9), 0, 2, 0), 0)
    reply = m.decode(Deframer(m.HOST_CAP).feed(pair.device.output(0))[0])
    assert reply[3]["major"] == m.PROTOCOL_MAJOR
    pair.device.sent(1000)
    pair.device.feed(encode(m.encode(m.COMMAND, lh.quiet_session(9), 1, {"action": 2})), 0)
    reply = m.decode(Deframer(m.HOST_CAP).feed(pair.device.output(0))[0])
    assert reply[3]["code"] == m.WRONG_VERSION and pair.bench.done == []


def check_unknown_messages_are_named():
    pair = Pair().hello()
    for raw in (b"\xc8" + m.encode(m.PING, pair.host.session, 9)[1:], m.encode(m.NOTE, pair.host.session, 9)[:-1]):
        pair.device.feed(encode(raw), 0)
        reply = m.decode(Deframer(m.HOST_CAP).feed(pair.device.output(0))[0])
        pair.device.sent(1000)
        assert reply[2] == 9 and reply[3]["code"] in (m.UNKNOWN, m.BAD_VALUE) and reply[3]["text"]


def check_silence_fails_after_the_tries():
    pair = Pair().hello()
    pair.lose = lambda direction, octets: direction == ">"
    sent = len(pair.up)
    end = pair.ask(m.COMMAND, {"action": 2})
    assert end.kind == lh.FAILED and end.values["reason"] == "silent"
    tries = pair.up[sent:]
    assert tries[0] == tries[1]  # sent again as it was
    assert len(tries) == 2 + HELLO_TRIES
    for frame in tries[2:]:  # then only what a prompt may hear
        assert frame == tries[2]
        for octet in frame:
            assert 0x20 <= octet < 0x7F
    assert REPLY_TRIES > 2


def check_a_device_that_greets_but_never_answers_is_given_up():
    """Its greeting gets through each time it is looked for, and the request never does: that must end."""
    pair = Pair().hello()
    lost = []

    def request(direction, _octets):
        if direction == ">" and not pair.host._probing:
            lost.append(direction)
            return True
        return False

    pair.lose = request
    end = pair.ask(m.STATE_GET)
    assert end.kind == lh.FAILED and end.values["reason"] == "silent"
    assert len(lost) == REPLY_TRIES


def check_restart_of_the_device_is_noticed():
    pair = Pair().hello()
    pair.bench.boot_id = 2
    pair.device = DeviceSession(pair.bench)
    end = pair.ask(m.COMMAND, {"action": 2})
    assert end.kind == lh.FAILED and end.values["reason"] == "rebooted"
    assert pair.bench.done == []
    pair.hello()
    assert pair.ask(m.COMMAND, {"action": 2}).kind == lh.DONE


def check_plan_goes_on_where_it_stopped():
    pair = Pair().hello()
    data = bytes([i * 31 & 0xFF for i in range(8000)])
    send(pair, data)
    for _ in range(5):
        pair.step()
    pair.host.cancel()
    pair.device.disconnected()
    got = pair.device._plans.pull.got
    assert 0 < got < 9000
    pair.host = lh.HostSession(lh.quiet_session(99))
    pair.hello()
    sent = len(pair.up)
    send(pair, data)
    assert pair.run().values["code"] == m.OK and pair.bench.plan == data
    assert sum([len(out) for out in pair.up[sent:]]) < (9000 - got) * 1.1 + 200


def check_telemetry_comes_while_someone_listens():
    pair = Pair().hello()
    for _ in range(40):
        pair.step(500)
    heard = [event for event in pair.events if event.kind == lh.TELEMETRY]
    assert LISTENER_MS // TELEMETRY_MS - 2 <= len(heard) <= LISTENER_MS // TELEMETRY_MS
    assert heard[0].values["probe_cdeg"] == m.NO_READING


def check_host_that_does_not_read_costs_nothing():
    pair = Pair().hello()
    device = pair.device
    asked = [encode(m.encode(m.STATE_GET, pair.host.session, i + 1)) for i in range(300)]
    for i, frame in enumerate(asked):
        device.feed(frame, i * 100)
        device.tick(i * 100)
        device.output(i * 100)  # the port takes nothing
    assert len(device._replies) <= 4
    assert device.telemetry_dropped >= 28
    assert pair.bench.done == []


def check_short_writes_lose_nothing():
    pair = Pair()
    pair.device.feed(lh.hello_frame(pair.host.session), 0)
    got = b""
    while pair.device.pending():
        out = pair.device.output(0)
        got += bytes(out[:3])
        pair.device.sent(len(out[:3]))
    assert len(Deframer(m.HOST_CAP).feed(got)) == 1


def check_blocks_are_filled():
    bench = Bench()
    bench.read_block = 64
    pair = Pair(bench).hello()
    send(pair, bytes(3000))
    pair.run()
    pair.ask(m.COMMAND, {"action": 2})
    for out in pair.up:
        assert len(out) % 64 == 0


def check_milliseconds_wrap():
    assert ms_since((1 << 30) - 5, 5) == 10
    assert ms_since(5, (1 << 30) - 5) == -10
    pair = Pair(None, (1 << 30) - 400).hello()
    pair.lose = lambda direction, octets: direction == ">" and len(pair.up) % 2
    for i in range(5):
        assert pair.ask(m.COMMAND, {"action": 2, "step_id": i}).kind == lh.DONE
    assert pair.now_ms < 1 << 29


def check_prompt_is_recognised():
    pair = Pair()
    pair.host.hello()
    echo = pair.host.output(0)
    pair.host.feed(echo, 0)
    assert [event.kind for event in pair.host.events()] == [lh.PROMPT]
    other = Pair()
    other.host.feed(b"MicroPython v1.28.0\r\n>>> ", 0)
    assert [event.kind for event in other.host.events()] == [lh.PROMPT]


def check_clip():
    assert clip("abc", 2) == "ab"
    assert clip("a\xe9b", 2) == "a"
    assert clip("", 0) == ""
    assert PULL_AHEAD <= m.PLAN_MAX
