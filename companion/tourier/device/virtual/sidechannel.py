"""What goes over the socket between the virtual board and the program that plays its world (firmware/board_virtual.py).

From the firmware: kind u8, length u16, payload. To it: one settings record at the start, then one turn for each idle.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator

HELLO, IDLE, FRAME, GLANCE, TONE, LIGHT, CUT, FLASH, CLOCK, RESET, MARK, WDT, PLAN = range(1, 14)
SETTINGS = struct.Struct("<IIBBiiHHBB8s")
TURN = struct.Struct("<IHHBBhHIB")
TICKS = 1 << 30  # ticks_ms wraps here
NEVER = 0xFFFF  # as the number of the transfer or conversion that is to fail
_HEAD = 3


class Inbox:
    """Octets in, whole messages out."""

    def __init__(self) -> None:
        self._buffer = bytearray()

    def clear(self) -> None:
        """Forget what has come of a message: its sender has no power any more."""
        self._buffer.clear()

    def take(self, data: bytes) -> Iterator[tuple[int, bytes]]:
        """Yield (kind, payload) of every message that is complete; what is left waits for the rest of it."""
        self._buffer += data
        while len(self._buffer) >= _HEAD:
            size = int.from_bytes(self._buffer[1:3], "little")
            if len(self._buffer) < _HEAD + size:
                return
            kind, payload = self._buffer[0], bytes(self._buffer[_HEAD : _HEAD + size])
            del self._buffer[: _HEAD + size]
            yield kind, payload
