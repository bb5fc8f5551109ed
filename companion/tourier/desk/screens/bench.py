"""The day as it runs: word, temperature against the window, forecast, steps, slack; several timers, one in view."""

from __future__ import annotations

from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical

from shared_schedule import messages as m
from tourier import places
from tourier.desk.actions import bindings
from tourier.desk.data import jobs
from tourier.desk.data.fleet import Berth
from tourier.desk.data.follow import Found, Gone, Job, JobDone, JobMoved, Seen
from tourier.desk.data.virtual import Hurry, VirtualBench
from tourier.desk.screens.room import Room
from tourier.desk.widgets.daysteps import DaySteps
from tourier.desk.widgets.liveplot import LivePlot
from tourier.desk.widgets.nowpanel import NowPanel
from tourier.desk.widgets.pages import PageRow
from tourier.desk.widgets.topline import LINK_SHAPES

_WIDTH_FOR_CURVE = 76
_LONG = 60  # letters: what is longer stays longer to be read
# Jobs whose own screen shows the result.
_SPEAK_THEMSELVES = frozenset({"Send", "Check", "Set clock", "Ice point", "Boil point"})
_NO_TIMER = "No timer yet. Plug one in and it is found by itself, or play a batch on a virtual one (Batch, Send)."


class Jobs:
    """What the timers' own threads are asked to do: begun, shown while it lasts, told when it is done."""

    def __init__(self, room: Bench) -> None:
        self._room = room
        self._lasting: dict[str, Berth] = {}  # those that show progress, by name

    def do(self, name: str, job: Job, lasts: bool = False) -> None:
        """Begin a job at the timer in view; one that `lasts` shows how far it is and can be broken off."""
        room, berth = self._room, self._room.berth
        if berth is None or not berth.connected:
            room.notify("No timer is connected: plug it in, it is found by itself.", severity="warning")
            return
        if lasts:
            if name in self._lasting:
                room.notify(f"{name} is under way; Escape stops it.")
                return
            self._lasting[name] = berth
            room.now_panel.job_moved(JobMoved(name, 0, 1))
        berth.follower.do(name, job)

    def heard(self, what: JobMoved | JobDone, berth: Berth) -> None:
        """Show how far a job is; say what came of it unless its own screen does."""
        if isinstance(what, JobDone):
            self._lasting.pop(what.name, None)
            self.say(what, berth)
        elif what.name not in _SPEAK_THEMSELVES:
            self._room.now_panel.job_moved(what)

    def say(self, done: JobDone, berth: Berth | None = None) -> None:
        """Say what came of a job, of a timer by its name where there are several."""
        room = self._room
        if not self._lasting and room.hurry is None:
            room.now_panel.job_over()
        if done.name in _SPEAK_THEMSELVES:
            return
        title = f"{done.name}, {berth.label}" if berth is not None and len(room.desk.fleet.berths) > 1 else done.name
        if done.error:
            room.app.notify(done.error, severity="information" if done.cancelled else "error", title=title, timeout=10,
                            markup=False)  # fmt: skip
        elif isinstance(done.result, jobs.Proposal):
            room.proposed(done.result)
        else:
            said = str(done.result or "Done.")
            room.app.notify(said, title=title, timeout=10 if len(said) > _LONG else 5, markup=False)

    @property
    def lasting(self) -> bool:
        """Whether something shows progress."""
        return bool(self._lasting)

    def break_off(self) -> None:
        """Break off what shows progress."""
        for name, berth in self._lasting.items():
            berth.follower.cancel(name)


