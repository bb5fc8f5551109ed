"""Temperature history packed for the logbook: columns, differences, zlib.

A timer's own blocks are unpacked once, when they are collected, by the shared codec; the logbook then holds columns,
because they read back some fifty times faster in Python and pack smaller. Two days at one pair in 5 s are about
35,000 pairs and 40..90 KB here.

Layout: b"TSP1", count u32, zlib of (at_s differences i32 | bench differences i16 | probe differences i16), each as
two or four byte planes, least significant plane first. Little-endian. No reading is -32768, as on the wire. With other
channels than bench and probe b"TSP2", n u8, n channel numbers u8, count u32, zlib of the same with n columns.
"""

from __future__ import annotations

import struct
import zlib

import numpy as np

from shared_schedule.channels import USUAL
from shared_schedule.units import NO_CDEG
from tourier.logbook import LogbookError
from tourier.logbook.record.model import Samples

_MAGIC = b"TSP1"
_MAGIC_2 = b"TSP2"
_USUAL = [channel.number for channel in USUAL]
MAX_CHANNELS = 8  # in one batch; a timer has four at a time
MAX_PAIRS = 4_000_000  # 230 days at one pair in 5 s; keeps a hostile count from reserving memory


def to_cdeg(column_c: np.ndarray) -> np.ndarray:
    """Return int16 hundredths of °C; NaN becomes NO_CDEG."""
    scaled = np.where(np.isnan(column_c), NO_CDEG, np.rint(np.nan_to_num(column_c) * 100.0))
    return np.clip(scaled, -32768, 32767).astype(np.int16)


def from_cdeg(column: np.ndarray) -> np.ndarray:
    """Return float °C; NO_CDEG becomes NaN."""
    return np.where(column == NO_CDEG, np.nan, column.astype(np.float64) / 100.0)


def _planes(column: np.ndarray) -> bytes:
    size = column.dtype.itemsize
    return np.ascontiguousarray(column.view(np.uint8).reshape(-1, size).T).tobytes()


def _unplaned(raw: bytes, count: int, dtype: str) -> np.ndarray:
    size = np.dtype(dtype).itemsize
    return np.ascontiguousarray(np.frombuffer(raw, np.uint8).reshape(size, count).T).view(dtype).reshape(count)


def pack(samples: Samples) -> bytes:
    """Return the packed bytes of a history."""
    count = len(samples)
    at_s = np.diff(samples.at_s.astype("<i8"), prepend=0).astype("<i4")
    columns = [_planes(at_s)]
    numbers = sorted(samples.columns)
    for column in (samples.columns[number] for number in numbers):
        # Differences wrap modulo 2**16; adding them up wraps back, so the step to and from a gap costs nothing extra.
        columns.append(_planes(np.diff(to_cdeg(column), prepend=np.int16(0)).astype("<i2")))
    head = _MAGIC if numbers == _USUAL else _MAGIC_2 + bytes([len(numbers), *numbers])
    return head + struct.pack("<I", count) + zlib.compress(b"".join(columns), 6)


def unpack(data: bytes) -> Samples:
    """Return the history in packed bytes. Raises LogbookError on anything else; bounded memory."""
    numbers, head = list(_USUAL), 4
    if data[:4] == _MAGIC_2 and len(data) > 4:
        head = 5 + data[4]
        numbers = list(data[5:head])
    known = data[:4] in (_MAGIC, _MAGIC_2) and numbers == sorted(set(numbers)) and set(_USUAL) <= set(numbers)
    if not known or len(numbers) > MAX_CHANNELS or len(data) < head + 4:
        raise LogbookError("The temperatures of this batch are not in a form this version knows; collect it again.")
    (count,) = struct.unpack_from("<I", data, head)
    if count > MAX_PAIRS:
        raise LogbookError(f"The temperatures claim {count} samples; at most {MAX_PAIRS} are read.")
    size = count * (4 + 2 * len(numbers))
    unzip = zlib.decompressobj()
    try:
        raw = unzip.decompress(data[head + 4 :], size + 1)
    except zlib.error as error:
        raise LogbookError("The temperatures of this batch are damaged; restore a backup or collect again.") from error
    if len(raw) != size or not unzip.eof:
        raise LogbookError("The temperatures of this batch are damaged; restore a backup or collect again.")
    at_s = np.cumsum(_unplaned(raw[: count * 4], count, "<i4").astype(np.int64))
    columns = {}
    for place, number in enumerate(numbers):
        from_ = count * (4 + 2 * place)
        column = np.cumsum(_unplaned(raw[from_ : from_ + 2 * count], count, "<i2"), dtype=np.int16)
        columns[number] = from_cdeg(column)
    return Samples(at_s, columns)
