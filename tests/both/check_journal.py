"""Checks of the journal: bytes, damage, replay."""

import binascii

import check_day
import plans

from shared_schedule import day as D
from shared_schedule import history
from shared_schedule import journal as J

BODIES = (
    (J.BOOT, (1, 0, 0, 1, 0)),
    (J.PLAN, (0xCBF43926, 12288)),
    (J.STEP, (250, 0, 1, 1)),
    (J.TICK, (3, 7, 1)),
    (J.ALARM, (2, 9, -32768)),
    (J.ACK, (2, 9)),
    (J.BEND, (1430, 2, 9)),
    (J.CLOCK, (0, 0xFFFFFFFF)),
    (J.FAULT, (1, 2)),
    (J.NOTE, ("d\u00e9trempe too warm",)),
    (J.FINISHED, (0,)),
    (J.CRASH, ("OSError: 5",)),
    (J.AIR, (2210, 55)),
    (J.LOST, (1, 240)),
    (J.FORMAT, (2,)),
    (J.CHANNEL, (3, 2, 5, 1, 0, "proof \u00b0")),
)


def whole():
    return b"".join([J.encode(BODIES[i][0], i, 1000 + i, *BODIES[i][1]) for i in range(len(BODIES))])


def check_layout_byte_for_byte():
    # Independent: written out by hand from the header; the CRC-32 check value is the published ISO-HDLC one.
    assert binascii.crc32(b"123456789") & 0xFFFFFFFF == 0xCBF43926
    head = bytes([3, 12, 7, 0, 0, 0, 0x10, 0x27, 0, 0, 5, 0, 1, 1])
    crc = binascii.crc32(head) & 0xFFFFFFFF
    tail = bytes([crc & 255, (crc >> 8) & 255, (crc >> 16) & 255, crc >> 24])
    assert J.encode(J.STEP, 7, 10000, 5, 0, 1, 1) == head + tail


def check_every_type_comes_back():
    assert len(BODIES) == len(J.BODIES)
    reader = J.read(whole())
    found = list(reader)
    assert reader.unread == 0 and len(found) == len(BODIES)
    for i in range(len(found)):
        assert (found[i].type, found[i].body) == BODIES[i], BODIES[i]
        assert (found[i].seq, found[i].at_s) == (i, 1000 + i)


def check_values_that_do_not_fit_are_refused():
    # MicroPython's struct wraps 300 to 44 without a word.
    bad = ((J.STEP, (300, 0, 1, 1)), (J.STEP, (-1, 0, 1, 1)), (J.ALARM, (1, 1, 40000)), (J.STEP, (1, 0, 1)), (99, ()))
    for kind, body in bad:
        try:
            J.encode(kind, 0, 0, *body)
        except ValueError:
            continue
        raise AssertionError((kind, body))


def sealed(kind, body, seq=3):
    """Return a record of any type: what a newer timer may write."""
    head = bytes((kind, 8 + len(body), seq, 0, 0, 0, 1, 0, 0, 0)) + body
    crc = binascii.crc32(head) & 0xFFFFFFFF
    return head + bytes((crc & 255, crc >> 8 & 255, crc >> 16 & 255, crc >> 24))


def check_what_a_newer_timer_adds_is_passed_over():
    step = sealed(J.STEP, bytes((5, 0, 1, 1)) + b"more")
    data = sealed(200, b"who knows") + step + sealed(255, b"")
    for skip in (False, True):
        reader = J.read(data, 0, skip)
        records = list(reader)
        assert [(r.type, r.body) for r in records] == [(J.STEP, (5, 0, 1, 1))]
        assert reader.unread == 0 and reader.at == len(data)
    short = sealed(J.STEP, b"\x05\x00\x01")
    for bad in (sealed(0, b"no such type"), short, sealed(200, b"x" * 101), sealed(200, b"x")[:-1]):
        reader = J.read(bad)
        assert not list(reader) and reader.unread == len(bad), bad


def check_a_journal_of_an_unknown_format_is_refused():
    data = J.encode(J.FORMAT, 0, 5, J.VERSION) + J.encode(J.PLAN, 1, 5, 7, 9)
    assert [r.type for r in J.read(data)] == [J.FORMAT, J.PLAN]
    for skip in (False, True):
        reader = J.read(data + J.encode(J.FORMAT, 2, 6, J.VERSION + 1) + whole(), 0, skip)
        try:
            list(reader)
        except ValueError as problem:
            assert "format %d" % (J.VERSION + 1) in str(problem) and "update" in str(problem)
        else:
            raise AssertionError("read on as if it knew")


