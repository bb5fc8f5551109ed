"""Flash image files of the virtual bench timer: made blank, and rebuilt from a record of flash operations.

Geometry of a Pico's file system: 352 blocks of 4096 bytes, pages of 256 bytes, erased to 0xFF.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tourier.files import keep

BLOCK = 4096
BLOCKS = 352


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
