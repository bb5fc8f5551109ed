"""A bad line, on purpose: bit errors, lost, doubled and reordered chunks, stalls. Seeded, and every fault counted."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass, field


@dataclass
class LineFaults:
    """Apply to each chunk of octets that passes. Rates are per bit (`bit_errors`) or per chunk (the others).

    `fired` counts what happened, by name; a test that uses this must look at it.
    """

    seed: int = 0
    bit_errors: float = 0.0
    lost: float = 0.0
    doubled: float = 0.0
    reordered: float = 0.0
    stalled: float = 0.0
    stall_s: float = 0.5
    fired: Counter = field(default_factory=Counter)

    def __post_init__(self) -> None:
        self._random = random.Random(self.seed)
        self._held: dict[str, bytes] = {}

    def apply(self, direction: str, octets: bytes) -> tuple[list[bytes], float]:
        """Return (chunks to pass on, in order; seconds to stall first)."""
        draw = self._random.random
        stall_s = 0.0
        if draw() < self.stalled:
            self.fired["stalled"] += 1
            stall_s = self.stall_s * draw()
        if draw() < self.lost:
            self.fired["lost"] += 1
            return self._release(direction, []), stall_s
        octets = self._spoil(octets)
        chunks = [octets]
        if draw() < self.doubled:
            self.fired["doubled"] += 1
            chunks.append(octets)
        if draw() < self.reordered and direction not in self._held:
            self.fired["reordered"] += 1
            self._held[direction] = octets
            return chunks[1:], stall_s
        return self._release(direction, chunks), stall_s

    def _release(self, direction: str, chunks: list[bytes]) -> list[bytes]:
        held = self._held.pop(direction, None)
        return chunks if held is None else [*chunks, held]

    def flush(self, direction: str) -> list[bytes]:
        """Return what reordering still holds back: nothing came after it to overtake it."""
        return self._release(direction, [])

    def forget(self) -> None:
        """Drop what is held back, as a pulled cable does."""
        self._held.clear()

    def _spoil(self, octets: bytes) -> bytes:
        if not self.bit_errors:
            return octets
        spoilt = bytearray(octets)
        # Distances between errors are exponential: one draw an error instead of one a bit.
        bit = self._random.expovariate(self.bit_errors)
        while bit < 8 * len(spoilt):
            spoilt[int(bit) // 8] ^= 1 << int(bit) % 8
            self.fired["bit_error"] += 1
            bit += 1 + self._random.expovariate(self.bit_errors)
        return bytes(spoilt)