def check_text_is_capped_and_clean():
    record = list(J.read(J.encode(J.NOTE, 0, 0, "\u00e9" * 200 + "x")))[0]
    assert len(record.body[0].encode()) <= J.TEXT_CAP and record.body[0] == "\u00e9" * 50
    assert list(J.read(J.encode(J.NOTE, 0, 0, "a\x1b[31m\x9bb\n")))[0].body[0] == "a [31m b "


def check_every_torn_end_gives_a_clean_prefix():
    data = whole()
    ends = [0]
    for i in range(len(BODIES)):
        ends.append(ends[-1] + len(J.encode(BODIES[i][0], i, 1000 + i, *BODIES[i][1])))
    for cut in range(len(data) + 1):
        reader = J.read(data[:cut])
        count = len(list(reader))
        assert count == len([end for end in ends[1:] if end <= cut]), cut
        assert reader.unread == cut - ends[count], cut


def check_every_flipped_byte_is_seen():
    data = bytearray(whole())
    total = len(BODIES)
    for place in range(len(data)):
        data[place] ^= 0x41
        reader = J.read(bytes(data), 0, True)
        found = list(reader)
        # A broken length byte may swallow its own record only; the others are found again.
        assert len(found) == total - 1 and reader.unread > 0, (place, len(found))
        assert len(list(J.read(bytes(data)))) < total
        data[place] ^= 0x41


def check_replay_equals_live_through_two_days():
    plan = plans.two_days(2)
    state = D.DayState(plan)
    log = []
    check_day.play(plan, state, plans.DAY_1, plans.DAY_1 + 3 * 86400, log=log)
    data = bytearray()
    seq = 0
    for at_s, effect in log:
        if effect[0] in (D.FX_JOURNAL_STEP, D.FX_JOURNAL_TICK):
            data.extend(J.step_record(seq, at_s, effect))
            seq += 1
    again = history.replay(plan, J.read(bytes(data)))
    assert seq > 60 and again.same_as(state) and again.mode == D.FINISHED


def check_replay_obeys_no_impossible_record():
    plan = plans.two_days(1)
    records = [
        J.Record(J.STEP, 0, 5, (1, D.WAITING, D.DONE, 1)),  # no such edge
        J.Record(J.STEP, 2, 5, (249, D.WAITING, D.RUNNING, 1)),  # no such step
        J.Record(J.STEP, 3, 5, (1, D.WAITING, 77, 1)),
        J.Record(J.STEP, 4, 5, (1, D.WAITING, D.WAITING, 6)),
        J.Record(J.TICK, 5, 5, (1, 6, 1)),
    ]
    state = history.replay(plan, records)
    assert state.same_as(D.DayState(plan))
    assert not [record for record in records if history.apply(plan, state, record)]


def check_what_a_lost_record_told_is_not_made_up():
    plan = plans.two_days(1)
    past = history.replay(plan, [J.Record(J.STEP, 9, 500, (1, D.READY, D.DONE, D.BY_BUTTON))])
    assert (past.steps[0], past.started_at_s[0], past.ready_at_s[0], past.ended_at_s[0]) == (D.DONE, 500, 0, 500)
    assert past.unsure[0] == history.UNSEEN
    history.apply(plan, past, J.Record(J.CLOCK, 10, 600, (500, 600)))
    assert past.started_at_s[0] == 500 and past.unsure[0] == history.UNSEEN


def check_bends_and_clock_come_back():
    plan = plans.two_days(1)
    t = plans.DAY_1
    records = [
        J.Record(J.BOOT, 0, t, (1, 0, 0, 1, 0)),
        J.Record(J.STEP, 1, t + 10, (1, D.WAITING, D.RUNNING, 1)),
        J.Record(J.BEND, 2, t + 20, (1210, 1, 1)),
        J.Record(J.CLOCK, 3, t + 3630, (t + 30, t + 3630)),
    ]
    before = history.replay(plan, records[:3])
    assert not before.clock_ok and before.started_at_s[0] == t + 10
    state = history.replay(plan, records)
    assert state.clock_ok and state.started_at_s[0] == t + 3610 and state.bends == [(1210, 1)]


def check_a_reader_at_its_end_stays_there():
    data = whole()
    for skip in (False, True):
        reader = J.read(data[:-3], 0, skip)
        count = len(list(reader))
        unread = reader.unread
        assert list(reader) == [] and reader.unread == unread > 0 and count == len(BODIES) - 1
    assert len(list(J.read(memoryview(data)))) == len(BODIES)  # what flash hands out
