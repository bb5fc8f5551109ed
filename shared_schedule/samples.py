"""Temperature log: blocks of delta-coded samples (a reading of each channel, 0.01 °C), bytes in and out, no file.

A key block of format 1 is b'S', len u8, at_s u32, interval_s u8, count u16, bench i16, probe i16, deltas, crc32 u32;
its channels are 0 and 1. One of format 2 is b'K', len u8, 2 u8, at_s u32, interval_s u8, count u16, n u8, n numbers of
channels u8, n readings i16, deltas, crc32 u32. A block that goes on where the one before it ended is b'C', len u8,
count u8, link u8, deltas, crc32 u32; `link` is the low byte of that block's crc32, so a lost block cannot shift what
follows. `len` counts the bytes between itself and the crc32; little-endian throughout; no block has more than BLOCK.

The deltas of a sample are a nibble for each channel, high before low, with an 8 to fill the last byte: 1..15 mean
-7..+7; 0 means that a number follows (seven bits a byte, low first; in the order of channels): 0 = no reading from here
on, else 1 + zigzag(delta against the last reading). Inside a gap the nibble 8 (delta 0) means that it goes on.
"""

import binascii
import struct

from shared_schedule.units import NO_CDEG

FORMAT = 2  # the newest; every one from 1 on is read. Channels 0 and 1 alone are written in format 1
BLOCK = 240
KEY_EVERY = 120  # samples: a damaged block costs at most ten minutes at one sample in 5 s
CHANNELS_MAX = 4
USUAL = (0, 1)  # channels of format 1: bench and probe

_KEY = 83  # b"S"
_KEY_2 = 75  # b"K"
NEXT = 67  # b"C"
_KEY_HEAD = 13
_KEY_2_HEAD = 11  # and three bytes for each channel
_NEXT_HEAD = 4
_CRC = 4


