"""The row of keys at the bottom: what the room can do, and always in sight at its end, Help and Commands."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.widgets import Footer
from textual.widgets._footer import FooterKey

_PINNED = ("help_here", "command_palette")


class KeyRow(Footer):
    """Textual's footer; in a narrow window the room's keys are cut off, Help and Commands never."""

    DEFAULT_CSS = """
    KeyRow > .pinned { dock: right; width: auto; height: 1; background: $footer-background; padding-left: 1; }
    """

    def compose(self) -> ComposeResult:
        keys = list(super().compose())
        pinned = [key for key in keys if isinstance(key, FooterKey) and key.action in _PINNED]
        yield from (key for key in keys if key not in pinned)
        if pinned:
            with Horizontal(classes="pinned"):
                yield from pinned
