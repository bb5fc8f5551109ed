"""Flash image files of the virtual bench timer: made blank, and rebuilt from a record of flash operations.

Geometry of a Pico's file system: 352 blocks of 4096 bytes, pages of 256 bytes, erased to 0xFF.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tourier.files import keep

BLOCK = 4096
BLOCKS = 352
ERASE = 1
PROGRAM = 2


def make_blank(path: Path) -> Path:
    """Create an erased image unless there is one; a file of another size is refused."""
    if path.exists():
        size = path.stat().st_size
        if size != BLOCK * BLOCKS:
            raise ValueError(f"{path} is not a flash image: {size} bytes, expected {BLOCK * BLOCKS}")
        return path
    return keep(path, b"\xff" * (BLOCK * BLOCKS))  # whole or not at all: half an image would be refused ever after


@dataclass(frozen=True)
class FlashOp:
    """One erase or program as the file system asked for it."""

    kind: int
    block: int
    offset: int
    data: bytes


class Replayer:
    """An image that grows operation by operation, to stand at any instant between two of them, or within one."""

    def __init__(self, start: bytes | None = None) -> None:
        self.image = bytearray(start if start is not None else b"\xff" * (BLOCK * BLOCKS))

    def apply(self, op: FlashOp) -> None:
        self._write(self.image, op, len(op.data))

    def torn(self, op: FlashOp, share: float = 0.5) -> bytes:
        """The image when power goes within `op`: the first part of a page arrived, an erase had not begun."""
        image = bytearray(self.image)
        if op.kind == PROGRAM:
            self._write(image, op, int(len(op.data) * share))
        return bytes(image)

    @staticmethod
    def _write(image: bytearray, op: FlashOp, count: int) -> None:
        at = op.block * BLOCK + op.offset
        if op.kind == ERASE:
            image[at : at + BLOCK] = b"\xff" * BLOCK
        else:
            image[at : at + count] = op.data[:count]
