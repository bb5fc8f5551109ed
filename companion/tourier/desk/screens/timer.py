"""The bench timer itself: which are there, health, clock, program, ice and boiling point, backup, storage."""

from __future__ import annotations

from pathlib import Path
from typing import Any, ClassVar

from textual import work
from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.widgets import DataTable, ProgressBar, Static

from tourier.desk.actions import bindings
from tourier.desk.data import care
from tourier.desk.data.fleet import Berth
from tourier.desk.data.follow import Job, JobDone, JobMoved, Seen
from tourier.desk.screens.room import Room
from tourier.desk.widgets.fitted import Fit, FittedTable
from tourier.desk.widgets.topline import LINK_SHAPES

_JOBS = {"Check", "Set clock"}
_NOTHING = (
    "No timer is plugged in. Connect one with a USB cable that carries data; it is found by itself.\n\n"
    "A new board without the program shows up here too: choose it and press i to install.\n\n"
    "Without a board: Batch, Send to timer, Play it on a virtual timer."
)


def state_words(berth: Berth) -> str:
    """Return how a timer is, in words, with the reason when it is not there; what it holds has its own column."""
    return f"{berth.link.words}: {berth.why}" if berth.why else berth.link.words.partition(",")[0]


_TIMERS = (Fit("state", 16), Fit("timer", 13), Fit("holds", 22), Fit("program", 13, 2), Fit("port", 28, 1))


