"""The day as it runs: word, temperature against the window, forecast, steps, slack; answer, mark, note, replan."""

from __future__ import annotations

from collections import deque
from typing import ClassVar

import numpy as np
from rich.markup import escape
from textual import work
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.message import Message
from textual.widgets import DataTable, Digits, ProgressBar, Static

from shared_schedule import messages as m
from shared_schedule import plan as wire
from shared_schedule.units import cdeg_text
from tourier.desk.actions import bindings
from tourier.desk.data.follow import Follower, Found, Gone, Happening, JobDone, Seen
from tourier.desk.data.linkstate import LinkState
from tourier.desk.screens.room import Room
from tourier.desk.widgets.plot import Plot
from tourier.desk.widgets.windowbar import WindowBar
from tourier.device.sight import Sight
from tourier.picture.raster import Band, Series

_KEPT = 20_000  # looks kept for the live picture: five hours at one a second
_STATE_SHAPES = {0: "·", 1: "▶", 2: "✓", 3: "–", 4: "!"}
_STATE_WORDS = {0: "waiting", 1: "running", 2: "done", 3: "skipped", 4: "ready"}


class Bench(Room):
    """Live view of the timer."""

    ROOM = "bench"
    BINDINGS: ClassVar = bindings("bench")
    HELP = (
        "## Bench\n\nConnect once; the link comes back by itself after a pulled cable. The word says what to do now. "
        "The bar is the butter's window with the dough's temperature as a mark. Every key here is also a button on "
        "the timer; what you press here is written into the same journal."
    )

    class Happened(Message):
        """Something came from the timer."""

        def __init__(self, what: Happening) -> None:
            super().__init__()
            self.what = what

    def __init__(self) -> None:
        super().__init__()
        self.follower: Follower | None = None
        self._plan: wire.Plan | None = None
        self._sight: Sight | None = None
        self._looks: deque[tuple[int, float, float]] = deque(maxlen=_KEPT)
        self._alarm = ""

    def compose_room(self) -> ComposeResult:
        with Horizontal(id="bench"):
            with Vertical(id="bench-now"):
                yield Static("Not connected. Press c to find the timer.", id="word")
                yield Static("", id="step", markup=False)
                with Horizontal(id="degrees"):
                    yield Digits("--", id="probe")
                    yield Static("", id="judgement", markup=False)
                yield WindowBar(id="windowbar")
                yield Static("", id="left", markup=False)
                yield Static("", id="alarm", markup=False)
                yield ProgressBar(id="job", show_eta=False, classes="hidden")
            with Vertical(id="bench-day"):
                yield Plot(id="live")
                yield DataTable(id="bench-steps", cursor_type="row", zebra_stripes=True)

    def on_mount(self) -> None:
        self.query_one("#bench-steps", DataTable).add_columns("", "step", "planned", "began", "ended", "state")
        if self.desk.port:
            self.action_connect()

    # --- following ---------------------------------------------------------------------------------------------

    def action_connect(self) -> None:
        """Find the timer and follow it; pressed again, look anew."""
        if self.follower is not None:
            self.follower.stop()
        from tourier.device.client import Timer

        port = self.desk.port
        self.follower = Follower(lambda: Timer.open(port), lambda what: self.post_message(self.Happened(what)))
        self.desk.set_link(LinkState("looking", "looking for it"))
        self._follow(self.follower)

    @work(thread=True, group="follow")
    def _follow(self, follower: Follower) -> None:
        follower.run()

    def on_unmount(self) -> None:
        if self.follower is not None:
            self.follower.stop()

    def on_bench_happened(self, event: Happened) -> None:
        what = event.what
        if isinstance(what, Found):
            self._found(what)
        elif isinstance(what, Gone):
            self._gone(what)
        elif isinstance(what, Seen):
            self._seen(what)
        elif isinstance(what, JobDone):
            self._job_done(what)

    def _found(self, found: Found) -> None:
        self._plan = found.plan
        holds = f"holds “{found.plan.name}”" if found.plan is not None else "holds no plan"
        self.desk.set_link(LinkState("connected", f"connected, {holds}"))
        if found.plan is None:
            self.query_one("#word", Static).update("NO PLAN")
            self.query_one("#step", Static).update("The timer holds no plan: go to Batch and send one.")
        self._fill_steps(found.report)

    def _gone(self, gone: Gone) -> None:
        self.desk.set_link(LinkState("lost", "lost, looking for it" if not gone.hopeless else "not connected"))
        self.query_one("#word", Static).update("NO LINK")
        # An old number must not pass for a present one.
        self.query_one("#probe", Digits).update("--")
        self.query_one("#judgement", Static).update("no link")
        self.query_one("#step", Static).update(gone.why)

    def _seen(self, seen: Seen) -> None:
        sight = seen.sight
        self._sight = sight
        nan = float("nan")
        self._looks.append((
            sight.at_s,
            nan if sight.probe_cdeg is None else sight.probe_cdeg / 100,
            nan if sight.bench_cdeg is None else sight.bench_cdeg / 100,
        ))  # fmt: skip
        self._show_now(sight)
        if self.is_current:
            self._show_live(sight)
        if seen.report is not None:
            self._fill_steps(seen.report)
        if sight.alarm and sight.alarm != self._alarm:
            self.desk.alert(f"{sight.alarm}: {sight.step}" if sight.step else sight.alarm)
        self._alarm = sight.alarm

    def _show_now(self, sight: Sight) -> None:
        def put(selector: str, text: str) -> None:
            widget = self.query_one(selector, Static)
            if str(widget.content) != text:  # a widget that has not changed costs nothing
                widget.update(text)

        put("#word", sight.word or "WAIT")
        put("#step", f"{sight.step}   {sight.fold}" if sight.fold and sight.fold not in sight.step else sight.step)
        probe = self.query_one("#probe", Digits)
        text = "--" if sight.probe_cdeg is None else cdeg_text(sight.probe_cdeg)
        if probe.value != text:
            probe.update(text)
        put("#judgement", "no reading" if sight.probe_cdeg is None else f"°C  {sight.judgement}")
        self.query_one("#windowbar", WindowBar).show(sight)
        left = "" if sight.left_s is None else f"{sight.left_s // 60} min left in the window   "
        put("#left", f"{left}slack {sight.slack_s // 60:+d} min against the ready time   bench "
            + ("no reading" if sight.bench_cdeg is None else f"{cdeg_text(sight.bench_cdeg)} °C"))  # fmt: skip
        put("#alarm", f"! ALARM: {sight.alarm}  (a answers)" if sight.alarm else "")

    def _show_live(self, sight: Sight) -> None:
        data = np.array(self._looks, dtype=float)
        if len(data) < 2:
            return
        plot = self.query_one("#live", Plot)
        at_s = data[:, 0]
        bands = []
        if sight.low_cdeg is not None and sight.high_cdeg is not None:
            bands.append(Band(at_s[0], at_s[-1] + 900, sight.low_cdeg / 100, sight.high_cdeg / 100))
        plot.set_data([Series("bench", at_s, data[:, 2], dotted=True), Series("probe", at_s, data[:, 1])], bands)

    def _fill_steps(self, report) -> None:
        table = self.query_one("#bench-steps", DataTable)
        if self._plan is None:
            table.clear()
            return
        from tourier.logbook.model import clock_text

        def at(value: int) -> str:
            return clock_text(self._plan, value) if value else ""

        for index, step in enumerate(self._plan.steps):
            state = report.steps[index] if index < len(report.steps) else None
            code = state.state if state else 0
            row = (
                _STATE_SHAPES.get(code, "?"), escape(step.name), clock_text(self._plan, step.start_at_s),
                at(state.started_at_s) if state else "", at(state.ended_at_s) if state else "",
                _STATE_WORDS.get(code, "?"),
            )  # fmt: skip
            key = str(step.step_id)
            if key not in table.rows:
                table.add_row(*row, key=key)
            else:
                for column, cell in zip(table.ordered_columns, row, strict=True):
                    if table.get_cell(key, column.key) != cell:
                        table.update_cell(key, column.key, cell)
        if len(table.rows) > len(self._plan.steps):
            table.clear()
            self._fill_steps(report)
            return
        if report.focus is not None and report.focus < len(self._plan.steps) and not table.has_focus:
            table.move_cursor(row=report.focus)

    # --- what the cook does ------------------------------------------------------------------------------------

    def _do(self, name: str, job) -> None:
        if self.follower is None or self.desk.link_state.kind != "connected":
            self.notify("The timer is not connected: press c.", severity="warning")
            return
        self.follower.do(name, job)

    def _job_done(self, done: JobDone) -> None:
        self.query_one("#job").add_class("hidden")
        if done.error:
            self.notify(done.error, severity="error", title=done.name, timeout=10)
        else:
            self.notify(str(done.result or "Done."), title=done.name)

    def action_acknowledge(self) -> None:
        """Answer the alarm."""
        step_id = self._sight.step_id if self._sight else 0
        self._do("Acknowledge", lambda timer: timer.command(m.ACTION_ACKNOWLEDGE, step_id) or "Answered.")

    def action_go(self) -> None:
        """Start the step that is due, or say that the one at hand is done."""
        if self._plan is None or self._sight is None:
            self.notify("Nothing runs yet.")
            return
        step_id = self._sight.step_id

        def go(timer) -> str:
            index = self._plan.index_of(step_id) if self._plan else -1
            state = timer.state().steps[index].state if index >= 0 else 0
            action = m.ACTION_STEP_START if state == 0 else m.ACTION_STEP_DONE
            return timer.command(action, step_id) or ("Started." if state == 0 else "Done.")

        self._do("Go", go)

    def action_bend(self) -> None:
        """Mark a bend test at the probe's present reading."""
        from tourier.desk.screens.ask import Choose

        if self._sight is None or self._sight.probe_cdeg is None:
            self.notify("The probe gives no reading, so a bend test would have no temperature.", severity="warning")
            return
        reading = f"{cdeg_text(self._sight.probe_cdeg)} °C"

        def chosen(verdict: int | None) -> None:
            if verdict:
                self._do("Bend test", lambda timer: timer.command(m.ACTION_BEND, 0, verdict) or f"Marked at {reading}.")

        self.app.push_screen(
            Choose(f"Bend a corner. At {reading} the butter:", [(1, "cracked"), (2, "bent clean"), (3, "greasy")]),
            chosen,
        )

    def action_note(self) -> None:
        """Write a note into the journal."""
        from tourier.desk.screens.ask import Ask

        def written(text: str | None) -> None:
            if text:
                self._do("Note", lambda timer: timer.note(text) or "Noted.")

        self.app.push_screen(Ask("Note, with the time (at most 100 letters):"), written)

    def action_collect(self) -> None:
        """Collect the log into the logbook."""
        from tourier.desk.data.jobs import collect_job

        bar = self.query_one("#job", ProgressBar)
        bar.remove_class("hidden")

        def progress(done: int, total: int) -> None:
            self.app.call_from_thread(bar.update, total=total, progress=done)

        self._do("Collect", lambda timer: collect_job(timer, progress))

    def action_replan(self) -> None:
        """Plan the rest of the day anew."""
        from tourier.desk.data.jobs import replan_job

        text = self.desk.batch_text
        if not text:
            self.notify("Open the batch that is running in Batch first.", severity="warning")
            return
        self._do("Replan", lambda timer: replan_job(timer, text))


ROOM_SCREEN = Bench
