"""The day as it runs: word, temperature against the window, forecast, steps, slack; several timers, one in view."""

from __future__ import annotations

from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical

from tourier.desk.actions import bindings
from tourier.desk.data.fleet import Berth
from tourier.desk.data.follow import Found, Gone, JobDone, JobMoved, Seen
from tourier.desk.screens.benchdeeds import SPEAK_THEMSELVES, BenchDeeds
from tourier.desk.screens.room import Room
from tourier.desk.widgets.daysteps import DaySteps
from tourier.desk.widgets.liveplot import LivePlot
from tourier.desk.widgets.nowpanel import NowPanel
from tourier.desk.widgets.pages import PageRow
from tourier.desk.widgets.topline import LINK_SHAPES

_WIDTH_FOR_CURVE = 76
_NO_TIMER = "No timer yet. Plug one in and it is found by itself, or play a batch on a virtual one (Batch, Send)."


class Bench(BenchDeeds, Room):
    """Live view of the timer. What the cook can do here stands in BenchDeeds."""

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

    def _heard(self, heard: tuple[Berth, Any]) -> None:
        berth, what = heard
        if isinstance(what, JobMoved) and what.name not in SPEAK_THEMSELVES:
            self.job_moved(what)
        elif isinstance(what, JobDone):
            self.job_done(what, berth)
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


def _timer_words(berth: Berth) -> str:
    """Return how one of several timers stands in the row: shape, name, word, alarm."""
    word = f" {berth.sight.word}" if berth.connected and berth.sight is not None and berth.sight.word else ""
    lost = " lost" if berth.link.kind == "lost" else ""
    return f"{LINK_SHAPES.get(berth.link.kind, '?')} {berth.label}{lost}{word}" + (" ! ALARM" if berth.alarm else "")


ROOM_SCREEN = Bench
