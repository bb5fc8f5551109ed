"""Look back: batches, their temperatures on one time axis with steps and marks, findings, and two side by side."""

from __future__ import annotations

from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.widgets import DataTable, Static, TabbedContent, TabPane

from tourier import places
from tourier.desk.actions import bindings
from tourier.desk.data.lookback import Pictured, TakenOut, compared, load, step_row, when_text
from tourier.desk.screens.room import Room
from tourier.desk.widgets.fitted import Fit, FittedTable
from tourier.desk.widgets.latest import show_latest
from tourier.desk.widgets.plot import Plot, StepStrip
from tourier.logbook.reports.prose import review_lines

_BATCHES = (Fit("batch", 12), Fit("no.", 4), Fit("when", 9), Fit("came out", 10))
_STEPS = (
    Fit("step", 18), Fit("began", 9), Fit("late", 5, 3), Fit("lasted", 9), Fit("planned", 9, 2), Fit("start °", 8, 1),
    Fit("end °", 6, 1), Fit("peak °", 7, 4), Fit("rest", 9, 5),
)  # fmt: skip
_OUTSIDE = (
    Fit("step", 18), Fit("from", 9), Fit("warm or cold", 12), Fit("for", 6), Fit("worst °", 7), Fit("° x min", 7, 1),
)  # fmt: skip
_SAME_S = 0.5  # two plots that show the same moments to within that need not follow each other
_LEGEND = "probe ━  bench ┅  window ▔▁   · due  ! alarm  b bend test  n note"


class Beside:
    """A second batch under the first on the same hours since the first step; moving one picture moves the other."""

    def __init__(self, room: LookBack) -> None:
        self._room = room
        self.choosing = False
        self.batch: Pictured | None = None

    @property
    def _plots(self) -> tuple[Plot, Plot]:
        return self._room.query_one("#plot", Plot), self._room.query_one("#second-plot", Plot)

    @property
    def _shift(self) -> float:
        """What takes an instant of the batch in view to the same moment of the second's day."""
        shown = self._room.shown
        return self.batch.begun_s - shown.begun_s if self.batch and shown else 0.0

    def show(self, first: Pictured, pictured: Pictured, rows: list[tuple[str, str, str]]) -> None:
        """Set this batch beside the one in view, and what differs between them into a page."""
        self.batch = pictured
        self._room.add_class("-beside")
        plot, second = self._plots
        second.set_clock(pictured.local)
        from_s, to_s = plot.whole
        second.set_data(pictured.series, pictured.bands, pictured.marks, (from_s + self._shift, to_s + self._shift))
        second.pair(plot)
        self._room.query_one("#second-title", Static).update(
            f"beside it, both from their first step: {pictured.batch.name} ({pictured.batch.id})"
        )
        table = self._room.query_one("#compared", FittedTable)
        table.retitle((Fit("what", 20), *[Fit(f"batch {one.batch.id}", 14) for one in (first, pictured)]))
        table.fill(rows)
        tabs = self._room.query_one("#lookback-tabs", TabbedContent)
        tabs.show_tab("tab-beside")
        tabs.active = "tab-beside"

    def put_away(self) -> None:
        """One batch alone again."""
        self.batch, self.choosing = None, False
        self._plots[0].pair(None)
        self._room.remove_class("-beside")
        self._room.query_one("#lookback-tabs", TabbedContent).hide_tab("tab-beside")

    def follow(self) -> None:
        """The first picture moved: the second shows the same moments, then both one scale."""
        if self.batch is not None:
            plot, second = self._plots
            second.view = (plot.view[0] + self._shift, plot.view[1] + self._shift)
            plot.pair(second)

    def lead(self) -> None:
        """The second picture was dragged or wheeled: the first follows."""
        if self.batch is None:
            return
        plot, second = self._plots
        first, last = second.view
        there, until = plot.view
        if abs(there + self._shift - first) > _SAME_S or abs(until + self._shift - last) > _SAME_S:
            plot.view = (first - self._shift, last - self._shift)


