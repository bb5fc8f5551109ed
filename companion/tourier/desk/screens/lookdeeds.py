"""What the cook does in the look-back room: zoom, move, excursions, side by side, export, outcome, take out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from textual import work
from textual.widgets import DataTable

from tourier import places
from tourier.desk.data.lookback import Pictured
from tourier.desk.screens.room import Room
from tourier.desk.widgets.plot import Plot


class LookDeeds(Room):
    """Actions of the look-back room."""

    if TYPE_CHECKING:

        def open(self, batch_id: int, second: bool = False) -> object:
            """Read one batch and show it."""

        def reload(self) -> object:
            """Read the list of batches."""

        def forget(self, batch_id: int) -> None:
            """The batch is no longer there."""

    def __init__(self) -> None:
        super().__init__()
        self._shown: Pictured | None = None
        self._second: Pictured | None = None
        self._choosing_second = False
        self._excursion = -1
        self._taken_out: list[Path] = []

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
        self.go_to((self._excursion + 1) % len(self._shown.excursions))

    def go_to(self, number: int) -> None:
        """Show one excursion with some time around it."""
        if self._shown is None or number >= len(self._shown.excursions):
            return
        self._excursion = number
        one = self._shown.excursions[number]
        room = max(120.0, (one.to_s - one.from_s) * 0.5)
        self.query_one("#plot", Plot).view = (one.from_s - room, one.to_s + room)
        self.notify(f"{number + 1} of {len(self._shown.excursions)}: {one.title}, {one.text}", markup=False)

    def action_beside(self) -> None:
        """Set a second batch beside this one, or put it away."""
        if self._second is not None:
            self.put_second_away()
            return
        if self._choosing_second:
            self._choosing_second = False
            self.notify("No second batch, then.")
            return
        if self._shown is None:
            self.notify("There is no batch yet to set another beside.")
            return
        self._choosing_second = True
        self.query_one("#batches", DataTable).focus()
        self.notify("Choose the second batch in the list with Enter; s again lets it be.")

    def put_second_away(self) -> None:
        """One batch alone again."""
        self._second, self._choosing_second = None, False
        self.query_one("#plot", Plot).pair(None)
        self.remove_class("-beside")
        tabs = self.query_one("#lookback-tabs")
        tabs.hide_tab("tab-beside")  # type: ignore[attr-defined]

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

    # --- taking a batch out ------------------------------------------------------------------------------------

    def action_delete(self) -> None:
        """Take the batch in view out of the logbook; it can be put back."""
        if self._shown is None:
            return
        from tourier.desk.screens.ask import Confirm

        batch = self._shown.batch

        def answered(yes: bool | None) -> None:
            if yes:
                self._take_out(batch.id)

        question = f"Take batch {batch.id}, {batch.name}, out of the logbook? Put back (u) brings it home again."
        self.app.push_screen(Confirm(question, "Take it out"), answered)

    @work(thread=True, group="take out")
    def _take_out(self, batch_id: int) -> None:
        from tourier.desk.data.removed import take_out

        try:
            file = take_out(places.logbook_file(), batch_id, places.removed_folder())
        except Exception as error:
            self.app.call_from_thread(self.complain, str(error))
            return
        self.app.call_from_thread(self._is_out, batch_id, file)

    def _is_out(self, batch_id: int, file: Path) -> None:
        self._taken_out.append(file)
        self.notify(f"Batch {batch_id} is out of the logbook; u puts it back.")
        self.forget(batch_id)

    def action_put_back(self) -> None:
        """Put back the batch that was taken out last."""
        if not self._taken_out:
            kept = sorted(places.removed_folder().glob("*.jsonl"), key=lambda one: one.stat().st_mtime)
            self._taken_out = kept[-1:]
        if not self._taken_out:
            self.notify("No batch was taken out.")
            return
        self._put_back(self._taken_out.pop())

    @work(thread=True, group="take out")
    def _put_back(self, file: Path) -> None:
        from tourier.desk.data.removed import put_back

        try:
            put_back(places.logbook_file(), file)
        except Exception as error:
            self.app.call_from_thread(self.complain, str(error))
            return
        self.app.call_from_thread(self.notify, "The batch is back in the logbook.")
        self.app.call_from_thread(self.reload)

    def complain(self, text: str) -> None:
        """Say what the logbook says."""
        self.notify(text, severity="error", title="Logbook", timeout=10, markup=False)
