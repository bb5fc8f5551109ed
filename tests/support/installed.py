"""Whether a board holds this release."""

from __future__ import annotations

from dataclasses import dataclass

from tourier.device.install import at_prompt, build


@dataclass(frozen=True)
class Verified:
    """Files on the board compared with this release."""

    same: int
    different: tuple[str, ...]
    missing: tuple[str, ...]

    @property
    def current(self) -> bool:
        return not self.different and not self.missing


def verify(port: str) -> Verified:
    """Compare the program on a board with this release's, by checksum."""
    files = build()
    with at_prompt(port) as prompt:
        present = {file.path: prompt.sha256(file.path) for file in files}
    return Verified(
        sum(present[f.path] == f.sha256 for f in files),
        tuple(f.path for f in files if present[f.path] and present[f.path] != f.sha256),
        tuple(f.path for f in files if not present[f.path]),
    )
