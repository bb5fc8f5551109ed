"""The desk application: rooms, themes, keys, silence. Work is done in threads; rooms own what they show."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Awaitable, Callable, Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from textual import events
from textual.app import App, SystemCommand
from textual.message import Message
from textual.message_pump import MessagePump
from textual.screen import Screen
from textual.signal import Signal

from tourier import files, places
from tourier.desk.actions import ACTIONS, ANYWHERE, bindings, read_keymap
from tourier.desk.data.fleet import Berth, Fleet, LinkState
from tourier.desk.data.settings import Settings
from tourier.desk.themes import THEMES
from tourier.desk.widgets.topline import RoomRow, TopLine

if TYPE_CHECKING:
    from shared_schedule.plan import Plan

_WATCH_S = 0.5
_TRY_S, _TRIES = 0.02, 50
_ROOMS_AFTER_S = 1.0  # the first room stands by then


def _room(name: str):
    """Return a factory that imports a room when it is first entered: the first paint waits for one room only."""

    def make() -> Screen:
        from importlib import import_module

        return import_module(f"tourier.desk.screens.{name}").ROOM_SCREEN()

    return make


class KeyOrder:
    """Gives keys to an application one by one, each when the one before has been answered.

    A letter goes to the field that has the cursor at once, but Tab and every bound key first rise from there to the
    application: where the loop is late, letters would overtake them and land in the field before.
    """

    def __init__(self, app: App, give: Callable[[events.Key], Awaitable[None]]) -> None:
        self._app, self._give = app, give
        self._waiting: deque[events.Key] = deque()
        self._under_way: events.Key | None = None
        self._at: MessagePump = app  # who is asked next whether it has seen the key under way

    async def take(self, event: events.Key) -> None:
        """Give a key, or keep it until its turn."""
        if self._under_way is None:
            await self._begin(event)
            return
        if not self._waiting:
            self._app.set_timer(_WATCH_S, self._watch)
        self._waiting.append(event)

    async def _begin(self, event: events.Key) -> None:
        self._under_way = event
        screen, node = self._app.screen, self._app.focused or self._app.screen
        await self._give(event)
        self._rise(event, screen, node)

    def _rise(self, event: events.Key, screen: Screen, node: MessagePump | None) -> None:
        """Follow a key from its field to the application: what is called later comes after what is there before."""
        while node is not None and not event._stop_propagation:
            self._at = node
            if node.call_later(self._rise, event, screen, node._parent):
                return
            node = node._parent
        self._settle(event, screen, _TRIES)

    def _settle(self, event: events.Key, screen: Screen, tries: int) -> None:
        """A key that led to another screen is answered when the cursor stands there."""
        now = self._app.screen
        if now is screen or now.focused is not None or tries == 0:
            self._next(event)
        else:
            self._app.set_timer(_TRY_S, lambda: self._settle(event, screen, tries - 1))

    def _next(self, answered: events.Key) -> None:
        if self._under_way is answered:
            self._under_way = self._waiting.popleft() if self._waiting else None
            if self._under_way is not None:
                self._app.call_later(self._begin, self._under_way)

    def _watch(self) -> None:
        """While keys wait: a field that went before it was asked must not hold them up."""
        if self._waiting and self._under_way is not None:
            if not self._at.is_running:
                self._at = self._app
                self._next(self._under_way)
            self._app.set_timer(_WATCH_S, self._watch)


class Desk(App):
    """Plan, send, watch, look back. `batch_file` opens a batch at once; `now` is the wall clock (aware)."""

    TITLE = "Tourier"
    CSS_PATH = "desk.tcss"
    ENABLE_COMMAND_PALETTE = True
    BINDINGS: ClassVar = bindings(ANYWHERE)
    DEFAULT_MODE: ClassVar = "batch"
    MODES: ClassVar = {name: _room(name) for name in ("batch", "bench", "lookback", "kitchen", "timer")}

    class Happened(Message):
        """Something came from a timer's thread."""

        def __init__(self, port: str, what: Any) -> None:
            super().__init__()
            self.port, self.what = port, what

    def __init__(
        self, batch_file: Path | None = None, port: str | None = None, now: Callable[[], datetime] | None = None
    ) -> None:
        super().__init__()
        self.settings = Settings.read(places.config_folder() / "desk.toml")
        self._said_forgetful = False
        self.now = now or (lambda: datetime.now(UTC))
        self.batch_line = "No batch yet"
        self.batch_text = ""
        self.batch_file = batch_file
        self.port = port
        self._key_order = KeyOrder(self, super().on_event)
        self.fleet = Fleet(lambda at, what: self.post_message(self.Happened(at, what)))
        self.virtual: Any = None
        self.timers: Signal[tuple[Berth, Any]] = Signal(self, "timers")
        # Before the first paint, so that nothing has to be painted twice.
        for theme in THEMES:
            self.register_theme(theme)
        names = [theme.name for theme in THEMES]
        self.theme = self.settings.theme if self.settings.theme in names else names[0]

    async def on_event(self, event: events.Event) -> None:
        """Take a key in its turn, everything else at once."""
        if isinstance(event, events.Key) and not event.is_forwarded:
            await self._key_order.take(event)
        else:
            await super().on_event(event)

    @property
    def link_state(self) -> LinkState:
        """The link to the timer in view."""
        berth = self.fleet.berth
        return berth.link if berth is not None else LinkState()

    def on_mount(self) -> None:
        keymap, complaints = read_keymap(places.config_folder() / "keys.toml")
        if keymap:
            self.set_keymap(keymap)
        for complaint in complaints:
            self.notify(complaint, title="Keys", severity="warning", timeout=10)
        if not self.settings.welcomed:
            self.call_after_refresh(self.action_welcome)
        self.call_after_refresh(self._look_for_timers)
        self.set_timer(_ROOMS_AFTER_S, self._prepare_rooms)

    def _prepare_rooms(self) -> None:
        """Load the other rooms' code in a thread: loaded when entered, it would hold the loop for half a second."""

        def load() -> None:
            from importlib import import_module

            for name in self.MODES:
                import_module(f"tourier.desk.screens.{name}")
            import_module("tourier.desk.data.lookback")

        threading.Thread(target=load, name="load rooms", daemon=True).start()

    def _look_for_timers(self) -> None:
        if self.port is not None:
            self.fleet.follow(self.port)
            self.refresh_toplines()
            return

        def found(port: str) -> None:
            self.post_message(self.Happened(port, None))

        threading.Thread(target=self.fleet.scan, args=(found,), name="look for timers", daemon=True).start()

    def on_unmount(self) -> None:
        self.fleet.stop()
        self.switch_virtual_off()

    def switch_virtual_off(self) -> None:
        """Switch the virtual timer off and remove its files."""
        if self.virtual is not None:
            self.virtual.close()

    # --- what timers say ---------------------------------------------------------------------------------------

    def on_desk_happened(self, event: Happened) -> None:
        if event.what is None:  # a port where a board was plugged in
            if event.port not in self.fleet.berths:
                self.fleet.follow(event.port)
                self.refresh_toplines()
            return
        before = self.link_state
        berth = self.fleet.take(event.port, event.what)
        if berth is None:
            return
        sight = berth.sight
        alarm = sight.alarm if sight is not None else ""
        if sight is not None and alarm and alarm != berth.alarm and not berth.hurried:
            whose = f"{berth.label}: " if len(self.fleet.berths) > 1 else ""
            self.alert(f"{whose}{alarm}: {sight.step}" if sight.step else f"{whose}{alarm}")
        berth.alarm = alarm
        if before != self.link_state:
            self.refresh_toplines()
        self.timers.publish((berth, event.what))

    def sent_text(self, plan: Plan) -> str:
        """Return the batch file a timer's plan was made from: the one kept at sending, else the open one."""
        from shared_schedule import plan as wire
        from shared_schedule.plan_writer import encode_plan

        return files.sent_text(wire.plan_id(encode_plan(plan))) or self.batch_text

    def set_batch_line(self, text: str) -> None:
        """Show what is planned in every room."""
        if text != self.batch_line:
            self.batch_line = text
            self.refresh_toplines()

    def refresh_toplines(self) -> None:
        """Redraw the state line of the room in view; the others redraw when they are entered."""
        for screen in self.screen_stack:
            for line in screen.query(TopLine):
                line.refresh_state()

    def alert(self, text: str) -> None:
        """Say something that must not be missed: notice, bell and desktop notice, unless silenced."""
        self.notify(text, title="Bench timer", severity="warning", timeout=15, markup=False)
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
        while len(self.screen_stack) > 1:  # a question left open is a question answered with no
            self.screen.dismiss(None)
        self.switch_mode(name)
        self.refresh_toplines()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Rooms are not left while a question is open; help and keys stay."""
        if action == "room":
            return len(self.screen_stack) <= 1
        return True

    def action_welcome(self) -> None:
        """Open the welcome."""
        from tourier.desk.screens.welcome import Welcome

        self.push_screen(Welcome(), self._welcomed)

    def _welcomed(self, choice: str | None) -> None:
        if choice == "demo":
            self.call_later(self.play_demo)
        elif choice == "open":
            self.call_later(self.open_batch)
        elif choice == "kitchen":
            from tourier.desk.screens.kitchen import Questions

            def kept(answer: bool | None) -> None:
                if answer:
                    self.call_later(self.use_kitchen)

            self.push_screen(Questions(), kept)

    async def play_demo(self) -> None:
        """Open the demo batch and play it on a virtual timer."""
        from tourier.batch.examples import demo_text

        room = self._batch_room()
        await room.files.open_text(demo_text(), None, keep=False)
        room.play_when_timed()

    def open_batch(self) -> None:
        """Ask for a batch file."""
        self._batch_room().action_open()

    async def use_kitchen(self) -> None:
        """Put the cook's own kitchen into the open batch."""
        await self._batch_room().use_kitchen()

    def _batch_room(self) -> Any:
        if self.current_mode != "batch":
            self.action_room("batch")
        return self.screen_stack[0]

    def remember(self) -> None:
        """Keep the settings for the next time; a disk that takes nothing is said once and stops nothing."""
        try:
            self.settings.write()
        except OSError as error:
            if not self._said_forgetful:
                self._said_forgetful = True
                self.notify(f"Theme, silence and recent files cannot be kept for the next time ({error.strerror}): "
                            f"see to {self.settings.file.parent}.",
                            severity="warning", timeout=10, markup=False)  # fmt: skip

    def action_next_theme(self) -> None:
        """Take the next theme and remember it."""
        names = [theme.name for theme in THEMES]
        at = names.index(self.theme) if self.theme in names else -1
        self.theme = names[(at + 1) % len(names)]
        self.settings.theme = self.theme
        self.remember()
        self.notify(f"Theme: {self.theme}")

    def action_toggle_silence(self) -> None:
        """Stop or allow bell and desktop notice."""
        self.settings.silent = not self.settings.silent
        self.remember()
        self.refresh_toplines()
        self.notify("Silent: no bell, no desktop notice." if self.settings.silent else "Alarms may be heard again.")

    def action_help_here(self) -> None:
        """Open help for the focused part."""
        from tourier.desk.screens.help import Help
        from tourier.desk.screens.room import Room

        text = self.screen.help_text() if isinstance(self.screen, Room) else ""
        self.push_screen(Help(text, self.screen))

    def action_show_keys(self) -> None:
        """Open the list of keys."""
        from tourier.desk.screens.help import Keys

        self.push_screen(Keys())

    def get_system_commands(self, screen: Screen) -> Iterable[SystemCommand]:
        """Offer what makes sense now: actions of everywhere and of the present room."""
        from tourier.desk.screens.room import Room

        room = screen.ROOM if isinstance(screen, Room) else ""
        for action in ACTIONS:
            if action.where not in (ANYWHERE, room) or action.id == "app.palette":
                continue
            target = self if action.where == ANYWHERE else screen
            if not self._can(target, action.name) or (isinstance(target, Room) and not target.offers(action.name)):
                continue

            async def run(target=target, name=action.name) -> None:
                await target.run_action(name)

            yield SystemCommand(action.text, action.help, run)

    @staticmethod
    def _can(target: Any, name: str) -> bool:
        method = name.split("(")[0]
        if not hasattr(target, f"action_{method}"):
            return False
        return bool(target.check_action(method, ()))
