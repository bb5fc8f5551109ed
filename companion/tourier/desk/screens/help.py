"""Help for the part the cook is in, with the keys in force; all keys by action, and changing them."""

from __future__ import annotations

from textual import events
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.screen import Screen
from textual.widgets import Button, DataTable, Markdown, Static

from tourier import places
from tourier.desk.actions import ACTIONS, read_keymap, why_not, write_keymap
from tourier.desk.screens.dialogs import Dialog
from tourier.desk.widgets.fitted import Fit, FittedTable

_COLUMNS = (Fit("action", 13), Fit("key", 20), Fit("id", 18), Fit("where", 8, 1))


class Help(Dialog[None]):
    """Text for the focused part and the effective key map."""

    BINDINGS = [("escape,q,f10", "dismiss", "Close")]

    def __init__(self, text: str, behind: Screen) -> None:
        super().__init__()
        self._text = text
        self._behind = behind
        self._lines = self._read_keys()  # now: with a question in front, the rooms' keys are out of force

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog"):
            with VerticalScroll(id="help"):
                if self._text:
                    yield Markdown(self._text)
                yield Static("Keys here", classes="question")
                yield Static("\n".join(self.key_lines()), markup=False)
            yield Button("Close", id="close")

    def on_button_pressed(self, event: Button.Pressed) -> None:
        event.stop()
        self.leave()

    def key_lines(self) -> list[str]:
        """Return the keys that work behind this help, as aligned lines."""
        return self._lines

    def _read_keys(self) -> list[str]:
        keys: dict[str, list[str]] = {}
        for active in self._behind.active_bindings.values():
            binding = active.binding
            if binding.description:
                shown = keys.setdefault(binding.tooltip or binding.description, [])
                key = self.app.get_key_display(binding)
                if key not in shown:
                    shown.append(key)
        rows = [(" ".join(found), does) for does, found in keys.items()]
        width = max((len(key) for key, _does in rows), default=0)
        return [f"{key:{width}}  {does}" for key, does in rows]


class Keys(Dialog[None]):
    """The effective key map. Enter on a row, then a key: the action has that key from now on."""

    BINDINGS = [
        ("escape", "close", "Close"),
        ("delete", "usual", "Usual key"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._file = places.config_folder() / "keys.toml"
        self._keymap, _ = read_keymap(self._file)
        self._waiting_for: str | None = None

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog"):
            yield Static(
                "Enter on a row, then the new key. Delete gives the usual key back. Escape closes.", id="keys-hint"
            )
            yield FittedTable(_COLUMNS)
            with Horizontal(classes="buttons"):
                yield Button("Usual key", id="usual")
                yield Button("Close", id="close")

    def on_button_pressed(self, event: Button.Pressed) -> None:
        event.stop()
        self._waiting_for = None
        if event.button.id == "usual":
            self.action_usual()
        else:
            self.leave()

    def on_mount(self) -> None:
        self._fill()
        self.query_one(FittedTable).focus()

    def _fill(self) -> None:
        table = self.query_one(FittedTable)
        rows = [
            (action.text, self._keymap.get(action.id, action.keys).replace(",", " or "), action.id, action.where)
            for action in ACTIONS
        ]
        table.fill(rows, [action.id for action in ACTIONS], table.cursor_row)

    def on_data_table_row_selected(self, event: DataTable.RowSelected) -> None:
        self._waiting_for = str(event.row_key.value)
        self.query_one("#keys-hint", Static).update(f"Press the new key for {self._waiting_for} (Escape: leave it).")

    def on_key(self, event: events.Key) -> None:
        if self._waiting_for is None:
            return
        event.stop()
        event.prevent_default()
        waiting, self._waiting_for = self._waiting_for, None
        hint = self.query_one("#keys-hint", Static)
        if event.key == "escape":
            hint.update("Left as it was.")
            return
        wrong = why_not(waiting, event.key, self._keymap)
        if wrong:
            hint.update(f"{wrong} Nothing was changed.")
            return
        self._keymap[waiting] = event.key
        self._store()
        hint.update(f"{waiting} is now {event.key}.")

    def action_usual(self) -> None:
        """Give the chosen action its usual key back."""
        table = self.query_one(DataTable)
        row = table.coordinate_to_cell_key(table.cursor_coordinate).row_key.value
        if self._keymap.pop(str(row), None) is not None:
            self._store()

    def _store(self) -> None:
        try:
            write_keymap(self._file, self._keymap)
        except OSError as error:
            self.notify(f"{self._file} cannot be written ({error.strerror}): the keys hold until you leave.",
                        severity="warning", timeout=10, markup=False)  # fmt: skip
        self.app.set_keymap(self._keymap)
        self._fill()

    def action_close(self) -> None:
        """Close."""
        self.leave()
