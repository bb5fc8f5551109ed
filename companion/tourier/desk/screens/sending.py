"""Plans on their way to a timer: a batch's with progress and a clear word, and a new one for the rest of the day."""

from __future__ import annotations

from rich.markup import escape
from textual import work
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.screen import ModalScreen
from textual.widgets import Button, DataTable, Label, ProgressBar, Static

from tourier.design import Design
from tourier.desk.data.follow import Found, JobDone, JobMoved
from tourier.desk.data.jobs import Proposal

_NAME = "Send"


class Sending(ModalScreen[None]):
    """Sends a planned batch to the timer in view; without one, offers the virtual timer."""

    BINDINGS = [("escape", "leave", "Cancel")]

    def __init__(self, planned: Design, play: bool = False) -> None:
        super().__init__()
        self._at_once = play
        self._planned = planned
        self._data = b""
        self._waiting_for = ""
        self._busy = self._left = False

    def compose(self) -> ComposeResult:
        day = self._planned.day
        with Vertical(classes="dialog small"):
            yield Label(f"{day.name}: begins {day.steps[0].start:%a %d %b %H:%M}, ready {day.planned_at:%a %H:%M}, "
                        f"{len(day.steps)} steps.", markup=False)  # fmt: skip
            yield Static("", id="sending", markup=False)
            yield ProgressBar(id="sending-bar", show_eta=False, classes="hidden")
            yield Button("Send to the timer", id="send", variant="primary")
            yield Button("Replace the plan that runs on it", id="replace", variant="warning", classes="hidden")
            yield Button("Play it on a virtual timer", id="play")
            yield Button("Cancel", id="leave")

    def on_mount(self) -> None:
        self.app.timers.subscribe(self, self._heard)  # type: ignore[attr-defined]
        self._encode()

    @work(thread=True)
    def _encode(self) -> None:
        from tourier.dayplan.model import Refused

        try:
            data = self._planned.data
        except Refused as error:
            self.app.call_from_thread(self._say, str(error))
            return
        self.app.call_from_thread(self._encoded, data)

    def _encoded(self, data: bytes) -> None:
        self._data = data
        if self._at_once:
            self._at_once = False
            self._begin_to_play()
            return
        berth = self.app.fleet.berth  # type: ignore[attr-defined]
        if berth is not None and not berth.connected:
            berth = None
        self.query_one("#send", Button).disabled = berth is None
        if berth is not None:
            held = f"“{berth.plan.name}”" if berth.plan is not None else "no plan"
            self._say(f"{berth.label} is connected and holds {held}.")
            self.query_one("#send").focus()
        else:
            self._say("No timer is connected: plug one in (it is found by itself), or play the day on a virtual one.")
            self.query_one("#play").focus()

    def _say(self, text: str) -> None:
        self.query_one("#sending", Static).update(text)

    def on_button_pressed(self, event: Button.Pressed) -> None:
        if event.button.id == "leave":
            self.action_leave()
        elif not self._data:
            return
        elif event.button.id == "play":
            self._begin_to_play()
        else:
            self._send(all_the_same=event.button.id == "replace")

    def _begin_to_play(self) -> None:
        self._say("The virtual timer is being switched on …")
        self._disable()
        self._play()

    def _disable(self) -> None:
        for name in ("#send", "#play", "#replace"):
            self.query_one(name, Button).disabled = True

    def _send(self, all_the_same: bool = False) -> None:
        from tourier import places
        from tourier.desk.data import jobs

        berth = self.app.fleet.berth  # type: ignore[attr-defined]
        if berth is None or not berth.connected:
            return
        self._busy, self._waiting_for = True, berth.port
        self._disable()
        self.query_one("#sending-bar").remove_class("hidden")
        self._say("Sending …")
        book = places.logbook_file()
        berth.follower.do(_NAME, jobs.send(self._data, self._planned.text, berth.clock, book, all_the_same))

    @work(thread=True)
    def _play(self) -> None:
        from tourier.desk.data.virtual import VirtualBench
        from tourier.device.virtual.interpreter import VirtualTimerError

        old = self.app.virtual  # type: ignore[attr-defined]
        if old is not None:
            if old.board is not None:
                self.app.call_from_thread(self.app.fleet.release, old.board.port)  # type: ignore[attr-defined]
            old.close()
        bench = VirtualBench()
        try:
            port = bench.start(self._planned)
        except (VirtualTimerError, OSError) as error:
            bench.close()
            self.app.call_from_thread(self._not_played, str(error))
            return
        if self._left:
            bench.close()
            return
        self.app.virtual = bench  # type: ignore[attr-defined]
        self.app.call_from_thread(self._played, port, bench)

    def _not_played(self, why: str) -> None:
        self._say(why)
        self.query_one("#play", Button).disabled = False

    def _played(self, port: str, bench) -> None:
        self._waiting_for = port
        self.app.fleet.follow(port, bench.clock, True, bench.calm)  # type: ignore[attr-defined]

    def _heard(self, heard: tuple) -> None:
        berth, what = heard
        if isinstance(what, Found) and not self._data:
            return
        if isinstance(what, Found) and berth.port == self._waiting_for and not self._busy:
            self._send()
        elif isinstance(what, Found) and not self._busy and not self._waiting_for:
            self._encoded(self._data)
        elif isinstance(what, JobMoved) and what.name == _NAME:
            self.query_one("#sending-bar", ProgressBar).update(total=what.total, progress=what.done)
        elif isinstance(what, JobDone) and what.name == _NAME and berth.port == self._waiting_for:
            self._busy = False
            if what.error:
                self._say(what.error)
                self.query_one("#send", Button).disabled = False
                replace = self.query_one("#replace", Button)
                replace.set_class(not what.way_out, "hidden")
                replace.disabled = not what.way_out
                replace.label = what.way_out or replace.label
            else:
                self.app.notify(str(what.result), title="Sent", timeout=10, markup=False)
                self.dismiss()
                self.app.call_later(self.app.action_room, "bench")  # type: ignore[attr-defined]

    def action_leave(self) -> None:
        """Leave it; a transfer that runs is broken off."""
        self._left = True
        berth = self.app.fleet.berths.get(self._waiting_for)  # type: ignore[attr-defined]
        if self._busy and berth is not None:
            berth.follower.cancel(_NAME)
        self.dismiss()


class Replanned(ModalScreen[bool]):
    """What a new plan for the rest of the day would move; True when it is to be sent to the timer."""

    BINDINGS = [("escape", "dismiss(False)", "Keep the old plan")]

    def __init__(self, proposal: Proposal) -> None:
        super().__init__()
        self._proposal = proposal

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog"):
            yield Static("The rest of the day, planned anew", classes="title", markup=False)
            # The sentence names the first three limits that are not kept.
            more = [f"! {text}." for text in self._proposal.broken[3:]]
            yield Static("\n".join([self._proposal.sentence, *more]), id="replanned-words", markup=False)
            yield DataTable(cursor_type="row", zebra_stripes=True)
            with Horizontal(classes="buttons"):
                yield Button("Send it to the timer", id="send", variant="primary")
                yield Button("Keep the old plan", id="keep")

    def on_mount(self) -> None:
        table = self.query_one(DataTable)
        table.add_columns("step", "was", "now", "moves")
        for row in self._proposal.moved:
            table.add_row(*[escape(cell) for cell in row])
        if not self._proposal.moved:
            table.add_class("hidden")
        self.query_one("#send").focus()

    def on_button_pressed(self, event: Button.Pressed) -> None:
        self.dismiss(event.button.id == "send")