class SampleWriter:
    """Codes samples into blocks. `add` allocates nothing; `block` hands out what was coded since the last one.

    `interval_s` is 1..255; `channels` are the numbers of one to four channels, 0..255, in the order of readings. A
    sample that comes more than half an interval off its turn begins a new key block.
    """

    def __init__(self, interval_s, channels=USUAL):
        if not 1 <= interval_s <= 255:
            raise ValueError("interval_s is %d; allowed are 1 to 255" % interval_s)
        n = len(channels)
        if not 1 <= n <= CHANNELS_MAX or len(set(channels)) != n or min(channels) < 0 or max(channels) > 255:
            raise ValueError("channels must be 1 to %d different numbers of 0 to 255" % CHANNELS_MAX)
        self.interval_s = interval_s
        self.channels = tuple(channels)
        self.buffer = bytearray(BLOCK)
        self.view = memoryview(self.buffer)
        self.count = 0  # samples in the open block
        self.size = 0
        self.next_at_s = 0
        self.since_key = 0
        self.chained = False  # the next block may go on from the last one
        self.link = 0
        self.last = [0] * n  # readings, the base of deltas
        self.gap = [False] * n
        self._row_max = (n + 1) // 2 + 3 * n  # nibbles, and numbers of at most three bytes

    def restart(self):
        """Make the next block a key block: a new segment begins."""
        self.chained = False

    def add(self, at_s, readings):
        """Code one sample, a reading for each channel; False: it did not fit: take `block()`, then add it again."""
        off_s = at_s - self.next_at_s
        on_time = -self.interval_s <= 2 * off_s <= self.interval_s
        if self.count:
            if not on_time or self.size + self._row_max + _CRC > BLOCK or self.since_key >= KEY_EVERY:
                return False
        elif not (self.chained and on_time and self.since_key < KEY_EVERY):
            self._open_key(at_s, readings)
            return True
        else:
            self.buffer[0] = NEXT
            self.buffer[3] = self.link
            self.size = _NEXT_HEAD
        self._put_row(readings)
        self.count += 1
        self.since_key += 1
        self.next_at_s += self.interval_s
        return True

    def _open_key(self, at_s, readings):
        n = len(self.channels)
        at = 2
        self.buffer[0] = _KEY
        if self.channels != USUAL:
            self.buffer[0] = _KEY_2
            self.buffer[2] = FORMAT
            at = 3
        self._put_u16(at, at_s & 0xFFFF)
        self._put_u16(at + 2, (at_s >> 16) & 0xFFFF)
        self.buffer[at + 4] = self.interval_s
        at += 7  # the count comes when the block is closed
        if self.buffer[0] == _KEY_2:
            self.buffer[at] = n
            at += 1
            for i in range(n):
                self.buffer[at + i] = self.channels[i]
            at += n
        for i in range(n):
            cdeg = readings[i]
            self._put_u16(at, cdeg & 0xFFFF)
            at += 2
            self.gap[i] = cdeg == NO_CDEG
            self.last[i] = 0 if cdeg == NO_CDEG else cdeg
        self.size = at
        self.count = 1
        self.since_key = 1
        self.next_at_s = at_s + self.interval_s

    def _put_u16(self, at, value):
        self.buffer[at] = value & 255
        self.buffer[at + 1] = value >> 8

    def _put_row(self, readings):
        at = self.size
        n = len(self.channels)
        self.size += (n + 1) // 2
        for i in range(n):
            cdeg = readings[i]
            number = _number(cdeg, self.last[i], self.gap[i])
            nibble = 0 if number >= 0 else _nibble(cdeg, self.last[i])
            if i & 1:
                self.buffer[at] = (self.buffer[at] & 0xF0) | nibble
                at += 1
            else:
                self.buffer[at] = (nibble << 4) | 8
            if not nibble:
                self._put_number(number)
            self.gap[i] = cdeg == NO_CDEG
            if cdeg != NO_CDEG:
                self.last[i] = cdeg

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
        if self.buffer[0] != NEXT:
            self._put_u16(7 if self.buffer[0] == _KEY else 8, self.count)
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
    """Iterator over (at_s, cdeg of each channel ...); `channels` are the numbers of those just read.

    `unread` counts bytes that were damaged, had lost their key or are of a format not known here.
    """

    def __init__(self, data, offset=0):
        self.data = data
        self.at = offset
        self.unread = 0
        self.channels = USUAL
        self.left = 0  # samples left in the block at hand
        self.first = False
        self.known = False  # a chained block may follow
        self.link = 0
        self.place = 0
        self.end = 0
        self.next_at_s = 0
        self.interval_s = 0
        self.last = []
        self.gap = []

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
            if self._row():
                break
            self.left = 0  # sound bytes that tell nonsense: another writer's; the rest of the block is left out
            self.unread += 1
            self.known = False
        at_s = self.next_at_s
        self.next_at_s += self.interval_s
        return (at_s,) + tuple([NO_CDEG if self.gap[i] else self.last[i] for i in range(len(self.last))])

    def _row(self):
        n = len(self.last)
        at = self.place
        self.place += (n + 1) // 2
        if self.place > self.end or (n & 1 and self.data[self.place - 1] & 15 != 8):
            return False
        for i in range(n):
            nibbles = self.data[at + i // 2]
            if not self._take(i, nibbles & 15 if i & 1 else nibbles >> 4):
                return False
        return True

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
        head = {_KEY: _KEY_HEAD, _KEY_2: _KEY_2_HEAD, NEXT: _NEXT_HEAD}.get(kind, 0)
        if not head or end < self.at + head or end + _CRC > len(data):
            return False
        crc = binascii.crc32(bytes(data[self.at : end])) & 0xFFFFFFFF
        if struct.unpack("<I", bytes(data[end : end + _CRC]))[0] != crc:
            return False
        self.place = self.at + head
        at = self.at
        self.at = end + _CRC
        if kind == NEXT:
            known = self.known and data[at + 3] == self.link
            if known:
                self.left = data[at + 2]
                self.first = False
        else:
            known = self._open_key(bytes(data[at:end]))
        if not known:  # sound, but its key is gone, or it is of another format: pass over it whole
            self.unread += self.at - at
        self.end = end
        self.link = crc & 255
        self.known = known
        return True

    def _open_key(self, block):
        """Take a key block; False when it is of a format not known here."""
        channels = USUAL
        at = 2
        if block[0] == _KEY_2:
            at = 3
            n = block[10]
            channels = tuple(block[_KEY_2_HEAD : _KEY_2_HEAD + n])
            if block[2] != FORMAT or not 1 <= n <= CHANNELS_MAX or len(set(channels)) != n:
                return False
            if len(block) < _KEY_2_HEAD + 3 * n:
                return False
            self.place += 3 * n
        self.next_at_s, self.interval_s, self.left = struct.unpack("<IBH", block[at : at + 7])
        n = len(channels)
        at = _KEY_HEAD - 4 if at == 2 else _KEY_2_HEAD + n
        self.last = list(struct.unpack("<%dh" % n, block[at : at + 2 * n]))
        self.gap = [cdeg == NO_CDEG for cdeg in self.last]
        self.last = [0 if cdeg == NO_CDEG else cdeg for cdeg in self.last]
        self.channels = channels
        self.first = True
        return True


def read_blocks(data, offset=0):
    """Return a BlockReader over the samples in `data`; afterwards `.unread` says how many bytes told nothing."""
    return BlockReader(data, offset)
