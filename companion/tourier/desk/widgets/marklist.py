"""A list in which several things can be marked; the mark is a letter, not a colour."""

from __future__ import annotations

from collections.abc import Iterable

from rich.text import Text
from textual.binding import Binding
from textual.widgets import OptionList
from textual.widgets.option_list import Option


class MarkList(OptionList):
    """Entries as (key, words); space, Enter or a click marks one. `marked` gives the keys in the list's order."""

    BINDINGS = [Binding("space", "select", "Mark", show=False)]
    HELP = "### What you saw\n\nUp and down choose, space marks or takes the mark away."

    def __init__(self, entries: Iterable[tuple[str, str]], marked: Iterable[str] = (), **kwargs) -> None:
        self._entries = list(entries)
        self._marked = set(marked)
        super().__init__(*[Option(self._words(number)) for number in range(len(self._entries))], **kwargs)

    @property
    def marked(self) -> tuple[str, ...]:
        """The keys of what is marked."""
        return tuple(key for key, _words in self._entries if key in self._marked)

    def _words(self, number: int) -> Text:
        key, words = self._entries[number]
        return Text(f"[{'x' if key in self._marked else ' '}] {words}")

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        event.stop()
        self._marked ^= {self._entries[event.option_index][0]}
        self.replace_option_prompt_at_index(event.option_index, self._words(event.option_index))
