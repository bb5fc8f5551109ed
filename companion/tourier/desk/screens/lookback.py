"""Look back: batches, their temperatures on one time axis with steps and marks, findings, and two side by side."""

from __future__ import annotations

from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.widgets import DataTable, Static, TabbedContent, TabPane

from tourier import places
from tourier.desk.actions import bindings
from tourier.desk.data.lookback import Pictured, compared, load, step_row, when_text
from tourier.desk.screens.lookdeeds import LookDeeds
from tourier.desk.widgets.fitted import Fit, FittedTable
from tourier.desk.widgets.plot import Plot
from tourier.desk.widgets.strip import StepStrip
from tourier.logbook.reports.prose import review_lines

_BATCHES = (Fit("batch", 12), Fit("no.", 4), Fit("when", 9), Fit("came out", 10))
_STEPS = (
    Fit("step", 18), Fit("began", 9), Fit("late", 5, 3), Fit("lasted", 9), Fit("planned", 9, 2), Fit("°C start", 8, 1),
    Fit("°C end", 6, 1), Fit("°C most", 7, 4), Fit("rest", 9, 5),
)  # fmt: skip
_OUTSIDE = (
    Fit("step", 18), Fit("from", 9), Fit("side", 8), Fit("for", 6), Fit("to °C", 5), Fit("°C·min", 6, 1),
)  # fmt: skip
_SAME_S = 0.5  # two plots that show the same moments to within that need not follow each other
_LEGEND = "probe ━  bench ┅  window ▔▁   · due  ! alarm  b bend test  n note"


class LookBack(LookDeeds):
    """Past batches. What the cook can do here stands in LookDeeds."""

    ROOM = "lookback"
    BINDINGS: ClassVar = bindings("lookback")
    HELP = (
        "## Look back\n\nChoose a batch in the list. The solid line is the probe in the dough, the dotted one the "
        "bench; the bounded band is the butter's window where the needle was in that dough. Marks under the picture: "
        "`·` step due or rest done, `!` alarm, `b` bend test, `n` note. Zoom and move with the keys below, the wheel, "
        "or by dragging, down to seconds.\n\n"
        "*Findings* names what the log is consistent with and the one change to try. A batch taken out can be put "
        "back. The timer is no food-safety instrument; follow your local rules."
    )

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

    # --- the list ----------------------------------------------------------------------------------------------

    @work(thread=True, exclusive=True, group="list")
    def reload(self) -> None:
        """Read the list of batches."""
        from tourier.logbook.record.store import Logbook

        file = places.logbook_file()
        if not file.exists():
            self.app.call_from_thread(self._listed, [])
            return
        try:
            with Logbook(file) as book:
                listed = book.batches()
        except Exception as error:
            self.app.call_from_thread(self.complain, str(error))
            return
        self.app.call_from_thread(self._listed, listed)

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
        elif self._shown is None:
            self.open(listed[0].id)

    def on_data_table_row_selected(self, event: DataTable.RowSelected) -> None:
        if event.data_table.id == "batches":
            self.open(int(str(event.row_key.value)), second=self._choosing_second)
            self._choosing_second = False
        elif event.data_table.id == "excursions" and self._shown:
            self.go_to(event.cursor_row)
        elif event.data_table.id == "steps" and self._shown:
            self._go_to_step(event.cursor_row)

    def _go_to_step(self, number: int) -> None:
        assert self._shown is not None
        step = self._shown.account.steps[number]
        if step.from_s is not None:
            until = step.to_s if step.to_s is not None else self._shown.batch.last_at_s
            room = max(60.0, (until - step.from_s) * 0.25)
            self.query_one("#plot", Plot).view = (step.from_s - room, until + room)

    # --- one batch ---------------------------------------------------------------------------------------------

    @work(thread=True, exclusive=True, group="open")
    def open(self, batch_id: int, second: bool = False) -> None:
        """Read one batch and show it."""
        try:
            pictured = load(places.logbook_file(), batch_id)
            rows = compared(self._shown.batch, pictured.batch) if second and self._shown is not None else []
        except Exception as error:
            self.app.call_from_thread(self.complain, str(error))
            return
        if second:
            self.app.call_from_thread(self._show_second, pictured, rows)
        else:
            self.app.call_from_thread(self._show, pictured)

    def forget(self, batch_id: int) -> None:
        """The batch is no longer there: show another."""
        if self._second is not None:
            self.put_second_away()
        if self._shown is not None and self._shown.batch.id == batch_id:
            self._shown = None
            plot = self.query_one("#plot", Plot)
            plot.set_data([], [])
            for table in self.query("#steps, #excursions").results(FittedTable):
                table.fill([])
            for selector in ("#findings", "#marks", "#strip", "#lookback-title"):
                self.query_one(selector, Static).update("")
        self.reload()

    def _show(self, pictured: Pictured) -> None:
        if self._second is not None:
            self.put_second_away()
        self._shown, self._excursion = pictured, -1
        plot = self.query_one("#plot", Plot)
        plot.set_clock(pictured.local)
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
        assert self._shown is not None
        self._second = pictured
        self.add_class("-beside")
        plot = self.query_one("#second-plot", Plot)
        plot.set_clock(pictured.local)
        first, last = self.query_one("#plot", Plot).whole
        plot.set_data(pictured.series, pictured.bands, pictured.marks, (first + self._shift, last + self._shift))
        plot.pair(self.query_one("#plot", Plot))
        self.query_one("#second-title", Static).update(
            f"beside it, both from their first step: {pictured.batch.name} ({pictured.batch.id})"
        )
        table = self.query_one("#compared", FittedTable)
        heads = [Fit(f"batch {one.batch.id}", 14) for one in (self._shown, pictured)]
        table.retitle((Fit("what", 20), *heads))
        table.fill(rows)
        tabs = self.query_one("#lookback-tabs", TabbedContent)
        tabs.show_tab("tab-beside")
        tabs.active = "tab-beside"
        self._retitle()

    @property
    def _shift(self) -> float:
        """What takes an instant of the batch in view to the same moment of the second's day."""
        return self._second.begun_s - self._shown.begun_s if self._second and self._shown else 0.0

    def on_plot_moved(self, event: Plot.Moved) -> None:
        if event.plot.id == "plot":
            self._retitle()
        elif self._second is not None:  # dragged or wheeled: the first follows
            first, last = event.plot.view
            there, until = self.query_one("#plot", Plot).view
            if abs(there + self._shift - first) > _SAME_S or abs(until + self._shift - last) > _SAME_S:
                self.query_one("#plot", Plot).view = (first - self._shift, last - self._shift)

    def _retitle(self) -> None:
        if self._shown is None:
            return
        first, last = self.query_one("#plot", Plot).view
        self.query_one("#strip", StepStrip).show(self._shown.strip, (first, last))
        if self._second is not None:
            second = self.query_one("#second-plot", Plot)
            second.view = (first + self._shift, last + self._shift)
            self.query_one("#plot", Plot).pair(second)  # once both show the same moments
        form = "%a %H:%M" if last - first > 1200 else "%a %H:%M:%S"
        span = " to ".join(self._shown.local(at).strftime(form) for at in (first, last))
        self.query_one("#lookback-title", Static).update(f"{self._shown.batch.name} ({self._shown.batch.id})   {span}")


ROOM_SCREEN = LookBack
