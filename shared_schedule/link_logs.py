"""The device's end of a log transfer: windows streamed out, ranges summed; it reads through the handler."""

import binascii

from shared_schedule import messages as m
from shared_schedule.framing import encode
from shared_schedule.link_rules import CHUNK_MIN


class LogsOut:
    """`reply(number, seq, values)` and `result(seq, code, text)` queue an answer."""

    def __init__(self, handler, reply, result):
        self._handler = handler
        self._reply = reply
        self._result = result
        self.reads = []  # [seq, stream, offset, end, chunk, crc32]: the one served and the one after it
        self.sum = None  # [seq, stream, offset, end, crc32]
        self.follows = False  # the octets before these were a frame of the same window
        self._served = None  # [stream, start, upto, crc32] of what was sent in one go: spares a second reading
        self._buffer = bytearray(m.CHUNK_MAX)
        self._view = memoryview(self._buffer)
        self._most = m.CHUNK_MAX  # less once memory was short

    def stop(self):
        """Nobody wants them any more."""
        self.reads = []
        self.sum = None

    def forget(self):
        """The logs may have changed."""
        self._served = None

    def summing(self, seq, values):
        """A checksum is asked for."""
        if self._extent_holds(seq, values) and (self.sum is None or self.sum[0] != seq):
            self.sum = self._begun(seq, values["stream"], values["offset"], values["length"])

    def _extent_holds(self, seq, values):
        """True when the range asked for can be read; else the refusal is queued."""
        extent = self._handler.log_info(values["stream"])
        if extent is None:
            self._result(seq, m.UNKNOWN, "no stream %d" % values["stream"])
        elif values["offset"] < extent[0] or values["offset"] + values["length"] > extent[1]:
            self._result(seq, m.BAD_VALUE, "octets %d to %d can be read" % extent)
        else:
            return True
        return False

    def read(self, seq, values):
        if values["fresh"]:
            self.reads = []
        for read in self.reads:
            if read[0] == seq:
                return
        if len(self.reads) >= 2 or not self._extent_holds(seq, values):
            return
        chunk = min(max(values["chunk"], CHUNK_MIN), m.CHUNK_MAX)
        self.reads.append([seq, values["stream"], values["offset"], values["offset"] + values["length"], chunk, 0])

    def frame(self, session):
        read = self.reads[0]
        seq, stream, offset, end, chunk, crc = read
        count = 0
        if offset < end:
            try:
                count = self._handler.log_read(stream, offset, min(chunk, self._most, end - offset), self._view)
            except (OSError, ValueError):
                pass  # LOG_END tells the host how far it got
        if not count:
            self.reads.pop(0)
            self.follows = False
            return encode(m.encode(m.LOG_END, session, seq, {"end": offset, "crc32": crc}))
        follows = self.follows  # its flag closed the frame before, and opens this one
        try:
            data = bytes(self._view[:count])
            mask = m.mask_for(data)
            values = {"offset": offset, "mask": mask, "data": m.masked(data, mask)}
            framed = encode(m.encode(m.LOG_DATA, session, seq, values), not follows)
        except MemoryError:
            # No room in one piece: the heap is never defragmented, so smaller frames from now on.
            if self._most <= CHUNK_MIN:
                raise
            self._most //= 2
            return b""
        read[2] = offset + count
        read[5] = binascii.crc32(data, crc)
        served = self._served
        if served is None or served[0] != stream or offset < served[1]:
            self._served = [stream, offset, offset + count, binascii.crc32(data)]
        elif served[2] == offset:
            served[2] = offset + count
            served[3] = binascii.crc32(data, served[3])
        self.follows = True
        return framed

    def _begun(self, seq, stream, offset, length):
        end = offset + length
        served = self._served
        if served is not None and served[0] == stream and served[1] == offset and served[2] <= end:
            return [seq, stream, served[2], end, served[3]]
        return [seq, stream, offset, end, 0]

    def sum_step(self):
        """Go on by a few KiB, so that no pass of the loop is held up by a long log."""
        asked = self.sum
        if asked is None:
            return
        seq, stream, offset, end, crc = asked
        for _ in range(4):
            count = 0
            if offset < end:
                try:
                    count = self._handler.log_read(stream, offset, min(m.CHUNK_MAX, end - offset), self._view)
                except (OSError, ValueError):
                    pass
            if not count:
                self.sum = None
                self._reply(m.LOG_SUM_REPLY, seq, {"stream": stream, "end": offset, "crc32": crc})
                return
            crc = binascii.crc32(self._view[:count], crc)
            offset += count
        asked[2] = offset
        asked[4] = crc
