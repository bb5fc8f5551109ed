"""The state of the link to the bench timer, in a word that fits the top line."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class LinkState:
    """`kind` is none, looking, connected, lost or playing (the virtual timer); `words` says it."""

    kind: str = "none"
    words: str = "not connected"
