"""The link's octets as text a person can read, live or from a capture file.

A capture file is the line `TOURIER-LINK 1` and then records: direction octet (">" or "<"), milliseconds u32, length
u16 (little endian), octets. A file without that first line is read as the octets of one direction.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path

from shared_schedule import messages as m
from shared_schedule.framing import Deframer
from tourier.device.errors import plain
from tourier.files import unlike_a_file

MAGIC = b"TOURIER-LINK 1\n"
_RECORD = "<cIH"
_CODE_NAMES = dict(m.CODES)
_ACTION_NAMES = dict(m.ACTIONS)
_SHOWN_OCTETS = 12  # of a long field


class CaptureError(ValueError):
    """A file that cannot hold, or does not hold, a capture; str() is one sentence."""


class Capture:
    """Adds to a capture file. Flushed record by record, so that it is whole after a crash.

    Raises CaptureError for a pipe, which may be waited for without end, and for a file that holds something else.
    """

    def __init__(self, path: Path) -> None:
        if path.is_fifo():
            raise CaptureError(unlike_a_file(path))
        if path.is_file() and path.stat().st_size:
            with path.open("rb") as there:
                if there.read(len(MAGIC)) != MAGIC:
                    raise CaptureError(f"{path} holds something else than octets of the link; name a new file to keep "
                                       "them in.")  # fmt: skip
        self._file = path.open("ab")
        if not self._file.tell():
            self._file.write(MAGIC)

    def __call__(self, direction: str, at_ms: int, octets: bytes) -> None:
        """Keep octets that went in a direction (">" to the device, "<" from it)."""
        for at in range(0, len(octets), 0xFFFF):
            part = octets[at : at + 0xFFFF]
            self._file.write(struct.pack(_RECORD, direction.encode(), at_ms & 0xFFFFFFFF, len(part)) + part)
        self._file.flush()

    def close(self) -> None:
        """Close the file."""
        self._file.close()


def read_capture(path: Path) -> Iterator[tuple[str, int | None, bytes]]:
    """Yield (direction, ms, octets); direction "" and ms None for a file that is not a capture. Stops at a torn end.

    Raises CaptureError for what is no file.
    """
    if wrong := unlike_a_file(path):
        raise CaptureError(wrong)
    with path.open("rb") as file:
        if file.read(len(MAGIC)) != MAGIC:
            file.seek(0)
            while octets := file.read(4096):
                yield "", None, octets
            return
        size = struct.calcsize(_RECORD)
        while len(head := file.read(size)) == size:
            direction, at_ms, length = struct.unpack(_RECORD, head)
            octets = file.read(length)
            yield direction.decode("ascii", "replace"), at_ms, octets
            if len(octets) < length:
                return


def field_text(name: str, value: object) -> str:
    """Return one field for a person."""
    if isinstance(value, bytes):
        shown = value[:_SHOWN_OCTETS].hex(" ")
        return f"{name}=[{len(value)}] {shown}{' ..' if len(value) > _SHOWN_OCTETS else ''}"
    if isinstance(value, str):
        return f'{name}="{plain(value)}"'
    if name.endswith("_cdeg"):
        return f"{name}={'none' if value == m.NO_READING else value}"
    for field, names in (("code", _CODE_NAMES), ("action", _ACTION_NAMES)):
        if name == field and isinstance(value, int):
            return f"{name}={names.get(value, value)}"
    if name in ("crc32", "plan_id", "boot_id"):
        return f"{name}={value:08x}"
    return f"{name}={value}"


def message_text(payload: bytes) -> str:
    """Return a payload as one line, or what is wrong with it."""
    try:
        number, session, seq, values = m.decode(payload)
    except m.MessageError as problem:
        return f"? {plain(problem)}"
    fields = [field_text(name, values[name]) for name, _kind, _cap in m.fields_of(number)]
    return " ".join([f"{m.name_of(number)} {session:04x}.{seq}", *fields])


class Tracer:
    """Octets in, lines out. One Deframer a direction, so the two may be mixed as they come."""

    def __init__(self) -> None:
        self._deframers: dict[str, Deframer] = {}

    def lines(self, direction: str, at_ms: int | None, octets: bytes) -> list[str]:
        """Return the lines these octets complete."""
        deframer = self._deframers.setdefault(direction, Deframer(m.HOST_CAP))
        damaged = deframer.damaged + deframer.overruns
        payloads = deframer.feed(octets)
        stamp = "" if at_ms is None else f"{at_ms // 1000:6d}.{at_ms % 1000:03d} "
        lines = [f"{stamp}{direction or '-'} {message_text(payload)}" for payload in payloads]
        lost = deframer.damaged + deframer.overruns - damaged
        noise = deframer.take_noise()
        if lost:
            text = plain(noise.decode("utf-8", "replace"), 80)
            lines.append(f"{stamp}{direction or '-'} ({len(noise)} octets that are no frame: {text})")
        return lines


def decode_file(path: Path) -> Iterator[str]:
    """Yield the lines of a capture, or of a file with the octets of one direction."""
    tracer = Tracer()
    for direction, at_ms, octets in read_capture(path):
        yield from tracer.lines(direction, at_ms, octets)
