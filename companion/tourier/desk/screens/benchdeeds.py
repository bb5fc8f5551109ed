"""What the cook does in the bench room: answer, go, mark, note, collect, replan, and hurry a virtual day."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Any

from shared_schedule import messages as m
from shared_schedule.units import cdeg_text
from tourier import places
from tourier.desk.data import jobs
from tourier.desk.data.fleet import Berth
from tourier.desk.data.follow import Job, JobDone, JobMoved
from tourier.desk.screens.room import Room
from tourier.desk.widgets.nowpanel import NowPanel

_LONG = 60  # letters: what is longer stays longer to be read
# Jobs whose own screen shows the result.
SPEAK_THEMSELVES = frozenset({"Send", "Check", "Set clock", "Ice point", "Boil point"})


class BenchDeeds(Room):
    """Actions of the bench room; a job is done by the timer's own thread and reported by `job_done`."""

    if TYPE_CHECKING:

        @property
        def berth(self) -> Berth | None:
            """The timer in view."""

        @property
        def now_panel(self) -> NowPanel:
            """Where progress is shown."""

        def show_all(self) -> None:
            """Show everything anew."""

    def __init__(self) -> None:
        super().__init__()
        self._hurry: threading.Event | None = None
        self._working: dict[str, Berth] = {}  # jobs that show progress, by name

    # --- jobs --------------------------------------------------------------------------------------------------

    def _do(self, name: str, job: Job, lasts: bool = False) -> None:
        berth = self.berth
        if berth is None or not berth.connected:
            self.notify("No timer is connected: plug it in, it is found by itself.", severity="warning")
            return
        if lasts:
            if name in self._working:
                self.notify(f"{name} is under way; Escape breaks it off.")
                return
            self._working[name] = berth
            self.now_panel.job_moved(JobMoved(name, 0, 1))
        berth.follower.do(name, job)

    def job_moved(self, moved: JobMoved) -> None:
        """Show how far a job is."""
        self.now_panel.job_moved(moved)

    def job_done(self, done: JobDone, berth: Berth | None = None) -> None:
        """Say what came of a job of a timer."""
        self._working.pop(done.name, None)
        if not self._working and self._hurry is None:
            self.now_panel.job_over()
        if done.name in SPEAK_THEMSELVES:
            return
        several = len(self.desk.fleet.berths) > 1 and berth is not None
        title = f"{done.name}, {berth.label}" if several and berth is not None else done.name
        if done.error:
            self.app.notify(done.error, severity="information" if done.cancelled else "error", title=title, timeout=10,
                            markup=False)  # fmt: skip
        elif isinstance(done.result, jobs.Proposal):
            self._proposed(done.result)
        else:
            said = str(done.result or "Done.")
            self.app.notify(said, title=title, timeout=10 if len(said) > _LONG else 5, markup=False)

    def action_let_be(self) -> None:
        """Break off what shows progress: collecting, replanning, hurrying."""
        if self._hurry is not None:
            self._hurry.set()
        for name, berth in self._working.items():
            berth.follower.cancel(name)

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

    def _virtual(self) -> Any:
        virtual, berth = self.desk.virtual, self.berth
        if virtual is None or berth is None or berth.clock is None:
            self.notify("Only a virtual timer can be hurried.")
            return None
        return virtual

    def action_finish(self) -> None:
        """Play a virtual day to its end; pressed again, stop hurrying."""
        if self._hurry is not None:
            self._hurry.set()
            return
        virtual, berth = self._virtual(), self.berth
        if virtual is None or berth is None or berth.plan is None:
            return
        self._hurry, berth.hurried = threading.Event(), True
        end_at_s = max(step.start_at_s + step.planned_for_s for step in berth.plan.steps)
        self.notify("Playing the day; S again or Escape stops hurrying.")
        self.run_worker(lambda: self._play_on(virtual, end_at_s), thread=True, group="skip")

    def _play_on(self, virtual: Any, end_at_s: int) -> None:
        stop = self._hurry

        def show(done: int, total: int) -> None:
            if stop is None or stop.is_set():
                raise InterruptedError
            self.app.call_from_thread(self.job_moved, JobMoved("Play", done, total))

        try:
            virtual.play_on(end_at_s, show)
            said = "The day is played: collect its log with l."
        except InterruptedError:
            said = "Time goes its usual way again."
        self.app.call_from_thread(self._hurried, said)

    def _hurried(self, said: str) -> None:
        self._hurry = None
        for berth in self.desk.fleet.berths.values():
            berth.hurried = False
        self.job_done(JobDone("Virtual timer", said))

    # --- what goes into the journal ----------------------------------------------------------------------------

    def action_acknowledge(self) -> None:
        """Answer the alarm."""
        sight = self.berth.sight if self.berth else None
        if sight is not None and not sight.alarm:
            self.notify("No alarm sounds.")
            return
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

        berth = self.berth
        if berth is None or not _reading(berth):
            self.notify("The probe gives no reading, so a bend test would have no temperature.", severity="warning")
            return

        def chosen(verdict: object) -> None:
            if isinstance(verdict, int):
                self._do("Bend test", jobs.bend(verdict, _reading(berth) or "the probe's reading"))

        answers: list[tuple[object, str]] = list(jobs.BENDS.items())
        self.app.push_screen(Choose(f"Bend a corner of the pâton. At {_reading(berth)} the butter:", answers), chosen)

    def action_note(self) -> None:
        """Write a note into the journal."""
        from tourier.desk.screens.ask import Ask

        berth = self.berth

        def written(text: str | None) -> None:
            if text:
                self._do("Note", jobs.note(text, berth.plan if berth is not None else None))

        self.app.push_screen(Ask("Note, kept with the timer's time (at most 100 letters):"), written)

    def action_collect(self) -> None:
        """Collect the log into the logbook."""
        self._do("Collect", jobs.collect(places.logbook_file()), lasts=True)

    def _proposed(self, proposal: jobs.Proposal) -> None:
        from tourier.desk.screens.replanned import Replanned

        def answered(send: bool | None) -> None:
            if send:
                self._do("New plan", jobs.send_again(proposal), lasts=True)

        self.app.push_screen(Replanned(proposal), answered)

    def action_replan(self) -> None:
        """Plan the rest of the day anew."""
        berth = self.berth
        text = self.desk.sent_text(berth.plan) if berth is not None and berth.plan is not None else ""
        if not text:
            self.notify("Open the batch that is running in Batch first.", severity="warning")
            return
        self._do("Replan", jobs.replan(text, "the running batch", places.logbook_file()), lasts=True)


def _reading(berth: Berth) -> str:
    """Return what the probe said last, "" when it says nothing."""
    sight = berth.sight
    return "" if sight is None or sight.probe_cdeg is None else f"{cdeg_text(sight.probe_cdeg)} °C"
