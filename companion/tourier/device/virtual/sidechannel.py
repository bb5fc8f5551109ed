"""What goes over the socket between the virtual board and the program that plays its world (firmware/board_virtual.py).

From the firmware: kind u8, length u16, payload; what its screen says is one of them, read here as a cook reads it. To
the firmware: one settings record at the start, then one turn for each idle.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass

from shared_schedule.units import NO_CDEG

HELLO, IDLE, FRAME, GLANCE, TONE, LIGHT, CUT, FLASH, CLOCK, RESET, MARK, WDT, PLAN, AGAIN = range(1, 15)
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


@dataclass(frozen=True)
class Glance:
    """One screen; fields as firmware/glance.py writes them. Temperatures in 0.01 °C, NO_CDEG = no reading."""

    screen: str = ""
    word: str = ""
    step_id: int = 0
    step_state: int = 0
    mode: int = 0
    alarm: int = 0
    alarm_step: int = 0
    fault: int = 0
    probe_cdeg: int = NO_CDEG
    bench_cdeg: int = NO_CDEG
    low_cdeg: int = NO_CDEG
    high_cdeg: int = NO_CDEG
    left_s: int = -1
    question: int = -1
    fold_n: int = 0
    fold_of: int = 0
    slack_s: int = 0
    line: str = ""
    left_label: str = ""
    middle_label: str = ""
    right_label: str = ""
    due: bool = False
    place: int = 0
    code: int = 0
    chosen: int = -1
    lines: tuple[str, ...] = ()

    def __getitem__(self, name: str):
        return getattr(self, name)


_TEXTS = {0, 1, 17, 18, 19, 20}
_FIELDS = 25


def parse_glance(octets: bytes) -> Glance:
    """Read one message of the firmware."""
    parts = octets.decode(errors="replace").split("\x1f")
    values: list = [part if at in _TEXTS else int(part) for at, part in enumerate(parts[:_FIELDS])]
    values[21] = bool(values[21])
    return Glance(*values, lines=tuple(parts[_FIELDS:]))


def picture(memory: bytes, scale: int = 1) -> list[str]:
    """The display's memory as rows of '#' and '.', for a terminal or a failing test."""
    rows = []
    for y in range(64):
        rows.append("".join("#" if memory[x + 128 * (y // 8)] >> (y % 8) & 1 else "." for x in range(128)))
    return rows
