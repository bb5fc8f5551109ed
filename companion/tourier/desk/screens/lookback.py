"""Look back: batches, their temperatures on one time axis with steps and marks, findings, and two side by side."""

from __future__ import annotations

from typing import ClassVar

from rich.markup import escape
from textual import work
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.widgets import DataTable, Static, TabbedContent, TabPane

from tourier import places
from tourier.desk.actions import bindings
from tourier.desk.data.lookback import Pictured, load, step_rows
from tourier.desk.screens.room import Room
from tourier.desk.widgets.plot import Plot
from tourier.desk.widgets.strip import StepStrip
from tourier.logbook.prose import review_lines


class LookBack(Room):
    """Past batches."""

    ROOM = "lookback"
    BINDINGS: ClassVar = bindings("lookback")
    HELP = (
        "## Look back\n\nChoose a batch on the left. The solid line is the probe in the dough, the dotted one the "
        "bench; "
        "the bounded band is the butter's window. Marks under the picture: `!` alarm, `b` bend test, `n` note. "
        "Zoom and move with the keys below, the wheel, or by dragging.\n\n"
        "*Findings* names what the log is consistent with and the one change to try. The timer is no food-safety "
        "instrument; follow your local rules."
    )

    def __init__(self) -> None:
        super().__init__()
        self._shown: Pictured | None = None
        self._second: Pictured | None = None
        self._choosing_second = False
        self._excursion = -1

    def compose_room(self) -> ComposeResult:
        with Horizontal(id="lookback"):
            with Vertical(id="lookback-list"):
                yield DataTable(id="batches", cursor_type="row")
            with Vertical(id="lookback-main"):
                yield Static("", id="lookback-title", markup=False)
                yield StepStrip(id="strip", markup=False)
                yield Plot(id="plot")
                with Vertical(id="second", classes="hidden"):
                    yield Static("", id="second-title", markup=False)
                    yield Plot(id="second-plot")
                with TabbedContent(id="lookback-tabs"):
                    with TabPane("Findings", id="tab-findings"), VerticalScroll():
                        yield Static("", id="findings")
                    with TabPane("Steps", id="tab-steps"):
                        yield DataTable(id="steps", cursor_type="row", zebra_stripes=True)
                    with TabPane("Outside the window", id="tab-excursions"):
                        yield DataTable(id="excursions", cursor_type="row")
                    with TabPane("Marks", id="tab-marks"), VerticalScroll():
                        yield Static("", id="marks", markup=False)

    def on_mount(self) -> None:
        self.query_one("#batches", DataTable).add_columns("no.", "when", "batch", "came out")
        self.query_one("#steps", DataTable).add_columns(
            "step", "planned", "began", "lasted", "planned for", "rest", "start °C", "end °C", "most °C"
        )
        self.query_one("#excursions", DataTable).add_columns("step", "began", "outside the window")
        self.reload()

    def on_screen_resume(self) -> None:
        self.reload()

    @work(thread=True, exclusive=True, group="list")
    def reload(self) -> None:
        """Read the list of batches."""
        from tourier.logbook.store import Logbook

        file = places.logbook_file()
        if not file.exists():
            self.app.call_from_thread(self._listed, [])
            return
        try:
            with Logbook(file) as book:
                listed = book.batches()
        except Exception as error:
            self.app.call_from_thread(self._complain, str(error))
            return
        self.app.call_from_thread(self._listed, listed)

    def _listed(self, listed: list) -> None:
        from datetime import UTC, datetime, timedelta, timezone

        from shared_schedule.units import EPOCH_UNIX_S

        table = self.query_one("#batches", DataTable)
        at = table.cursor_row
        table.clear()
        for one in listed:
            zone = timezone(timedelta(minutes=one.offset_min))
            when = datetime.fromtimestamp(EPOCH_UNIX_S + one.begun_at_s, UTC).astimezone(zone)
            came = "★" * one.rating if one.rating else ("not rated" if one.finished else "unfinished")
            table.add_row(str(one.id), when.strftime("%d %b %y"), escape(one.name), came, key=str(one.id))
        if not listed:
            self.query_one("#lookback-title", Static).update(
                "No batch in the logbook yet. Collect one from the timer (Bench, Collect), or play the demo."
            )
            return
        table.move_cursor(row=max(0, at))
        if self._shown is None:
            self.open(listed[0].id)

    def on_data_table_row_selected(self, event: DataTable.RowSelected) -> None:
        if event.data_table.id == "batches":
            self.open(int(str(event.row_key.value)), second=self._choosing_second)
            self._choosing_second = False
        elif event.data_table.id == "excursions" and self._shown:
            self._go_to(event.cursor_row)

    @work(thread=True, exclusive=True, group="open")
    def open(self, batch_id: int, second: bool = False) -> None:
        """Read one batch and show it."""
        try:
            pictured = load(places.logbook_file(), batch_id)
        except Exception as error:
            self.app.call_from_thread(self._complain, str(error))
            return
        self.app.call_from_thread(self._show_second if second else self._show, pictured)

    def _complain(self, text: str) -> None:
        self.notify(text, severity="error", title="Logbook", timeout=10)

    def _show(self, pictured: Pictured) -> None:
        self._shown, self._excursion = pictured, -1
        plot = self.query_one("#plot", Plot)
        plot.set_clock(pictured.clock)
        plot.set_data(pictured.series, pictured.bands, pictured.marks)
        self.query_one("#findings", Static).update(escape("\n".join(review_lines(pictured.review))))
        steps = self.query_one("#steps", DataTable)
        steps.clear()
        for row in step_rows(pictured.account):
            steps.add_row(*[escape(cell) for cell in row])
        table = self.query_one("#excursions", DataTable)
        table.clear()
        for one in pictured.excursions:
            table.add_row(escape(one.title), pictured.clock(one.from_s), escape(one.text))
        self.query_one("#marks", Static).update(
            "\n".join(f"{pictured.clock(at)}  {text}" for at, text in pictured.events) or "No marks."
        )
        self._retitle()

    def _show_second(self, pictured: Pictured) -> None:
        self._second = pictured
        self.query_one("#second").remove_class("hidden")
        plot = self.query_one("#second-plot", Plot)
        plot.set_clock(pictured.clock)
        plot.set_data(pictured.series, pictured.bands, pictured.marks)
        self.query_one("#second-title", Static).update(f"beside it: batch {pictured.batch.id}, {pictured.batch.name}")

    def on_plot_moved(self, event: Plot.Moved) -> None:
        if event.plot.id == "plot":
            self._retitle()

    def _retitle(self) -> None:
        if self._shown is None:
            return
        first, last = self.query_one("#plot", Plot).view
        self.query_one("#strip", StepStrip).show(self._shown.strip, (first, last))
        name = self._shown.batch.name
        self.query_one("#lookback-title", Static).update(
            f"batch {self._shown.batch.id}, {name}   {self._shown.clock(first)} to {self._shown.clock(last)}   "
            "probe ━  bench ┅  window ▔▁"
        )

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
        if self._shown is None or not self._shown.excursions:
            self.notify("Nothing of this batch lay outside its window.")
            return
        self._go_to((self._excursion + 1) % len(self._shown.excursions))

    def _go_to(self, number: int) -> None:
        assert self._shown is not None
        self._excursion = number
        one = self._shown.excursions[number]
        room = max(120.0, (one.to_s - one.from_s) * 0.5)
        self.query_one("#plot", Plot).view = (one.from_s - room, one.to_s + room)
        self.notify(f"{one.title}: {one.text}")

    def action_beside(self) -> None:
        """Set a second batch beside this one, or put it away."""
        if self._second is not None:
            self._second = None
            self.query_one("#second").add_class("hidden")
            return
        self._choosing_second = True
        self.query_one("#batches", DataTable).focus()
        self.notify("Choose the second batch in the list.")

    def action_export(self) -> None:
        """Write the report."""
        if self._shown is not None:
            from tourier.desk.screens.export import Export

            self.app.push_screen(Export(self._shown))

    def action_outcome(self) -> None:
        """Write down how the batch came out."""
        if self._shown is not None:
            from tourier.desk.screens.outcome import OutcomeForm

            self.app.push_screen(OutcomeForm(self._shown), self._outcome_kept)

    def _outcome_kept(self, kept: bool | None) -> None:
        if kept and self._shown is not None:
            self.open(self._shown.batch.id)
            self.reload()


ROOM_SCREEN = LookBack
