"""Flash: the only writer to it, with `files`, `journalfile` and `samplefile` below it. Bounded and checked throughout.

Layout, below the root of the file system:

    /b/0001/head     one batch: plan id, flags, when it began     (sealed, see files)
    /b/0001/plan     canonical plan bytes
    /b/0001/j000     journal, in segments
    /b/0001/s        samples
    /b/0001/o        the newest samples
    /b/0001/d        dose of the proof so far                     (sealed)
    /set /cal /boots sealed records
    /crash           text of the last crash

What fails its check is set aside, counted in `losses`, and replaced
by defaults: whatever the flash holds, the timer boots and says what it lost.

What `append` returned from is durable. No method changes the state of the day.
"""

import binascii
import os
import struct

from files import read_file, remove_tree, seal, size_of, summed, try_write, unseal, write_file
from journalfile import JournalFile
from samplefile import SampleFile

SAMPLES_MAX = 1000000  # two weeks at one pair in 5 s and 4.1 octets a pair
KEEP_FREE = 49152  # blocks littlefs needs to move things about, and the next plan
RESERVE = 24576  # kept for the journal: temperatures end here, so that steps can still be marked done
WRITES_PER_ERASE = 3  # measured on the virtual board's littlefs over a played day; a test keeps it honest
BLOCKS = 352  # of a Pico's file system; a Pico 2 has 768 and lasts longer
ERASES_A_BLOCK = 100000
_NOTED_MAX = 1024
_TIGHT_AGAIN = 20  # appends between two looks at a flash that was found too full
BATCHES_MAX = 8

COLLECTED_JOURNAL = 1
COLLECTED_SAMPLES = 2
AGREED = 4  # the cook said that it may be dropped
COLLECTED = COLLECTED_JOURNAL | COLLECTED_SAMPLES

NO_ROOM = 255  # "step" of the alarm that temperatures cannot be written; 0 is the one of the heap

# What was lost, as in LOST records.
LOST_SETTINGS = 1
LOST_CALIBRATION = 2
LOST_PLAN = 3
LOST_JOURNAL = 4
LOST_SAMPLES = 5
LOST_HEAD = 6
LOST_FORMATTED = 7
LOST_SPACE = 8
LOST_WORDS = (
    "", "settings", "calibration", "the plan", "journal", "temperatures", "a batch", "everything", "space for a log"
)  # fmt: skip