class Bench(Room):
    """Live view of the timer, and what the cook does at it."""

    ROOM = "bench"
    BINDINGS: ClassVar = bindings("bench")
    HELP = (
        "## Bench\n\nA timer that is plugged in is found by itself and comes back by itself after a pulled cable. The "
        "word says what to do now. The bar is the butter's window with the dough's temperature as a mark; in the "
        "picture the dots after *now* are the band in which the forecast expects the dough. Every key here is also a "
        "button on the timer; what you press here is written into the same journal. Escape breaks off what shows "
        "progress.\n\n"
        "The timer advises; it is no food-safety instrument. Keep to your local rules."
    )

    def __init__(self) -> None:
        super().__init__()
        self.jobs = Jobs(self)
        self.hurry: Hurry | None = None
        self._listed: list[tuple[str, str]] = []

    def compose_room(self) -> ComposeResult:
        yield PageRow([], id="bench-timers", classes="hidden")
        with Vertical(id="bench"):
            with Horizontal(id="bench-top"):
                yield NowPanel(id="bench-now")
                yield LivePlot(id="live")
            yield DaySteps(id="bench-steps")

    def on_mount(self) -> None:
        self.desk.timers.subscribe(self, self._heard)
        self.show_all()

    def on_screen_resume(self) -> None:
        self.show_all()

    def on_resize(self) -> None:
        """Beside the word and the degrees a curve needs some width to say anything."""
        self.set_class(self.size.width < _WIDTH_FOR_CURVE, "-slim")

    @property
    def berth(self) -> Berth | None:
        """The timer in view."""
        return self.desk.fleet.berth

    @property
    def now_panel(self) -> NowPanel:
        """Word, temperature, what runs."""
        return self.query_one("#bench-now", NowPanel)

    def offers(self, name: str) -> bool:
        berth, virtual = self.berth, self.desk.virtual
        if name in ("acknowledge", "go", "bend", "note", "replan", "collect"):
            return berth is not None and berth.connected and berth.plan is not None
        if name in ("skip", "finish"):
            return virtual is not None and berth is not None and berth.clock is not None
        if name == "next_timer":
            return len(self.desk.fleet.berths) > 1
        return name != "let_be" or self.hurry is not None or self.jobs.lasting

    def _heard(self, heard: tuple[Berth, Any]) -> None:
        berth, what = heard
        if isinstance(what, JobMoved | JobDone):
            self.jobs.heard(what, berth)
        self._list_timers()
        if not self.is_current or berth is not self.berth:
            return
        if isinstance(what, Seen):
            self._show_look(berth)
            if what.report is not None:
                self.query_one(DaySteps).show(berth)
        elif isinstance(what, Found | Gone):
            self.show_all()

    def _list_timers(self) -> None:
        berths = self.desk.fleet.berths
        row = self.query_one("#bench-timers", PageRow)
        row.set_class(len(berths) < 2, "hidden")
        if len(berths) > 1:
            pages = [(port, _timer_words(berth)) for port, berth in berths.items()]
            if pages != self._listed or row.page != self.desk.fleet.shown:
                self._listed = pages
                row.set_pages(pages, self.desk.fleet.shown)

    def on_page_row_chosen(self, event: PageRow.Chosen) -> None:
        self.desk.fleet.shown = event.page
        self.desk.refresh_toplines()
        self.show_all()

    def show_all(self) -> None:
        """Show everything of the timer in view anew."""
        self._list_timers()
        berth, panel = self.berth, self.now_panel
        if berth is None:
            panel.blank("NO TIMER", _NO_TIMER)
            self.query_one(LivePlot).clear()
        elif not berth.connected:
            lost = berth.link.kind == "lost"
            panel.blank("NO LINK" if lost else "CONNECTING", berth.why or f"{berth.label}: {berth.link.words}")
        elif berth.plan is None:
            panel.blank("NO PLAN", "The timer holds no plan: go to Batch (F1) and send one.")
            self.query_one(LivePlot).clear()
        elif berth.sight is None:
            panel.blank("CONNECTED", f"{berth.label} {berth.link.words.partition(', ')[2]}; waiting for its word.")
        else:
            self._show_look(berth)
        self.query_one(DaySteps).show(berth)

    def _show_look(self, berth: Berth) -> None:
        if berth.plan is not None and berth.sight is not None:
            self.now_panel.show(berth, berth.sight)
            self.query_one(LivePlot).follow(berth, berth.sight)
    # --- what the cook does ------------------------------------------------------------------------------------

    def action_let_be(self) -> None:
        """Break off what shows progress: collecting, replanning, hurrying."""
        if self.hurry is not None:
            self.hurry.stop()
        self.jobs.break_off()

    # --- timers ------------------------------------------------------------------------------------------------

    def action_connect(self) -> None:
        """Look anew: at the port in view, or at all that are plugged in."""
        fleet, berth = self.desk.fleet, self.berth
        port = self.desk.port or (berth.port if berth is not None else None)
        if port is None:
            self.notify("Looking all the time: plug the timer in with a cable that carries data.")
            return
        fleet.follow(port, berth.clock if berth is not None and berth.port == port else None)
        self.desk.refresh_toplines()
        self.show_all()

    def action_next_timer(self) -> None:
        """Bring the next timer into view."""
        self.desk.fleet.next()
        self.desk.refresh_toplines()
        self.show_all()

    # --- a virtual day -----------------------------------------------------------------------------------------

    def action_skip(self) -> None:
        """Let ten minutes of a virtual day pass at once."""
        virtual = self._virtual()
        if virtual is not None:
            self.run_worker(lambda: virtual.skip(600), thread=True, group="skip", exclusive=False)

    def _virtual(self) -> VirtualBench | None:
        virtual, berth = self.desk.virtual, self.berth
        if virtual is None or berth is None or berth.clock is None:
            self.notify("Only a virtual timer can be hurried.")
            return None
        return virtual

    def action_finish(self) -> None:
        """Play a virtual day to its end; pressed again, stop hurrying."""
        if self.hurry is not None:
            self.hurry.stop()
            return
        virtual, berth = self._virtual(), self.berth
        if virtual is None or berth is None or berth.plan is None:
            return
        berth.hurried = True
        end_at_s = max(step.start_at_s + step.planned_for_s for step in berth.plan.steps)
        self.hurry = hurry = Hurry(virtual, end_at_s)
        self.notify("Playing the day; S again or Escape stops hurrying.")

        def play() -> None:
            said = hurry.play(lambda *far: self.app.call_from_thread(self.now_panel.job_moved, JobMoved("Play", *far)))
            self.app.call_from_thread(self._hurried, said)

        self.run_worker(play, thread=True, group="skip")

    def _hurried(self, said: str) -> None:
        self.hurry = None
        for berth in self.desk.fleet.berths.values():
            berth.hurried = False
        self.jobs.say(JobDone("Virtual timer", said))

    # --- what goes into the journal ----------------------------------------------------------------------------

    def action_acknowledge(self) -> None:
        """Answer the alarm."""
        sight = self.berth.sight if self.berth else None
        if sight is not None and not sight.alarm:
            self.notify("No alarm sounds.")
            return
        self.jobs.do("Acknowledge", jobs.command(m.ACTION_ACKNOWLEDGE, sight.step_id if sight else 0, 0, "Answered."))

    def action_go(self) -> None:
        """Start the step that is due, or say that the one at hand is done."""
        berth = self.berth
        if berth is None or berth.plan is None or berth.sight is None:
            self.notify("Nothing runs yet.")
            return
        self.jobs.do("Go", jobs.go(berth.plan, berth.sight.step_id))

    def action_bend(self) -> None:
        """Mark a bend test at the probe's present reading."""
        from tourier.desk.screens.dialogs import Choose

        berth = self.berth
        if berth is None or not _reading(berth):
            self.notify("The probe gives no reading, so a bend test would have no temperature.", severity="warning")
            return

        def chosen(verdict: object) -> None:
            if isinstance(verdict, int):
                self.jobs.do("Bend test", jobs.bend(verdict, _reading(berth) or "the probe's reading"))

        answers: list[tuple[object, str]] = list(jobs.BENDS.items())
        self.app.push_screen(Choose(f"Bend a corner of the pâton. At {_reading(berth)} the butter:", answers), chosen)

    def action_note(self) -> None:
        """Write a note into the journal."""
        from tourier.desk.screens.dialogs import Ask

        berth = self.berth

        def written(text: str | None) -> None:
            if text:
                self.jobs.do("Note", jobs.note(text, berth.plan if berth is not None else None))

        self.app.push_screen(Ask("Note, kept with the timer's time (at most 100 letters):"), written)

    def action_collect(self) -> None:
        """Collect the log into the logbook."""
        self.jobs.do("Collect", jobs.collect(places.logbook_file()), lasts=True)

    def proposed(self, proposal: jobs.Proposal) -> None:
        """Show a new plan for the rest of the day, and send it when the cook wants it."""
        from tourier.desk.screens.sending import Replanned

        def answered(send: bool | None) -> None:
            if send:
                self.jobs.do("New plan", jobs.send_again(proposal), lasts=True)

        self.app.push_screen(Replanned(proposal), answered)

    def action_replan(self) -> None:
        """Plan the rest of the day anew."""
        berth = self.berth
        text = self.desk.sent_text(berth.plan) if berth is not None and berth.plan is not None else ""
        if not text:
            self.notify("Open the batch that is running in Batch first.", severity="warning")
            return
        self.jobs.do("Replan", jobs.replan(text, "the running batch", places.logbook_file()), lasts=True)


def _timer_words(berth: Berth) -> str:
    """Return how one of several timers stands in the row: shape, name, word, alarm."""
    word = f" {berth.sight.word}" if berth.connected and berth.sight is not None and berth.sight.word else ""
    lost = " lost" if berth.link.kind == "lost" else ""
    return f"{LINK_SHAPES.get(berth.link.kind, '?')} {berth.label}{lost}{word}" + (" ! ALARM" if berth.alarm else "")


def _reading(berth: Berth) -> str:
    """Return what the probe said last, "" when it says nothing."""
    sight = berth.sight
    return "" if sight is None or sight.probe_cdeg is None else sight.voice.reading(sight.probe_cdeg)


ROOM_SCREEN = Bench
