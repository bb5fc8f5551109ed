"""Help for the part the cook is in, with the keys that are really in force."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.screen import ModalScreen, Screen
from textual.widgets import Markdown, Static


class Help(ModalScreen):
    """Text for the focused part and the effective key map."""

    BINDINGS = [("escape,q,f10", "dismiss", "Close")]

    def __init__(self, text: str, behind: Screen) -> None:
        super().__init__()
        self._text = text
        self._behind = behind

    def compose(self) -> ComposeResult:
        rows = ["| key | does |", "|---|---|"]
        seen = set()
        for active in self._behind.active_bindings.values():
            binding = active.binding
            if not binding.description or binding.description in seen:
                continue
            seen.add(binding.description)
            key = self.app.get_key_display(binding).replace("|", "\\|")
            rows.append(f"| {key} | {binding.tooltip or binding.description} |")
        with VerticalScroll(classes="dialog"):
            yield Markdown((self._text or "") + "\n\n### Keys here\n\n" + "\n".join(rows))
            yield Static("Escape closes.", classes="hint")
