"""The day as it runs: word, temperature against the window, forecast, steps, slack; answer, mark, note, replan."""

from __future__ import annotations

import threading
import time
from typing import Any, ClassVar

import numpy as np
from rich.markup import escape
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.widgets import DataTable, Digits, ProgressBar, Static

from shared_schedule import messages as m
from shared_schedule.units import cdeg_text
from tourier import places
from tourier.desk.actions import bindings
from tourier.desk.data import jobs
from tourier.desk.data.fleet import Berth
from tourier.desk.data.follow import Found, Gone, Job, JobDone, JobMoved, Seen
from tourier.desk.data.forecast import band
from tourier.desk.screens.room import Room
from tourier.desk.widgets.pages import PageRow
from tourier.desk.widgets.plot import Plot
from tourier.desk.widgets.windowbar import WindowBar
from tourier.device.sight import Sight
from tourier.logbook.model import clock_text, local, minutes_text
from tourier.picture.raster import Band, Series

_STATE_SHAPES = {0: "·", 1: "▶", 2: "✓", 3: "–", 4: "!"}
_STATE_WORDS = {0: "waiting", 1: "running", 2: "done", 3: "skipped", 4: "ready"}
_NO_TIMER = "No timer yet. Plug one in and it is found by itself, or play a batch on a virtual one (Batch, Send)."
_HOUR_S = 3600
_CURVE_EVERY_S = 5.0  # of this computer's time; a sample is kept every 5 s
_SPEAK_THEMSELVES = {"Send", "Check", "Set clock", "Ice point", "Boil point"}  # jobs whose own screen shows the result