class Store:
    """`valid_length(octets)` says how many octets of a journal segment are whole records (from `journal`)."""

    def __init__(self, valid_length):
        self._journal = JournalFile(valid_length)
        self._samples = SampleFile()
        self.losses = []  # (what, octets)
        self.number = 0  # of the batch in hand; 0 = none
        self.plan_id = 0
        self.flags = 0
        self.began_at_s = 0
        self.boots = 0
        self._last = 0  # number of the newest batch begun, and of the newest one that was closed
        self._closed = 0
        self.writes = 0
        self.full = False  # of samples; said once in `losses`
        self.tight = False  # less than RESERVE is free
        self._until_look = 0
        self._noted = _NOTED_MAX  # octets of notes since free space was looked at

    # --- boot -----------------------------------------------------------------------------------------------------

    def open(self):
        """Find what is there; never raises for damaged content. Returns the number of this boot."""
        try:
            os.mkdir("/b")
        except OSError:
            pass
        raw = self._sealed("/boots", 0)
        if raw and len(raw) == 8:
            self.boots, self._last, self._closed = struct.unpack("<IHH", raw)
        self.boots += 1
        self._write_boots()
        losses = len(self.losses)
        for number in reversed(self.numbers()):
            if number <= self._closed or self._open_batch(number):
                break
        if self.number < self._last and self._last > self._closed and len(self.losses) == losses:
            self.losses.append((LOST_HEAD, 0))  # a batch was begun, and nothing of it is left
        return self.boots

    def _write_boots(self):
        if try_write("/boots", seal(struct.pack("<IHH", self.boots, self._last, self._closed))):
            self.writes += 1

    def numbers(self):
        """Return the numbers of the batches held, oldest first."""
        found = []
        try:
            for name in os.listdir("/b"):
                try:
                    found.append(int(name))
                except ValueError:
                    remove_tree("/b/" + name)
        except OSError:
            pass
        return sorted(found)

    def _sealed(self, path, what):
        """Return the payload of a sealed file, None when it is not there or damaged (which is put down as lost)."""
        data = read_file(path)
        if not data:
            return None  # empty: power went when the file had its name but no content yet, so nothing was promised
        payload = unseal(data)
        if payload is None and what:
            self.losses.append((what, len(data)))
        return payload

    def _dir(self, number):
        return "/b/%04d" % number

    def _open_batch(self, number):
        folder = self._dir(number)
        raw = self._sealed(folder + "/head", LOST_HEAD)
        if raw is None or len(raw) != 9:
            # A batch begins with its head: a folder without one, and without a journal, holds nothing acknowledged.
            if size_of(folder + "/head") <= 0:
                if not self._has_journal(folder):
                    remove_tree(folder)
                    return False
                self.losses.append((LOST_HEAD, 0))
            self._attach(number, binascii.crc32(read_file(folder + "/plan") or b""), 0, 0)
            try:
                self._write_head()
            except OSError:
                pass
            return True
        plan_id, flags, began = struct.unpack("<IBI", raw)
        self._attach(number, plan_id, flags, began)
        return True

    def _has_journal(self, folder):
        for name in os.listdir(folder):
            if name[0] == "j" and size_of(folder + "/" + name) > 0:
                return True
        return False

    def _attach(self, number, plan_id, flags, began_at_s):
        self.number = number
        self.plan_id = plan_id
        self.flags = flags
        self.began_at_s = began_at_s
        folder = self._dir(number)
        lost = self._journal.open(folder)
        if lost:
            self.losses.append((LOST_JOURNAL, lost))
        lost = self._samples.open(folder)
        if lost:
            self.losses.append((LOST_SAMPLES, lost))

    # --- batch ----------------------------------------------------------------------------------------------------

    def plan_bytes(self):
        """Return the plan of the batch in hand, or None."""
        if not self.number:
            return None
        data = read_file(self._dir(self.number) + "/plan")
        if data is None or binascii.crc32(data) != self.plan_id:
            self.losses.append((LOST_PLAN, len(data or b"")))
            return None
        return data

    def plan_size(self):
        """Return how many octets the plan in hand has, 0 without a good one.

        Not `len(plan_bytes())`: late in a day, memory in one piece for all of a plan may be hard to find.
        """
        if not self.number:
            return 0
        size, crc = summed(self._dir(self.number) + "/plan")
        return size if size > 0 and crc == self.plan_id else 0

    def begin(self, plan_id, data, at_s):
        """Begin a new batch with this plan; durable when it returns. OSError when the flash has no room."""
        numbers = self.numbers()
        number = max(numbers[-1] if numbers else 0, self._last, self._closed) + 1
        folder = self._dir(number)
        for path in ("/b", folder):
            if size_of(path) < 0:
                os.mkdir(path)
        try:
            write_file(folder + "/plan", data)
            # The head comes last: a batch with a head is complete.
            write_file(folder + "/head", seal(struct.pack("<IBI", plan_id, 0, at_s)))
        except OSError:
            remove_tree(folder)
            raise
        self.writes += 2
        self._last = number
        self._write_boots()
        self._attach(number, plan_id, 0, at_s)
        self.full = False

    def next_plan(self, data):
        """Write another plan beside the one in hand, which goes on until replace_plan."""
        write_file(self._dir(self.number) + "/next", data)
        self.writes += 1

    def replace_plan(self, plan_id):
        """Put the plan that next_plan wrote in place of the one in hand, the batch going on.

        Two files change; `plan_id` of the head decides which of the two plans holds after a power cut in between.
        """
        folder = self._dir(self.number)
        self.plan_id = plan_id
        self._write_head()
        os.rename(folder + "/next", folder + "/plan")
        self.writes += 1

    def finish_replacement(self):
        """After a power cut within `replace_plan`: bring plan and head together again. Call before plan_bytes."""
        if not self.number:
            return
        folder = self._dir(self.number)
        data = read_file(folder + "/next")
        if data is None:
            return
        if binascii.crc32(data) == self.plan_id:
            os.rename(folder + "/next", folder + "/plan")
        else:
            os.remove(folder + "/next")

    def forget(self):
        """Close the batch in hand, for good; it stays on flash until it is dropped."""
        if self.number > self._closed:
            self._closed = self.number
            self._write_boots()
        self.number = 0
        self.plan_id = 0
        self._journal.close()
        self._samples.close()

    def _write_head(self):
        head = struct.pack("<IBI", self.plan_id, self.flags, self.began_at_s)
        write_file(self._dir(self.number) + "/head", seal(head))
        self.writes += 1

    def mark(self, flags):
        """Set flags of the batch in hand (COLLECTED_*, AGREED)."""
        if self.number and self.flags | flags != self.flags:
            self.flags |= flags
            self._write_head()

    def batches(self):
        """Return [(number, plan_id, flags, began_at_s)], oldest first, of what is held."""
        found = []
        for number in self.numbers():
            raw = unseal(read_file(self._dir(number) + "/head") or b"")
            if raw and len(raw) == 9:
                found.append((number,) + struct.unpack("<IBI", raw))
        return found

    def make_room(self, octets):
        """Drop the oldest batches that may go until a new one fits; return True when it does."""
        held = self.batches()
        while held and (len(held) >= BATCHES_MAX or self.free() < octets + KEEP_FREE):
            if not self._drop_one(held, True):
                return False
        return self.free() >= octets + KEEP_FREE

    def _drop_one(self, held, own):
        """Drop the oldest of the batches `held` that may go; False when none may."""
        for batch in held:
            if (batch[2] & COLLECTED == COLLECTED or batch[2] & AGREED) and (own or batch[0] != self.number):
                if batch[0] == self.number:
                    self.forget()
                remove_tree(self._dir(batch[0]))
                held.remove(batch)
                return True
        return False

    def _look_at_room(self):
        """Take note whether the reserve is reached; old batches that may go make room first."""
        if self.free() < RESERVE:
            held = self.batches()
            while self.free() < RESERVE and self._drop_one(held, False):
                pass
        self.tight = self.free() < RESERVE
        self._until_look = _TIGHT_AGAIN

    def free(self):
        """Return free octets of the file system."""
        stat = os.statvfs("/")
        # littlefs counts blocks that are shared twice, so nearly full it has used more than there are: below nothing.
        return stat[0] * stat[3] if stat[3] <= stat[2] else 0

    # --- journal, samples, plan -----------------------------------------------------------------------------------

    def append(self, data):
        """Append whole journal records; durable when it returns, OSError otherwise."""
        if self.number:
            self._journal.append(data)
            self.writes += 1

    def room_for_note(self, octets):
        """True while what the cook writes leaves the reserve alone; looked at each kilobyte, for it takes its time."""
        self._noted += octets
        if self.tight or self._noted > _NOTED_MAX:
            self._noted = 0
            self._look_at_room()
        return not self.tight

    def journal_size(self):
        return self._journal.size()

    def journal(self):
        """Return an iterator over the journal's segments."""
        return self._journal.segments()

    def read_journal(self, offset, count, into):
        """Copy up to count octets at offset into a memoryview; return how many (0 at the end)."""
        return self._journal.read(offset, count, into)

    def append_samples(self, block):
        """Append whole sample blocks, durably. Returns False when there is no room (told once in `losses`)."""
        if not self.number:
            return True
        self._until_look -= 1
        if self._samples.moves(block) or (self.tight and self._until_look <= 0):
            self._look_at_room()
        if self.tight or self._samples.octets() + len(block) > SAMPLES_MAX:
            if not self.full:
                self.full = True
                self.losses.append((LOST_SPACE, len(block)))
            return False
        self.full = False
        self._samples.append(block)
        self.writes += 1
        return True

    def samples_octets(self):
        return self._samples.octets()

    def read_samples(self, offset, count, into):
        """As read_journal, for the sample blocks."""
        return self._samples.read(offset, count, into)

    def read_plan(self, offset, count, into):
        """As read_journal, for the plan."""
        return self._read_at(self._dir(self.number) + "/plan", offset, count, into) if self.number else 0

    def _read_at(self, path, offset, count, into):
        with open(path, "rb") as file:
            file.seek(offset)
            return file.readinto(into[:count])

    # --- crash log ------------------------------------------------------------------------------------------------

    def crash_size(self):
        return max(0, size_of("/crash"))

    def read_crash(self, offset, count, into):
        return self._read_at("/crash", offset, count, into) if self.crash_size() else 0

    def drop_crash(self):
        if self.crash_size():
            os.remove("/crash")

    # --- small records --------------------------------------------------------------------------------------------

    def load(self, path, what):
        """Return the payload of a sealed record, or None."""
        return self._sealed(path, what)

    def save(self, path, payload):
        """Write a sealed record."""
        write_file(path, seal(payload))
        self.writes += 1

    def wear_years(self, erases, in_s):
        """Years until the flash is worn at the pace of `in_s`: erases spread over all blocks, 100 000 each.

        A board that cannot count erases (MicroPython's own file system: 0) has them reckoned from the writes.
        """
        erases = erases or self.writes // WRITES_PER_ERASE
        if not erases:
            return 9999
        return min(9999, BLOCKS * ERASES_A_BLOCK // erases * max(1, in_s) // 31557600)
