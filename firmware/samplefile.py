"""The temperatures of one batch on flash: a small file that is appended to without an erase, moved now and then to the
end of a large one.
"""

import binascii
import struct

from files import read_file, size_of, try_write, write_file

from shared_schedule.samples import NEXT

OPEN_MAX = 448  # as a journal segment: littlefs keeps so small a file in its directory


def _sound(data):
    """Return how many octets of the small file are whole sample blocks; it holds nothing else."""
    at = 0
    while at + 6 <= len(data):
        end = at + 2 + data[at + 1]
        if end + 4 > len(data) or struct.unpack("<I", data[end : end + 4])[0] != binascii.crc32(data[at:end]):
            break
        at = end + 4
    return at


class SampleFile:
    """`size` and `open_size` are the octets in the large file and in the small one."""

    def __init__(self):
        self._moved = bytearray(OPEN_MAX)  # for the small file on its way: memory may be in pieces when it moves
        self.close()

    def close(self):
        """No batch is in hand."""
        self._folder = ""
        self.size = self.open_size = 0

    def open(self, folder):
        """Take up what a batch's folder holds; returns how many octets were lost, 1 when that is not known, or 0."""
        self._folder = folder
        return self.mend()

    def octets(self):
        return self.size + self.open_size

    def moves(self, block):
        """True when the next block makes the small file move."""
        return self.open_size + len(block) > OPEN_MAX

    def append(self, block):
        """Append whole sample blocks, durably; OSError when flash refuses."""
        folder = self._folder
        try:
            if self.moves(block):
                with open(folder + "/o", "rb") as file:
                    count = file.readinto(self._moved)
                with open(folder + "/s", "ab") as file:
                    file.write(memoryview(self._moved)[:count])
                self.size += self.open_size
                self.open_size = 0
                write_file(folder + "/o", block)
            else:
                with open(folder + "/o", "ab") as file:
                    file.write(block)
        except OSError:
            self.mend()  # not known what arrived
            raise
        self.open_size += len(block)

    def mend(self):
        """Look at what is really there; undo a move that power cut short. Returns as `open`."""
        folder = self._folder
        self.size = max(0, size_of(folder + "/s"))
        data = read_file(folder + "/o") or b""
        if data and self.size >= len(data):
            try:
                with open(folder + "/s", "rb") as file:
                    file.seek(self.size - len(data))
                    doubled = file.read() == data  # power went between the move and the emptying
            except OSError:
                doubled = False
            if doubled:
                data = b""
                try_write(folder + "/o", data)
        good = _sound(data)
        lost = len(data) - good
        if lost:
            try_write(folder + "/o", data[:good])
        elif self.size:
            lost = 1 if size_of(folder + "/o") < 0 else 0
        elif data and data[0] == NEXT:
            lost = 1  # the block it goes on from was in the large file
        self.open_size = good
        return lost

    def read(self, offset, count, into):
        """Copy up to count octets at offset into a memoryview; return how many (0 at the end)."""
        done = 0
        for name, start, size in (("/s", 0, self.size), ("/o", self.size, self.open_size)):
            here = offset + done - start
            n = min(count - done, size - here)
            if here >= 0 and n > 0:
                with open(self._folder + name, "rb") as file:
                    file.seek(here)
                    done += file.readinto(into[done : done + n])
        return done
