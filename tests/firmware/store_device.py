"""The store and the link's handler on a littlefs in memory that can lose power, run under MicroPython.

Each `check_*` raises AssertionError; the last line says how many ran.
"""

import binascii
import os
import struct

import serve
import store as S
import vfs

from shared_schedule import day as D
from shared_schedule import journal as J
from shared_schedule import messages as m
from shared_schedule import plan as P

BLOCK = 4096
BLOCKS = 96


class Ram:
    """A flash in memory; after `left` more writes and erases the power is gone."""

    def __init__(self):
        self.octets = bytearray(b"\xff" * (BLOCK * BLOCKS))
        self.left = -1

    def readblocks(self, n, buf, off=0):
        start = n * BLOCK + off
        buf[:] = memoryview(self.octets)[start : start + len(buf)]

    def _gone(self):
        if self.left == 0:
            return True
        self.left -= 1
        return False

    def writeblocks(self, n, buf, off=0):
        if self._gone():
            return -5
        self.octets[n * BLOCK + off : n * BLOCK + off + len(buf)] = buf

    def ioctl(self, op, arg):
        if op == 4:
            return BLOCKS
        if op == 5:
            return BLOCK
        if op == 6:
            if self._gone():
                return -5
            self.octets[arg * BLOCK : (arg + 1) * BLOCK] = b"\xff" * BLOCK
        return 0


def valid_length(data):
    reader = J.read(data)
    for _record in reader:
        pass
    return reader.at


def powered(ram):
    """The file system mounted anew, and the store as the firmware opens it at power-up."""
    try:
        vfs.umount("/")
    except OSError:
        pass
    ram.left = -1
    vfs.mount(vfs.VfsLfs2(ram, progsize=256, readsize=32, lookahead=32, mtime=False), "/")
    store = S.Store(valid_length)
    store.open()
    store.finish_replacement()
    return store


def fresh():
    ram = Ram()
    vfs.VfsLfs2.mkfs(ram, progsize=256, readsize=32, lookahead=32)
    return ram, powered(ram)


def octets(count, seed):
    """Octets that no other seed gives."""
    return bytes([(seed * 37 + at * 11 + (at >> 5)) & 0xFF for at in range(count)])


def blocks(count, seed):
    """As `octets`, in the frame of sample blocks, the last one as long as it takes."""
    out = b""
    while len(out) < count:
        n = min(200, count - len(out) - 6)
        if 0 < count - len(out) - n - 6 < 8:
            n -= 8
        head = bytes([83, n]) + octets(n, seed)
        out += head + struct.pack("<I", binascii.crc32(head))
    return out


def whole(read, size, most=100):
    """What a read_* of the store returns, asked for in small parts."""
    data = bytearray(size + 16)
    at = 0
    while True:
        count = read(at, min(most, len(data) - at), memoryview(data)[at:])
        if not count:
            return bytes(data[:at])
        at += count


def check_a_replaced_plan_is_the_old_or_the_new_one_whole_at_every_cut():
    old, new = octets(3000, 1), octets(3300, 2)
    ids = {binascii.crc32(old): old, binascii.crc32(new): new}
    seen = {}
    ram, store = fresh()
    store.begin(binascii.crc32(old), old, 1000)
    before = bytes(ram.octets)
    for cut in range(200):
        ram.octets[:] = before
        store = powered(ram)
        ram.left = cut
        try:
            store.next_plan(new)
            store.replace_plan(binascii.crc32(new))
            returned = True
        except OSError:
            returned = False
        store = powered(ram)
        held = store.plan_bytes()
        assert held is not None and held == ids[store.plan_id] and not store.losses, (cut, store.losses)
        assert held == new or not returned
        assert "next" not in os.listdir("/b/0001")
        seen[held == new, returned] = True
        if returned:
            break
    # Kept as it was, gone on with although the call never returned, and done: all three have happened.
    assert seen == {(False, False): True, (True, False): True, (True, True): True}, seen


def check_batches_are_numbered_on_and_a_forgotten_one_does_not_come_back():
    ram, store = fresh()
    for number in (1, 2, 3):
        data = octets(300, number)
        store.begin(binascii.crc32(data), data, 1000 * number)
        assert (store.number, store.plan_bytes(), store.plan_size()) == (number, data, 300)
    store.forget()
    assert (store.number, store.plan_bytes(), store.plan_size()) == (0, None, 0)
    store = powered(ram)
    assert store.number == 0 and store.boots == 2 and not store.losses
    assert [(each[0], each[3]) for each in store.batches()] == [(1, 1000), (2, 2000), (3, 3000)]
    data = octets(200, 4)
    store.begin(binascii.crc32(data), data, 4000)
    assert powered(ram).number == 4


