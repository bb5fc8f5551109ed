"""Temperature log: blocks of delta-coded sample pairs (bench and probe, 0.01 °C), bytes in and out, no file.

A key block is b'S', len u8, at_s u32, interval_s u8, count u16, bench i16, probe i16, deltas, crc32 u32. A block that
goes on where the one before it ended is b'C', len u8, count u8, link u8, deltas, crc32 u32; `link` is the low byte of
that block's crc32, so a lost block cannot shift what follows. `len` counts the bytes between itself and the crc32;
little-endian throughout; no block is longer than BLOCK bytes.

One pair of deltas is one byte of two nibbles (bench high, probe low): 1..15 mean -7..+7; 0 means that a number follows
(seven bits a byte, low first; bench's before probe's): 0 = no reading from here on, else 1 + zigzag(delta against the
last reading). Inside a gap the nibble 8 (delta 0) means that it goes on.
"""

import binascii
import struct

from shared_schedule.units import NO_CDEG

BLOCK = 240
KEY_EVERY = 120  # samples: a damaged block costs at most ten minutes at one sample in 5 s

_KEY = 83  # b"S"
_NEXT = 67  # b"C"
_KEY_HEAD = 13
_NEXT_HEAD = 4
_CRC = 4
_PAIR_MAX = 7  # one byte of nibbles and two numbers of at most three bytes


class SampleWriter:
    """Codes samples into blocks. `add` allocates nothing; `block` hands out what was coded since the last one.

    `interval_s` is 1..255. A sample that comes more than half an interval off its turn begins a new key block.
    """

    def __init__(self, interval_s):
        if not 1 <= interval_s <= 255:
            raise ValueError("interval_s is %d; allowed are 1 to 255" % interval_s)
        self.interval_s = interval_s
        self.buffer = bytearray(BLOCK)
        self.view = memoryview(self.buffer)
        self.count = 0  # pairs in the open block
        self.size = 0
        self.next_at_s = 0
        self.since_key = 0
        self.chained = False  # the next block may go on from the last one
        self.link = 0
        self.bench = 0  # last reading, the base of deltas
        self.probe = 0
        self.bench_gap = False
        self.probe_gap = False

    def restart(self):
        """Make the next block a key block: a new segment begins."""
        self.chained = False

    def add(self, at_s, bench_cdeg, probe_cdeg):
        """Code one pair; False means that it did not fit: take `block()`, then add it again."""
        off_s = at_s - self.next_at_s
        on_time = -self.interval_s <= 2 * off_s <= self.interval_s
        if self.count:
            if not on_time or self.size + _PAIR_MAX + _CRC > BLOCK or self.since_key >= KEY_EVERY:
                return False
        elif not (self.chained and on_time and self.since_key < KEY_EVERY):
            self._open_key(at_s, bench_cdeg, probe_cdeg)
            return True
        else:
            self.buffer[0] = _NEXT
            self.buffer[3] = self.link
            self.size = _NEXT_HEAD
        self._put_pair(bench_cdeg, probe_cdeg)
        self.count += 1
        self.since_key += 1
        self.next_at_s += self.interval_s
        return True

    def _open_key(self, at_s, bench_cdeg, probe_cdeg):
        self.buffer[0] = _KEY
        self._put_u16(2, at_s & 0xFFFF)
        self._put_u16(4, (at_s >> 16) & 0xFFFF)
        self.buffer[6] = self.interval_s
        self._put_u16(9, bench_cdeg & 0xFFFF)
        self._put_u16(11, probe_cdeg & 0xFFFF)
        self.size = _KEY_HEAD
        self.bench_gap = bench_cdeg == NO_CDEG
        self.probe_gap = probe_cdeg == NO_CDEG
        self.bench = 0 if self.bench_gap else bench_cdeg
        self.probe = 0 if self.probe_gap else probe_cdeg
        self.count = 1
        self.since_key = 1
        self.next_at_s = at_s + self.interval_s

    def _put_u16(self, at, value):
        self.buffer[at] = value & 255
        self.buffer[at + 1] = value >> 8

    def _put_pair(self, bench_cdeg, probe_cdeg):
        bench_number = _number(bench_cdeg, self.bench, self.bench_gap)
        probe_number = _number(probe_cdeg, self.probe, self.probe_gap)
        high = 0 if bench_number >= 0 else _nibble(bench_cdeg, self.bench)
        low = 0 if probe_number >= 0 else _nibble(probe_cdeg, self.probe)
        self.buffer[self.size] = (high << 4) | low
        self.size += 1
        if not high:
            self._put_number(bench_number)
        if not low:
            self._put_number(probe_number)
        self.bench_gap = bench_cdeg == NO_CDEG
        self.probe_gap = probe_cdeg == NO_CDEG
        if not self.bench_gap:
            self.bench = bench_cdeg
        if not self.probe_gap:
            self.probe = probe_cdeg

    def _put_number(self, value):
        while value > 127:
            self.buffer[self.size] = (value & 127) | 128
            self.size += 1
            value >>= 7
        self.buffer[self.size] = value
        self.size += 1

    def block(self):
        """Close the open block and return a view of its bytes (empty if none is open); valid until the next `add`."""
        if not self.count:
            return self.view[:0]
        if self.buffer[0] == _KEY:
            self._put_u16(7, self.count)
        else:
            self.buffer[2] = self.count
        self.buffer[1] = self.size - 2
        crc = binascii.crc32(self.view[: self.size]) & 0xFFFFFFFF
        struct.pack_into("<I", self.buffer, self.size, crc)
        size = self.size + _CRC
        self.link = crc & 255
        self.chained = True
        self.count = 0
        self.size = 0
        return self.view[:size]