class TimerRoom(Room):
    """Looking after timers."""

    ROOM = "timer"
    BINDINGS: ClassVar = bindings("timer")
    HELP = (
        "## Timer\n\nChoose a timer above. *Check* runs its self-test and shows counters, storage and clock. "
        "*Ice point* is the calibration that matters: a thermos of crushed ice and water, stirred, the probe in "
        "the middle. *Boil point* only checks, at your altitude. *Install* writes this version's program and leaves "
        "journal, settings and calibration alone."
    )

    def compose_room(self) -> ComposeResult:
        with Vertical(id="timer"):
            yield FittedTable(_TIMERS, zebra=False, leads=1, id="timers")
            yield ProgressBar(id="care", show_eta=False, classes="hidden")
            with VerticalScroll(id="health-scroll"):
                yield Static(_NOTHING, id="health", markup=False)

    def on_mount(self) -> None:
        self.desk.timers.subscribe(self, self._heard)
        self._list()

    def on_screen_resume(self) -> None:
        self._list()

    def _heard(self, heard: tuple[Berth, Any]) -> None:
        berth, what = heard
        if isinstance(what, JobMoved) and what.name in _JOBS:
            self._progress(what.done, what.total)
        elif isinstance(what, JobDone) and what.name in _JOBS:
            self.query_one("#care").add_class("hidden")
            self._say(what.error or str(what.result))
        if self.is_current and not isinstance(what, Seen):
            self._list()

    def _list(self) -> None:
        table = self.query_one("#timers", FittedTable)
        berths = self.desk.fleet.berths
        rows = []
        for port, berth in berths.items():
            holds = berth.plan.name if berth.plan is not None else "no plan"
            shape = LINK_SHAPES.get(berth.link.kind, "?")
            rows.append((state_words(berth), f"{shape} {berth.label}", holds if berth.board_id else "--",
                         berth.firmware or "--", port))  # fmt: skip
        table.fill(rows, list(berths), table.cursor_row)
        if rows:
            if str(self.query_one("#health", Static).content) == _NOTHING:
                self._say("Press k to check this timer.")
        else:
            self._say(_NOTHING)

    def _say(self, text: str) -> None:
        self.query_one("#health", Static).update(text)

    def _progress(self, done: int, total: int) -> None:
        bar = self.query_one("#care", ProgressBar)
        bar.remove_class("hidden")
        bar.update(total=max(1, total), progress=done)

    @property
    def berth(self) -> Berth | None:
        """The timer under the cursor."""
        table = self.query_one("#timers", DataTable)
        if not table.row_count:
            return None
        key = str(table.coordinate_to_cell_key(table.cursor_coordinate).row_key.value)
        return self.desk.fleet.berths.get(key)

    def on_data_table_row_highlighted(self, event: DataTable.RowHighlighted) -> None:
        if event.row_key.value and event.row_key.value in self.desk.fleet.berths:
            self.desk.fleet.shown = str(event.row_key.value)
            self.desk.refresh_toplines()

    def offers(self, name: str) -> bool:
        berth = self.berth
        if name in ("check", "clock", "ice_point", "boil_point"):
            return berth is not None and berth.connected
        return name == "find" or berth is not None

    # --- actions -----------------------------------------------------------------------------------------------

    def _do(self, name: str, job: Job) -> bool:
        berth = self.berth
        if berth is None or not berth.connected:
            self.notify("That timer is not connected.", severity="warning")
            return False
        berth.follower.do(name, job)
        return True

    def action_find(self) -> None:
        """Try the timer under the cursor anew, or all ports."""
        berth = self.berth
        port = berth.port if berth is not None else self.desk.port
        if port is None:
            self.notify("Looking all the time; nothing is plugged in that could be a timer.")
            return
        self.desk.fleet.follow(port, berth.clock if berth is not None else None)
        self._list()

    def action_check(self) -> None:
        """Ask every part for its self-test."""
        berth = self.berth
        if self._do("Check", care.check(berth.clock if berth is not None else None)):
            self._say("Checking …")

    def action_clock(self) -> None:
        """Set the clock by this computer."""
        berth = self.berth
        self._do("Set clock", care.set_clock(berth.clock if berth is not None else None))

    def action_ice_point(self) -> None:
        """Open the ice-point wizard."""
        self._wizard("ice")

    def action_boil_point(self) -> None:
        """Open the boiling-point wizard."""
        self._wizard("boil")

    def _wizard(self, kind: str) -> None:
        berth = self.berth
        if berth is None or not berth.connected:
            self.notify("Connect the timer first: the wizard shows its live reading.", severity="warning")
            return
        from tourier.desk.screens.calibrate import Calibrate

        self.app.push_screen(Calibrate(berth, kind))

    def action_install(self) -> None:
        """Install this version's program."""
        self._alone("Install this version's program? Journal, settings and calibration stay.", "Install", "install")

    def action_backup(self) -> None:
        """Copy log, settings and calibration into a file."""
        self._with_file("Save everything of this timer into:", "timer-backup.zip", "backup")

    def action_restore(self) -> None:
        """Put a backup back."""
        self._with_file("Put back the backup in the file:", "timer-backup.zip", "restore")

    def _with_file(self, question: str, usual: str, what: str) -> None:
        from tourier.desk.screens.dialogs import Ask

        def named(text: str | None) -> None:
            if text:
                self._run_alone(what, Path(text).expanduser())

        if self.berth is None:
            self.notify("No timer is plugged in.", severity="warning")
            return
        self.app.push_screen(Ask(question, usual, 300), named)

    def _alone(self, question: str, yes: str, what: str) -> None:
        from tourier.desk.screens.dialogs import Confirm

        def sure(answer: bool | None) -> None:
            if answer:
                self._run_alone(what, None)

        if self.berth is None:
            self.notify("No timer is plugged in.", severity="warning")
            return
        self.app.push_screen(Confirm(question, yes), sure)

    def _run_alone(self, what: str, file: Path | None) -> None:
        """Give the port to the installer, then follow the timer again."""
        berth = self.berth
        if berth is not None:
            port, clock, let_go = berth.port, berth.clock, berth.follower.ended.wait
            self.desk.fleet.release(port)
            self._list()
            self._say("Working …")
            self._work_alone(what, port, clock, file, let_go)

    @work(thread=True, exclusive=True, group="alone")
    def _work_alone(self, what: str, port: str, clock: Any, file: Path | None, let_go: Any) -> None:
        def progress(name: str, done: int, total: int) -> None:
            self.app.call_from_thread(self._progress, done, total)

        said = care.alone(what, port, file, progress, let_go)
        self.app.call_from_thread(self._worked_alone, port, clock, said)

    def _worked_alone(self, port: str, clock: Any, said: str) -> None:
        self.query_one("#care").add_class("hidden")
        self.desk.fleet.follow(port, clock)
        self._list()
        self._say(said)


ROOM_SCREEN = TimerRoom