class LookBack(Room):
    """Past batches: the one in view is `shown`, a second one `beside`."""

    ROOM = "lookback"
    BINDINGS: ClassVar = bindings("lookback")
    HELP = (
        "## Look back\n\nChoose a batch in the list. The solid line is the probe in the dough, the dotted one the "
        "bench; the bounded band is the butter's window where the probe was in that dough. Marks under the picture: "
        "`·` step due or rest done, `!` alarm, `b` bend test, `n` note. Zoom and move with the keys below, the wheel, "
        "or by dragging, down to seconds.\n\n"
        "*Findings* names what the log is consistent with and the one change to try. A batch taken out can be put "
        "back. The timer is no food-safety instrument; follow your local rules."
    )

    def __init__(self) -> None:
        super().__init__()
        self.shown: Pictured | None = None
        self.beside = Beside(self)
        self._excursion = -1
        self._taken_out = TakenOut(places.logbook_file(), places.removed_folder())

    def compose_room(self) -> ComposeResult:
        with Vertical(id="lookback"):
            with Vertical(id="lookback-list"):
                yield FittedTable(_BATCHES, zebra=False, id="batches")
            with Vertical(id="lookback-main"):
                yield Static("", id="lookback-title", markup=False)
                yield StepStrip(id="strip", markup=False)
                yield Plot(id="plot")
                yield Static(_LEGEND, id="lookback-legend", markup=False)
                with Vertical(id="second"):
                    yield Static("", id="second-title", markup=False)
                    yield Plot(id="second-plot")
                with TabbedContent(id="lookback-tabs"):
                    with TabPane("Findings", id="tab-findings"), VerticalScroll():
                        yield Static("", id="findings", markup=False)
                    with TabPane("Steps", id="tab-steps"):
                        yield FittedTable(_STEPS, id="steps")
                    with TabPane("Outside the window", id="tab-excursions"):
                        yield FittedTable(_OUTSIDE, zebra=False, id="excursions")
                    with TabPane("Marks", id="tab-marks"), VerticalScroll():
                        yield Static("", id="marks", markup=False)
                    with TabPane("Compared", id="tab-beside"):
                        yield FittedTable((), id="compared")

    def on_mount(self) -> None:
        self.query_one("#lookback-tabs", TabbedContent).hide_tab("tab-beside")

    def on_screen_resume(self) -> None:
        self.reload()

    def offers(self, name: str) -> bool:
        return name == "put_back" or self.shown is not None

    # --- the list ----------------------------------------------------------------------------------------------

    @work(thread=True, exclusive=True, group="list")
    def reload(self) -> None:
        """Read the list of batches."""
        from tourier.logbook.record.store import Logbook

        file = places.logbook_file()
        if not file.exists():
            show_latest(self._listed, [])
            return
        try:
            with Logbook(file) as book:
                listed = book.batches()
        except Exception as error:
            self.app.call_from_thread(self.complain, str(error))
            return
        show_latest(self._listed, listed)

    def _listed(self, listed: list) -> None:
        table = self.query_one("#batches", FittedTable)
        rows = [
            (one.name, str(one.id), when_text(one),
             "★" * one.rating if one.rating else ("not rated" if one.finished else "unfinished"))
            for one in listed
        ]  # fmt: skip
        table.fill(rows, [str(one.id) for one in listed], table.cursor_row)
        if not listed:
            self.query_one("#lookback-title", Static).update(
                "No batch in the logbook yet. Collect one from the timer (Bench, Collect), or play the demo."
            )
        elif self.shown is None:
            self.open(listed[0].id)

    def on_data_table_row_selected(self, event: DataTable.RowSelected) -> None:
        if event.data_table.id == "batches":
            self.open(int(str(event.row_key.value)), second=self.beside.choosing)
            self.beside.choosing = False
        elif event.data_table.id == "excursions" and self.shown:
            self.go_to(event.cursor_row)
        elif event.data_table.id == "steps" and self.shown:
            self._go_to_step(event.cursor_row)

    def _go_to_step(self, number: int) -> None:
        assert self.shown is not None
        step = self.shown.account.steps[number]
        if step.from_s is not None:
            until = step.to_s if step.to_s is not None else self.shown.batch.last_at_s
            room = max(60.0, (until - step.from_s) * 0.25)
            self.query_one("#plot", Plot).view = (step.from_s - room, until + room)

    # --- one batch ---------------------------------------------------------------------------------------------

    @work(thread=True, exclusive=True, group="open")
    def open(self, batch_id: int, second: bool = False) -> None:
        """Read one batch and show it."""
        try:
            pictured = load(places.logbook_file(), batch_id)
            rows = compared(self.shown.batch, pictured.batch) if second and self.shown is not None else []
        except Exception as error:
            self.app.call_from_thread(self.complain, str(error))
            return
        if second:
            show_latest(self._show_second, pictured, rows)
        else:
            show_latest(self._show, pictured)

    def forget(self, batch_id: int) -> None:
        """The batch is no longer there: show another."""
        if self.beside.batch is not None:
            self.beside.put_away()
        if self.shown is not None and self.shown.batch.id == batch_id:
            self.shown = None
            plot = self.query_one("#plot", Plot)
            plot.set_data([], [])
            for table in self.query("#steps, #excursions").results(FittedTable):
                table.fill([])
            for selector in ("#findings", "#marks", "#strip", "#lookback-title"):
                self.query_one(selector, Static).update("")
        self.reload()

    def _show(self, pictured: Pictured) -> None:
        if self.beside.batch is not None:
            self.beside.put_away()
        self.shown, self._excursion = pictured, -1
        plot = self.query_one("#plot", Plot)
        plot.set_clock(pictured.local, pictured.batch.voice)
        plot.set_data(pictured.series, pictured.bands, pictured.marks)
        self.query_one("#findings", Static).update("\n".join(review_lines(pictured.review)))
        account = pictured.account
        self.query_one("#steps", FittedTable).fill([step_row(account, step) for step in account.steps])
        self.query_one("#excursions", FittedTable).fill(
            [(one.title, f"{pictured.local(one.from_s):%a %H:%M}", *one.cells) for one in pictured.excursions]
        )
        self.query_one("#marks", Static).update(
            "\n".join(f"{pictured.clock(at)}  {text}" for at, text in pictured.events) or "No marks."
        )
        self._retitle()

    def _show_second(self, pictured: Pictured, rows: list[tuple[str, str, str]]) -> None:
        assert self.shown is not None
        self.beside.show(self.shown, pictured, rows)
        self._retitle()

    def on_plot_moved(self, event: Plot.Moved) -> None:
        if event.plot.id == "plot":
            self._retitle()
        else:
            self.beside.lead()

    def _retitle(self) -> None:
        if self.shown is None:
            return
        first, last = self.query_one("#plot", Plot).view
        self.query_one("#strip", StepStrip).show(self.shown.strip, (first, last))
        self.beside.follow()
        form = "%a %H:%M" if last - first > 1200 else "%a %H:%M:%S"
        span = " to ".join(self.shown.local(at).strftime(form) for at in (first, last))
        self.query_one("#lookback-title", Static).update(f"{self.shown.batch.name} ({self.shown.batch.id})   {span}")
    # --- actions -----------------------------------------------------------------------------------------------

    def action_zoom(self, factor: float) -> None:
        """Change the span."""
        self.query_one("#plot", Plot).zoom(factor)

    def action_pan(self, share: float) -> None:
        """Move along the time axis."""
        self.query_one("#plot", Plot).pan(share)

    def action_whole(self) -> None:
        """Show the whole batch."""
        plot = self.query_one("#plot", Plot)
        plot.view = plot.whole

    def action_next_excursion(self) -> None:
        """Go to the next stretch outside the window."""
        if self.shown is None or not self.shown.excursions:
            self.notify("Nothing of this batch lay outside its window.")
            return
        self.go_to((self._excursion + 1) % len(self.shown.excursions))

    def go_to(self, number: int) -> None:
        """Show one excursion with some time around it."""
        if self.shown is None or number >= len(self.shown.excursions):
            return
        self._excursion = number
        one = self.shown.excursions[number]
        room = max(120.0, (one.to_s - one.from_s) * 0.5)
        self.query_one("#plot", Plot).view = (one.from_s - room, one.to_s + room)
        self.notify(f"{number + 1} of {len(self.shown.excursions)}: {one.title}, {one.text}", markup=False)

    def action_beside(self) -> None:
        """Set a second batch beside this one, or put it away."""
        if self.beside.batch is not None:
            self.beside.put_away()
            return
        if self.beside.choosing:
            self.beside.choosing = False
            self.notify("No second batch, then.")
            return
        if self.shown is None:
            self.notify("There is no batch yet to set another beside.")
            return
        self.beside.choosing = True
        self.query_one("#batches", DataTable).focus()
        self.notify("Choose the second batch in the list with Enter; s again cancels.")

    def action_export(self) -> None:
        """Write the report."""
        if self.shown is not None:
            from tourier.desk.screens.lookdialogs import Export

            self.app.push_screen(Export(self.shown))

    def action_outcome(self) -> None:
        """Write down how the batch came out."""
        if self.shown is not None:
            from tourier.desk.screens.lookdialogs import OutcomeForm

            self.app.push_screen(OutcomeForm(self.shown), self._outcome_kept)

    def _outcome_kept(self, kept: bool | None) -> None:
        if kept and self.shown is not None:
            self.open(self.shown.batch.id)
            self.reload()

    # --- taking a batch out ------------------------------------------------------------------------------------

    def action_delete(self) -> None:
        """Take the batch in view out of the logbook; it can be put back."""
        if self.shown is None:
            return
        from tourier.desk.screens.dialogs import Confirm

        batch = self.shown.batch

        def answered(yes: bool | None) -> None:
            if yes:
                self._take_out(batch.id)

        question = f"Take batch {batch.id}, {batch.name}, out of the logbook? Restore batch (u) brings it back."
        self.app.push_screen(Confirm(question, "Take it out"), answered)

    @work(thread=True, group="take out")
    def _take_out(self, batch_id: int) -> None:
        try:
            self._taken_out.take(batch_id)
        except Exception as error:
            self.app.call_from_thread(self.complain, str(error))
            return
        self.app.call_from_thread(self._is_out, batch_id)

    def _is_out(self, batch_id: int) -> None:
        self.notify(f"Batch {batch_id} is out of the logbook; u puts it back.")
        self.forget(batch_id)

    @work(thread=True, group="take out")
    def action_put_back(self) -> None:
        """Put back the batch that was taken out last."""
        try:
            found = self._taken_out.put_back()
        except Exception as error:
            self.app.call_from_thread(self.complain, str(error))
            return
        said = "The batch is back in the logbook." if found else "No batch was taken out."
        self.app.call_from_thread(self.notify, said)
        if found:
            self.app.call_from_thread(self.reload)

    def complain(self, text: str) -> None:
        """Say what the logbook says."""
        self.notify(text, severity="error", title="Logbook", timeout=10, markup=False)


ROOM_SCREEN = LookBack