def _number(cdeg, last, gap):
    """Return the number to write, or -1 if the nibble says it all."""
    if cdeg == NO_CDEG:
        return -1 if gap else 0
    delta = cdeg - last
    if not gap and -7 <= delta <= 7:
        return -1
    return 1 + (delta * 2 if delta >= 0 else -delta * 2 - 1)


def _nibble(cdeg, last):
    return 8 if cdeg == NO_CDEG else cdeg - last + 8


class BlockReader:
    """Iterator over (at_s, bench_cdeg, probe_cdeg). `unread` counts bytes that were damaged or had lost their key."""

    def __init__(self, data, offset=0):
        self.data = data
        self.at = offset
        self.unread = 0
        self.left = 0  # pairs left in the block at hand
        self.first = False
        self.known = False  # a chained block may follow
        self.link = 0
        self.place = 0
        self.end = 0
        self.next_at_s = 0
        self.interval_s = 0
        self.last = [0, 0]
        self.gap = [False, False]

    def __iter__(self):
        return self

    def __next__(self):
        while True:
            while not self.left:
                if self.at >= len(self.data):
                    raise StopIteration
                if not self._open():
                    self.at += 1
                    self.unread += 1
                    self.known = False
            self.left -= 1
            if self.first:
                self.first = False
                break
            if self._pair():
                break
            self.left = 0  # sound bytes that tell nonsense: another writer's; the rest of the block is left out
            self.unread += 1
            self.known = False
        at_s = self.next_at_s
        self.next_at_s += self.interval_s
        return (at_s, self._value(0), self._value(1))

    def _pair(self):
        if self.place >= self.end:
            return False
        nibbles = self.data[self.place]
        self.place += 1
        return self._take(0, nibbles >> 4) and self._take(1, nibbles & 15)

    def _value(self, channel):
        return NO_CDEG if self.gap[channel] else self.last[channel]

    def _take(self, channel, nibble):
        if nibble:
            if not self.gap[channel]:
                self.last[channel] += nibble - 8
            return True
        number = shift = 0
        while True:
            if self.place >= self.end or shift > 14:
                return False
            byte = self.data[self.place]
            self.place += 1
            number |= (byte & 127) << shift
            shift += 7
            if byte < 128:
                break
        if number == 0:
            self.gap[channel] = True
            return True
        number -= 1
        self.gap[channel] = False
        self.last[channel] += -((number + 1) >> 1) if number & 1 else number >> 1
        return -32768 <= self.last[channel] <= 32767

    def _open(self):
        """Open the block at `at`; False if none sound begins here."""
        data = self.data
        if self.at + _NEXT_HEAD + _CRC > len(data):
            return False
        kind = data[self.at]
        end = self.at + 2 + data[self.at + 1]
        head = _KEY_HEAD if kind == _KEY else _NEXT_HEAD
        if kind not in (_KEY, _NEXT) or end < self.at + head or end + _CRC > len(data):
            return False
        crc = binascii.crc32(bytes(data[self.at : end])) & 0xFFFFFFFF
        if struct.unpack("<I", bytes(data[end : end + _CRC]))[0] != crc:
            return False
        if kind == _NEXT:
            if not self.known or data[self.at + 3] != self.link:
                # Sound, but its key is gone: pass over it whole.
                self.unread += end + _CRC - self.at
                self.at = end + _CRC
                self.known = False
                return True
            self.left = data[self.at + 2]
            self.first = False
        else:
            at_s, self.interval_s, self.left, bench, probe = struct.unpack(
                "<IBHhh", bytes(data[self.at + 2 : self.at + _KEY_HEAD])
            )
            self.next_at_s = at_s
            self.gap = [bench == NO_CDEG, probe == NO_CDEG]
            self.last = [0 if self.gap[0] else bench, 0 if self.gap[1] else probe]
            self.first = True
        self.place = self.at + head
        self.end = end
        self.link = crc & 255
        self.known = True
        self.at = end + _CRC
        return True


def read_blocks(data, offset=0):
    """Return a BlockReader over the samples in `data`; afterwards `.unread` says how many bytes told nothing."""
    return BlockReader(data, offset)
