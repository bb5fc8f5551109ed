"""The row of keys at the bottom: what the room can do, and always in sight at its end, Help and Commands."""

from __future__ import annotations

from rich.cells import cell_len
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.widgets import Footer
from textual.widgets._footer import FooterKey

_PINNED = ("help_here", "command_palette")


class KeyRow(Footer):
    """Textual's footer; a key that does not fit is left out, never cut, and Help and Commands always stay."""

    DEFAULT_CSS = """
    KeyRow > .pinned { dock: right; width: auto; height: 1; background: $footer-background; padding-left: 1; }
    """

    def __init__(self, **kwargs) -> None:
        super().__init__(**kwargs)
        self._composed_for = 0

    def compose(self) -> ComposeResult:
        keys = [key for key in super().compose() if isinstance(key, FooterKey)]
        pinned = [key for key in keys if key.action in _PINNED]
        self._composed_for = self.app.size.width
        room = self._composed_for - sum(map(_cells, pinned)) - 1
        for key in keys:
            if key in pinned:
                continue
            room -= _cells(key)
            if room < 0:  # what comes after is needed less, even if it is short enough
                break
            yield key
        if pinned:
            with Horizontal(classes="pinned"):
                yield from pinned

    def on_resize(self) -> None:
        """Another width may hold other keys."""
        if self._bindings_ready and self.app.size.width != self._composed_for:
            self.call_after_refresh(self.recompose)


def _cells(key: FooterKey) -> int:
    """Return the width of a key in the compact row: key, space, text, space."""
    return cell_len(key.key_display) + cell_len(key.description) + 2