def check_what_was_appended_is_read_back_from_any_place():
    ram, store = fresh()
    plan = octets(1000, 9)
    store.begin(binascii.crc32(plan), plan, 5)
    journal, samples = b"", b""
    for at in range(60):
        record = J.encode(J.NOTE, at, 100 + at, "n" + str(at))
        block = blocks(20 + at % 9, at)
        store.append(record)
        assert store.append_samples(block)
        journal += record
        samples += block
    for _boot in range(2):
        assert store.journal_size() == len(journal) and store.samples_octets() == len(samples)
        assert b"".join(list(store.journal())) == journal
        assert whole(store.read_journal, len(journal)) == journal
        assert whole(store.read_samples, len(samples)) == samples
        assert whole(store.read_plan, len(plan)) == plan
        part = bytearray(7)
        assert store.read_samples(443, 7, memoryview(part)) == 7 and bytes(part) == samples[443:450]
        store = powered(ram)
        assert not store.losses


def _begun(ram_store):
    ram, store = ram_store
    plan = octets(300, 9)
    store.begin(binascii.crc32(plan), plan, 5)
    for at in range(40):
        store.append(J.encode(J.NOTE, at, 100 + at, "n" * 30))
        store.append_samples(blocks(40, at))
    return ram, store


def _seqs(store):
    return [record.seq for segment in store.journal() for record in J.read(segment)]


def check_a_missing_or_empty_segment_is_said_and_what_follows_it_counts():
    for damage in ("missing", "empty"):
        ram, store = _begun(fresh())
        segments = len(list(store.journal()))
        assert segments >= 4
        path = "/b/0001/j001"
        gone = [record.seq for record in J.read(list(store.journal())[1])]
        if damage == "missing":
            os.remove(path)
        else:
            open(path, "wb").close()
        store = powered(ram)
        assert store.losses == [(S.LOST_JOURNAL, 1)], (damage, store.losses)
        assert _seqs(store) == [seq for seq in range(40) if seq not in gone] and gone
        store.append(J.encode(J.NOTE, 40, 200, "goes on"))
        assert _seqs(powered(ram))[-1] == 40
        assert len(whole(store.read_journal, 4000)) == store.journal_size()
    # The last segment may be empty: power went before its first record arrived.
    ram, store = _begun(fresh())
    open(f"/b/0001/j{len(list(store.journal())):03d}", "wb").close()
    store = powered(ram)
    assert not store.losses and len(_seqs(store)) == 40


def check_a_batch_without_its_head_keeps_its_journal():
    for damage in ("empty", "missing", "and no plan"):
        ram, store = _begun(fresh())
        if damage == "empty":
            open("/b/0001/head", "wb").close()
        else:
            os.remove("/b/0001/head")
        if damage == "and no plan":
            os.remove("/b/0001/plan")
        store = powered(ram)
        assert store.losses == [(S.LOST_HEAD, 0)] and store.number == 1, (damage, store.losses)
        assert _seqs(store) == list(range(40))
        if damage == "and no plan":
            assert store.plan_bytes() is None and store.losses[-1][0] == S.LOST_PLAN
        else:
            assert store.plan_bytes() == octets(300, 9) and store.plan_id == binascii.crc32(octets(300, 9))
        store = powered(ram)
        assert not store.losses and _seqs(store) == list(range(40))
    # Power went while a batch was begun: nothing was promised, nothing is lost.
    ram, store = fresh()
    os.mkdir("/b/0001")
    open("/b/0001/plan", "wb").close()
    store = powered(ram)
    assert not store.losses and store.number == 0 and store.numbers() == []


def check_lost_temperatures_are_said():
    ram, store = _begun(fresh())
    had = store.samples_octets()
    with open("/b/0001/o", "rb") as file:
        small = bytearray(file.read())
    small[45] ^= 1  # in the second block
    with open("/b/0001/o", "wb") as file:
        file.write(small)
    store = powered(ram)
    assert store.losses == [(S.LOST_SAMPLES, len(small) - 40)] and store.samples_octets() == had - len(small) + 40
    assert not powered(ram).losses
    os.remove("/b/0001/o")
    assert powered(ram).losses == [(S.LOST_SAMPLES, 1)]
    ram, store = _begun(fresh())
    store.append_samples(b"C\x02ab" + struct.pack("<I", binascii.crc32(b"C\x02ab")))
    assert not powered(ram).losses
    os.remove("/b/0001/s")
    with open("/b/0001/o", "wb") as file:
        file.write(b"C\x02ab" + struct.pack("<I", binascii.crc32(b"C\x02ab")))
    assert powered(ram).losses == [(S.LOST_SAMPLES, 1)]


def check_free_space_does_not_wrap_and_notes_leave_the_reserve():
    _ram, store = _begun(fresh())
    at = 40
    while store.room_for_note(80):
        store.append(J.encode(J.NOTE, at, 200, "n" * 80))
        at += 1
        assert at < 5000
    assert at > 500 and S.RESERVE - 2 * BLOCK < store.free() < S.RESERVE and store.tight
    refused = False
    while not refused:  # steps go on until nothing at all fits any more
        try:
            store.append(J.encode(J.NOTE, at, 200, "n" * 80))
            at += 1
        except OSError:
            refused = True
        assert store.free() < S.RESERVE
    stat = os.statvfs("/")
    assert stat[3] > stat[2], "littlefs did not count below nothing: this flash has to be fuller"


