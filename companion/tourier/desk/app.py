"""The desk application: rooms, themes, keys, silence. Work is done in threads; rooms own what they show."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import ClassVar

from textual.app import App, SystemCommand
from textual.screen import Screen

from tourier import places
from tourier.desk.actions import ACTIONS, ANYWHERE, bindings, read_keymap
from tourier.desk.data.linkstate import LinkState
from tourier.desk.data.settings import Settings
from tourier.desk.themes import THEMES
from tourier.desk.widgets.topline import RoomRow, TopLine


def _room(name: str):
    """Return a factory that imports a room when it is first entered: the first paint waits for one room only."""

    def make() -> Screen:
        from importlib import import_module

        return import_module(f"tourier.desk.screens.{name}").ROOM_SCREEN()

    return make


class Desk(App):
    """Plan, send, watch, look back. `batch_file` opens a batch at once."""

    TITLE = "Tourier"
    CSS_PATH = "desk.tcss"
    ENABLE_COMMAND_PALETTE = True
    BINDINGS: ClassVar = bindings(ANYWHERE)
    MODES: ClassVar = {name: _room(name) for name in ("batch", "bench", "lookback", "kitchen", "timer")}

    def __init__(self, batch_file: Path | None = None, port: str | None = None) -> None:
        super().__init__()
        self.settings = Settings.read(places.config_folder() / "desk.toml")
        self.link_state = LinkState()
        self.batch_line = "No batch yet"
        self.batch_file = batch_file
        self.port = port
        self._keymap_complaints: list[str] = []

    def on_mount(self) -> None:
        for theme in THEMES:
            self.register_theme(theme)
        names = [theme.name for theme in THEMES]
        self.theme = self.settings.theme if self.settings.theme in names else names[0]
        keymap, self._keymap_complaints = read_keymap(places.config_folder() / "keys.toml")
        self.set_keymap(keymap)
        self.switch_mode("batch")
        for complaint in self._keymap_complaints:
            self.notify(complaint, title="Keys", severity="warning", timeout=10)
        if not self.settings.welcomed:
            self.call_after_refresh(self._welcome)

    def _welcome(self) -> None:
        from tourier.desk.screens.welcome import Welcome

        self.push_screen(Welcome())

    # --- state shown everywhere --------------------------------------------------------------------------------

    def set_link(self, state: LinkState) -> None:
        """Show a new state of the link in every room."""
        if state != self.link_state:
            self.link_state = state
            self._refresh_toplines()

    def set_batch_line(self, text: str) -> None:
        """Show what is planned in every room."""
        self.batch_line = text
        self._refresh_toplines()

    def _refresh_toplines(self) -> None:
        for screen in self.screen_stack:
            for line in screen.query(TopLine):
                line.refresh_state()

    def alert(self, text: str) -> None:
        """Say something that must not be missed: notice, bell and desktop notice, unless silenced."""
        self.notify(text, title="Bench timer", severity="warning", timeout=15)
        if not self.settings.silent:
            self.bell()
            # OSC 9: terminals that know it show a desktop notice, the others ignore it.
            if self._driver is not None:
                safe = "".join(char for char in text if char.isprintable())[:120]
                self._driver.write(f"\x1b]9;{safe}\x07")

    # --- actions -----------------------------------------------------------------------------------------------

    def on_room_row_chosen(self, event: RoomRow.Chosen) -> None:
        self.action_room(event.room)

    def action_room(self, name: str) -> None:
        """Go to a room."""
        self.switch_mode(name)
        self._refresh_toplines()

    def action_next_theme(self) -> None:
        """Take the next theme and remember it."""
        names = [theme.name for theme in THEMES]
        at = names.index(self.theme) if self.theme in names else -1
        self.theme = names[(at + 1) % len(names)]
        self.settings.theme = self.theme
        self.settings.write()
        self.notify(f"Theme: {self.theme}")

    def action_toggle_silence(self) -> None:
        """Stop or allow bell and desktop notice."""
        self.settings.silent = not self.settings.silent
        self.settings.write()
        self._refresh_toplines()
        self.notify("Silent: no bell, no desktop notice." if self.settings.silent else "Alarms may be heard again.")

    def action_help_here(self) -> None:
        """Open help for the focused part."""
        from tourier.desk.screens.help import Help

        text = self.screen.help_text() if hasattr(self.screen, "help_text") else ""
        self.push_screen(Help(text, self.screen))

    def action_show_keys(self) -> None:
        """Open the list of keys."""
        from tourier.desk.screens.keys import Keys

        self.push_screen(Keys())

    def get_system_commands(self, screen: Screen) -> Iterable[SystemCommand]:
        """Offer what makes sense now: actions of everywhere and of the present room."""
        room = getattr(screen, "ROOM", "")
        for action in ACTIONS:
            if action.where not in (ANYWHERE, room) or action.id == "app.palette":
                continue
            target = self if action.where == ANYWHERE else screen
            if action.where != ANYWHERE and not self._can(screen, action.name):
                continue

            async def run(target=target, name=action.name) -> None:
                await target.run_action(name)

            yield SystemCommand(action.text, action.help, run)

    @staticmethod
    def _can(screen: Screen, name: str) -> bool:
        method = name.split("(")[0]
        if not hasattr(screen, f"action_{method}"):
            return False
        return screen.check_action(method, ()) is not False


def run_desk(batch_file: Path | None = None, port: str | None = None) -> int:
    """Run the application; return its exit code."""
    desk = Desk(batch_file, port)
    desk.run()
    return desk.return_code or 0