class Bench(Room):
    """Live view of the timer."""

    ROOM = "bench"
    BINDINGS: ClassVar = bindings("bench")
    HELP = (
        "## Bench\n\nA timer that is plugged in is found by itself and comes back by itself after a pulled cable. The "
        "word says what to do now. The bar is the butter's window with the dough's temperature as a mark; in the "
        "picture the dots after *now* are the band in which the forecast expects the dough. Every key here is also a "
        "button on the timer; what you press here is written into the same journal.\n\nThe timer advises; it is no "
        "food-safety instrument. Keep to your local rules."
    )

    def __init__(self) -> None:
        super().__init__()
        self._hurry: threading.Event | None = None
        self._drawn = ("", 0.0)
        self._listed: list[tuple[str, str]] = []

    def compose_room(self) -> ComposeResult:
        yield PageRow([], id="bench-timers", classes="hidden")
        with Horizontal(id="bench"):
            with Vertical(id="bench-now"):
                yield Static(_NO_TIMER, id="word", markup=False)
                yield Static("", id="step", markup=False)
                with Horizontal(id="degrees"):
                    yield Digits("--", id="probe")
                    yield Static("", id="judgement", markup=False)
                yield WindowBar(id="windowbar")
                yield Static("", id="left", markup=False)
                yield Static("", id="alarm", markup=False)
                yield Static("", id="rests", markup=False)
                yield ProgressBar(id="job", show_eta=False, classes="hidden")
            with Vertical(id="bench-day"):
                yield Plot(id="live")
                yield DataTable(id="bench-steps", cursor_type="row", zebra_stripes=True)

    def on_mount(self) -> None:
        self.query_one("#bench-steps", DataTable).add_columns("", "step", "planned", "began", "ended", "state")
        self.desk.timers.subscribe(self, self._heard)
        self._show_all()

    def on_screen_resume(self) -> None:
        self._show_all()

    @property
    def berth(self) -> Berth | None:
        """The timer in view."""
        return self.desk.fleet.berth

    # --- following ---------------------------------------------------------------------------------------------

    def _heard(self, heard: tuple[Berth, Any]) -> None:
        berth, what = heard
        if isinstance(what, JobMoved) and what.name not in _SPEAK_THEMSELVES:
            self._job_moved(what)
        elif isinstance(what, JobDone):
            self._job_done(what)
        if not self.is_current or berth is not self.berth:
            self._list_timers()
            return
        if isinstance(what, Seen):
            self._show_now(what.sight)
            self._show_live(what.sight)
            if what.report is not None:
                self._fill_steps()
        elif isinstance(what, Found | Gone):
            self._show_all()

    def _list_timers(self) -> None:
        berths = self.desk.fleet.berths
        row = self.query_one("#bench-timers", PageRow)
        row.set_class(len(berths) < 2, "hidden")
        if len(berths) > 1:
            shapes = {"connected": "●", "playing": "▶", "lost": "✕", "looking": "◌"}
            pages = [
                (port, f"{shapes.get(berth.link.kind, '?')} {berth.label}"
                 + (f" {berth.sight.word}" if berth.sight and berth.sight.word else "")
                 + (" ! ALARM" if berth.alarm else ""))
                for port, berth in berths.items()
            ]  # fmt: skip
            if pages != self._listed or row.page != self.desk.fleet.shown:
                self._listed = pages
                row.set_pages(pages, self.desk.fleet.shown)

    def on_page_row_chosen(self, event: PageRow.Chosen) -> None:
        self.desk.fleet.shown = event.page
        self.desk.refresh_toplines()
        self._show_all()

    def _show_all(self) -> None:
        self._list_timers()
        berth = self.berth
        if berth is None:
            self._blank(_NO_TIMER, "")
        elif berth.sight is None:
            lost = berth.link.kind == "lost"
            self._blank("NO LINK" if lost else "CONNECTING", berth.why or f"{berth.label}: {berth.link.words}")
        else:
            self._show_now(berth.sight)
            self._show_live(berth.sight)
        if berth is not None and berth.connected and berth.plan is None:
            self._blank("NO PLAN", "The timer holds no plan: go to Batch and send one.")
        self._fill_steps()

    def _put(self, selector: str, text: str) -> None:
        widget = self.query_one(selector, Static)
        if str(widget.content) != text:  # a widget that has not changed costs nothing
            widget.update(text)

    def _blank(self, word: str, step: str) -> None:
        # An old number must not pass for a present one.
        self._put("#word", word)
        self._put("#step", step)
        self.query_one("#probe", Digits).update("--")
        self.query_one("#windowbar", WindowBar).update("")
        for selector in ("#judgement", "#left", "#alarm", "#rests"):
            self._put(selector, "")

    def _show_now(self, sight: Sight) -> None:
        berth = self.berth
        if berth is None or berth.plan is None:
            return
        self._put("#word", sight.word or "WAIT")
        fold = sight.fold and sight.fold.split(" (")[0].lower() not in sight.step.lower()
        self._put("#step", f"{sight.step}   {sight.fold}" if fold else sight.step)
        probe = self.query_one("#probe", Digits)
        text = "--" if sight.probe_cdeg is None else cdeg_text(sight.probe_cdeg)
        if probe.value != text:
            probe.update(text)
        self._put("#judgement", "no reading" if sight.probe_cdeg is None else f"°C  {sight.judgement}")
        self.query_one("#windowbar", WindowBar).show(sight)
        windowed = sight.low_cdeg is not None and sight.high_cdeg is not None
        left = ""
        if sight.left_s is not None and windowed:
            left = f"{max(1, round(sight.left_s / 60))} min left in the window\n"
        bench = "no reading" if sight.bench_cdeg is None else f"{cdeg_text(sight.bench_cdeg)} °C"
        ready = clock_text(berth.plan, berth.plan.ready_at_s)
        late = minutes_text(sight.slack_s) + (" to spare" if sight.slack_s >= 0 else " late")
        self._put("#left", f"{left}ready {ready}: {late}\nbench {bench}   {clock_text(berth.plan, sight.at_s)}")
        self._put("#alarm", f"! ALARM: {sight.alarm}  (a answers)" if sight.alarm else "")
        self._put("#rests", self._rests(berth, sight))

    def _rests(self, berth: Berth, sight: Sight) -> str:
        """Say what runs besides the step at hand, and for how long yet."""
        lines = []
        report = berth.report
        for index, step in enumerate(berth.plan.steps):
            state = report.steps[index] if report is not None and index < len(report.steps) else None
            if state is None or state.state not in (1, 4) or step.step_id == sight.step_id:
                continue
            left = state.started_at_s + step.planned_for_s - sight.at_s
            when = f"{left // 60} min yet" if left > 0 else f"over by {-left // 60} min"
            lines.append(f"{_STATE_SHAPES[state.state]} {step.name}: {when}")
        return "\n".join(lines[:4])

    def _show_live(self, sight: Sight) -> None:
        berth = self.berth
        if berth is None or len(berth.looks) < 2:
            return
        # The curve is redrawn for another timer, or when it can look different: dough moves slowly.
        drawn = (berth.port, time.monotonic())
        if drawn[0] == self._drawn[0] and drawn[1] - self._drawn[1] < _CURVE_EVERY_S:
            return
        self._drawn = drawn
        # The last hour: older looks are the business of Look back.
        data = np.array(berth.looks, dtype=float)
        data = data[data[:, 0] >= data[-1, 0] - _HOUR_S]
        at_s = data[:, 0]
        low = None if sight.low_cdeg is None else sight.low_cdeg / 100
        high = None if sight.high_cdeg is None else sight.high_cdeg / 100
        series = [Series("bench", at_s, data[:, 2], dotted=True), Series("probe", at_s, data[:, 1])]
        ahead = None if low is None or high is None else band(data[:, :2], sight.left_s, low, high)
        until = float(at_s[-1]) + 300
        if ahead is not None:
            until = max(until, float(ahead[0][-1]))
            series += [Series("ahead", ahead[0], ahead[1], True), Series("ahead", ahead[0], ahead[2], True)]
        bands = [Band(at_s[0], until, low, high)] if low is not None and high is not None else []
        plot = self.query_one("#live", Plot)
        plan = berth.plan
        if plan is not None:
            form = "%H:%M:%S" if until - at_s[0] < 1200 else "%H:%M"
            plot.set_clock(lambda at: local(plan, at).strftime(form))
        plot.set_data(series, bands, [(float(at_s[-1]), "^")])

    def _fill_steps(self) -> None:
        table = self.query_one("#bench-steps", DataTable)
        berth = self.berth
        plan = berth.plan if berth is not None else None
        if berth is None or plan is None or berth.report is None:
            table.clear()
            return
        ids = [str(step.step_id) for step in plan.steps]
        if [str(key.value) for key in table.rows] != ids:
            table.clear()
            for step in plan.steps:
                table.add_row("", escape(step.name), clock_text(plan, step.start_at_s), "", "", "",
                              key=str(step.step_id))  # fmt: skip
        for index, step in enumerate(plan.steps):
            state = berth.report.steps[index] if index < len(berth.report.steps) else None
            code = state.state if state else 0
            row = (
                _STATE_SHAPES.get(code, "?"), escape(step.name), clock_text(plan, step.start_at_s),
                clock_text(plan, state.started_at_s, False) if state and state.started_at_s else "",
                clock_text(plan, state.ended_at_s, False) if state and state.ended_at_s else "",
                _STATE_WORDS.get(code, "?"),
            )  # fmt: skip
            for column, cell in zip(table.ordered_columns, row, strict=True):
                if table.get_cell(str(step.step_id), column.key) != cell:
                    table.update_cell(str(step.step_id), column.key, cell, update_width=True)
        focus = berth.report.focus
        if focus is not None and focus < len(plan.steps) and not table.has_focus and table.cursor_row != focus:
            table.move_cursor(row=focus)

    # --- what the cook does ------------------------------------------------------------------------------------

    def _do(self, name: str, job: Job) -> None:
        berth = self.berth
        if berth is None or not berth.connected:
            self.notify("No timer is connected: plug it in, it is found by itself.", severity="warning")
            return
        berth.follower.do(name, job)

    def _job_moved(self, moved: JobMoved) -> None:
        bar = self.query_one("#job", ProgressBar)
        bar.remove_class("hidden")
        bar.update(total=moved.total, progress=moved.done)

    def _job_done(self, done: JobDone) -> None:
        self.query_one("#job").add_class("hidden")
        if done.name in _SPEAK_THEMSELVES:
            return
        if done.error:
            self.app.notify(done.error, severity="error", title=done.name, timeout=10, markup=False)
        else:
            self.app.notify(str(done.result or "Done."), title=done.name, markup=False)

    def action_connect(self) -> None:
        """Look anew: at the port in view, or at all that are plugged in."""
        fleet, berth = self.desk.fleet, self.berth
        port = self.desk.port or (berth.port if berth is not None else None)
        if port is None:
            self.notify("Looking all the time: plug the timer in with a cable that carries data.")
            return
        fleet.follow(port, berth.clock if berth is not None and berth.port == port else None)
        self.desk.refresh_toplines()
        self._show_all()

    def action_next_timer(self) -> None:
        """Bring the next timer into view."""
        self.desk.fleet.next()
        self.desk.refresh_toplines()
        self._show_all()

    def action_skip(self) -> None:
        """Let ten minutes of a virtual day pass at once."""
        virtual = self.desk.virtual
        if virtual is None:
            self.notify("Only a virtual timer can be hurried.")
            return
        self.run_worker(lambda: virtual.skip(600), thread=True, group="skip", exclusive=False)

    def action_finish(self) -> None:
        """Play a virtual day to its end; pressed again, stop hurrying."""
        virtual, berth = self.desk.virtual, self.berth
        if virtual is None or berth is None or berth.plan is None:
            self.notify("Only a virtual timer can be hurried.")
            return
        if self._hurry is not None:
            self._hurry.set()
            return
        self._hurry, berth.hurried = threading.Event(), True
        end_at_s = max(step.start_at_s + step.planned_for_s for step in berth.plan.steps)
        self.notify("Playing the day; S again stops hurrying.")
        self.run_worker(lambda: self._play_on(virtual, end_at_s), thread=True, group="skip")

    def _hurried(self, said: str) -> None:
        for berth in self.desk.fleet.berths.values():
            berth.hurried = False
        self._job_done(JobDone("Virtual timer", said))

    def _play_on(self, virtual: Any, end_at_s: int) -> None:
        stop = self._hurry

        def show(done: int, total: int) -> None:
            if stop is None or stop.is_set():
                raise InterruptedError
            self.app.call_from_thread(self._job_moved, JobMoved("Play", done, total))

        try:
            virtual.play_on(end_at_s, show)
            said = "The day is played: collect its log with l."
        except InterruptedError:
            said = "Time goes its usual way again."
        self._hurry = None
        self.app.call_from_thread(self._hurried, said)

    def action_acknowledge(self) -> None:
        """Answer the alarm."""
        sight = self.berth.sight if self.berth else None
        self._do("Acknowledge", jobs.command(m.ACTION_ACKNOWLEDGE, sight.step_id if sight else 0, 0, "Answered."))

    def action_go(self) -> None:
        """Start the step that is due, or say that the one at hand is done."""
        berth = self.berth
        if berth is None or berth.plan is None or berth.sight is None:
            self.notify("Nothing runs yet.")
            return
        self._do("Go", jobs.go(berth.plan, berth.sight.step_id))

    def action_bend(self) -> None:
        """Mark a bend test at the probe's present reading."""
        from tourier.desk.screens.ask import Choose

        sight = self.berth.sight if self.berth else None
        if sight is None or sight.probe_cdeg is None:
            self.notify("The probe gives no reading, so a bend test would have no temperature.", severity="warning")
            return
        reading = f"{cdeg_text(sight.probe_cdeg)} °C"

        def chosen(verdict: object) -> None:
            if isinstance(verdict, int):
                self._do("Bend test", jobs.command(m.ACTION_BEND, 0, verdict, f"Marked at {reading}."))

        answers: list[tuple[object, str]] = [(1, "cracked: too cold"), (2, "bent clean"), (3, "greasy: too warm")]
        self.app.push_screen(Choose(f"Bend a corner of the pâton. At {reading} the butter:", answers), chosen)

    def action_note(self) -> None:
        """Write a note into the journal."""
        from tourier.desk.screens.ask import Ask

        def written(text: str | None) -> None:
            if text:
                self._do("Note", jobs.note(text))

        self.app.push_screen(Ask("Note, kept with the timer's time (at most 100 letters):"), written)

    def action_collect(self) -> None:
        """Collect the log into the logbook."""
        self._do("Collect", jobs.collect(places.logbook_file()))

    def action_replan(self) -> None:
        """Plan the rest of the day anew."""
        berth = self.berth
        text = self.desk.sent_text(berth.plan) if berth is not None and berth.plan is not None else ""
        if not text:
            self.notify("Open the batch that is running in Batch first.", severity="warning")
            return
        self.notify("Planning the rest of the day …")
        self._do("Replan", jobs.replan(text, "the running batch", places.logbook_file()))


ROOM_SCREEN = Bench
