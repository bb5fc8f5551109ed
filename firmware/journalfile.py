"""The journal of one batch on flash, in segments small enough that littlefs keeps each in its directory: an append
costs page programs but no erase. What `append` returned from is durable.
"""

import os
from array import array

from files import read_file, size_of, try_write

SEGMENT_MAX = 448  # inline limit is 512 (block size / 8); 64 left for the file's attributes


class JournalFile:
    """`valid_length(octets)` says how many octets of a segment are whole records (from `journal`)."""

    def __init__(self, valid_length):
        self._valid_length = valid_length
        self.close()

    def close(self):
        """No batch is in hand."""
        self._folder = ""
        self._sizes = array("H")  # octets in each segment: two octets a segment, a batch may have hundreds

    def open(self, folder):
        """Take up what a batch's folder holds, mending what is torn.

        Returns how many octets were lost, 1 for a segment of which nothing is left. A segment
        that is missing or empty is passed over: what came after it still counts. The last one may be empty: power went
        when it had its name and no content yet.
        """
        self._folder = folder
        self._sizes = array("H")
        lost = 0
        last = -1
        for name in os.listdir(folder):
            if name[0] == "j" and name[1:].isdigit():
                last = max(last, int(name[1:]))
        for at in range(last + 1):
            path = self._path(at)
            data = read_file(path) or b""
            good = self._valid_length(data)
            if good != len(data):
                lost += len(data) - good
                try_write(path, data[:good])
            elif not data and at < last:
                lost += 1
            self._sizes.append(good)
        return lost

    def _path(self, at):
        return self._folder + "/j%03d" % at

    def append(self, data):
        """Append whole records (at most SEGMENT_MAX octets); durable when it returns, OSError otherwise."""
        if not self._sizes or self._sizes[-1] + len(data) > SEGMENT_MAX:
            self._sizes.append(0)
        at = len(self._sizes) - 1
        path = self._path(at)
        try:
            with open(path, "ab") as file:
                file.write(data)
        except OSError:
            # Not known how much arrived: the next append goes to a fresh segment, the boot check mends this one.
            size = max(0, size_of(path))
            self._sizes[at] = size
            if size != self._valid_length(read_file(path) or b""):
                self._sizes.append(0)
            raise
        self._sizes[at] += len(data)

    def size(self):
        """Octets in all."""
        size = 0
        for segment in self._sizes:
            size += segment
        return size

    def segments(self):
        """Return an iterator over the segments' octets."""
        for at in range(len(self._sizes)):
            data = read_file(self._path(at)) or b""
            yield data[: self._sizes[at]]

    def read(self, offset, count, into):
        """Copy up to count octets at offset into a memoryview; return how many (0 at the end)."""
        at = 0
        done = 0
        for size in self._sizes:
            if offset < size and done < count:
                with open(self._path(at), "rb") as file:
                    file.seek(offset)
                    n = file.readinto(into[done : done + min(count - done, size - offset)])
                done += n
                offset += n
            if done >= count:
                break
            offset -= size
            at += 1
        return done