def check_samples_end_before_the_journals_reserve_and_say_so_once():
    _ram, store = fresh()
    plan = octets(100, 9)
    store.begin(binascii.crc32(plan), plan, 5)
    taken = 0
    while store.append_samples(blocks(440, taken)):
        taken += 1
        assert taken < 2000
    assert [what for what, _octets in store.losses] == [S.LOST_SPACE] and store.full
    assert store.free() > S.RESERVE - 3 * BLOCK and taken * 440 > BLOCK * BLOCKS // 2
    assert not store.append_samples(blocks(440, 1)) and len(store.losses) == 1
    for at in range(40):
        store.append(J.encode(J.NOTE, at, 100, "still written"))


def check_room_is_made_from_the_oldest_that_may_go_and_from_no_other():
    _ram, store = fresh()
    for number in range(1, 6):
        data = octets(500, number)
        store.begin(binascii.crc32(data), data, number)
        if number in (2, 4):
            store.mark(S.COLLECTED_JOURNAL)
            assert store.flags == S.COLLECTED_JOURNAL
        if number in (2, 3):
            store.mark(S.COLLECTED if number == 2 else S.AGREED)
    kept = []
    room = store.free() - S.KEEP_FREE
    assert store.make_room(room) and len(store.batches()) == 5
    while store.make_room(room):
        room += BLOCK
        kept.append([each[0] for each in store.batches()])
    kept.append([each[0] for each in store.batches()])
    assert [1, 3, 4, 5] in kept and kept[-1] == [1, 4, 5], kept


class Settable:
    """An app of which the handler needs a store, a bench and a clock."""

    def __init__(self, store):
        self.store = store
        self.bench = self
        self.mode = D.FINISHED
        self.set = []

    def set_clock(self, now_s, offset_min):
        self.set.append((now_s, offset_min))


def check_one_collected_stream_is_not_both():
    """Only when journal and samples both were taken to their end may a batch make room for another."""
    for first, second in ((m.STREAM_JOURNAL, m.STREAM_SAMPLES), (m.STREAM_SAMPLES, m.STREAM_JOURNAL)):
        _ram, store = fresh()
        plan = octets(400, 3)
        plan_id = binascii.crc32(plan)
        store.begin(plan_id, plan, 5)
        store.append(J.encode(J.NOTE, 1, 100, "a note"))
        store.append_samples(blocks(30, 1))
        app = Settable(store)
        handler = serve.Handler(app)
        ends = {m.STREAM_JOURNAL: store.journal_size(), m.STREAM_SAMPLES: store.samples_octets()}
        for stream in (first, second):
            assert store.flags & S.COLLECTED != S.COLLECTED
            handler.log_drop(plan_id, stream, ends[stream] - 1)
            handler.log_drop(plan_id ^ 1, stream, ends[stream])
            handler.log_drop(plan_id, m.STREAM_PLAN, len(plan))
            app.mode = D.DAY_RUNNING
            handler.log_drop(plan_id, stream, ends[stream])
            app.mode = D.FINISHED
            assert store.flags & S.COLLECTED != S.COLLECTED  # none of these was the rest of it
            assert handler.log_drop(plan_id, stream, ends[stream])[0] == m.OK
        assert store.flags & S.COLLECTED == S.COLLECTED


def check_no_clock_that_a_timer_cannot_have():
    """From 2026, the firmware's own year, to the end of a Pico's small integers; at most 18 hours from UTC."""
    first = (6 * 365 + 2) * 86400  # six years from 2020 on, of which 2020 and 2024 have a day more
    last = (1 << 30) - 1
    app = Settable(None)
    handler = serve.Handler(app)
    for now_s, ms, offset in ((first - 1, 0, 0), (0, 0, 0), (last + 1, 0, 0), (first, 1000, 0), (first, 0, 1081),
                              (first, 0, -1081)):  # fmt: skip
        assert handler.clock_set(now_s, ms, offset)[0] == m.BAD_VALUE, (now_s, ms, offset)
    assert app.set == []
    for now_s, ms, offset, then_s in ((first, 0, 0, first), (last, 0, 60, last), (first, 499, 1080, first),
                                      (first, 500, -1080, first + 1), (first, 999, 0, first + 1)):  # fmt: skip
        assert handler.clock_set(now_s, ms, offset)[0] == m.OK
        assert app.set[-1] == (then_s, offset)


def check_no_plan_is_offered_more_room_than_the_flash_keeps_for_one():
    room = serve.Handler(None).plan_room()
    assert 48 * 80 < room <= m.PLAN_MAX and 2 * room < S.KEEP_FREE  # old and new are there together for a while
    assert room <= P.MAX_PLAN_BYTES


ran = 0
for name, check in sorted(globals().items()):
    if name.startswith("check_"):
        check()
        ran += 1
print("ran", ran)
