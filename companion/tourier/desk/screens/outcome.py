"""How a batch came out: what was seen, a rating, a note, a photo's path."""

from __future__ import annotations

from textual import work
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.screen import ModalScreen
from textual.widgets import Button, Input, Label, Static

from tourier import places
from tourier.desk.data.lookback import Pictured
from tourier.desk.widgets.marklist import MarkList


class OutcomeForm(ModalScreen[bool]):
    """True when it was kept."""

    BINDINGS = [("escape", "dismiss(False)", "Leave it"), ("ctrl+s", "keep", "Keep")]

    def __init__(self, pictured: Pictured) -> None:
        super().__init__()
        from tourier.logbook.record.model import Outcome

        self._batch = pictured.batch
        self._before = pictured.batch.outcome or Outcome()

    def compose(self) -> ComposeResult:
        from tourier.logbook.findings.knowledge import SYMPTOMS

        before = self._before
        with Vertical(classes="dialog dense"):
            yield Label(f"How did batch {self._batch.id} come out? Space marks what you saw.", markup=False)
            yield MarkList(SYMPTOMS.items(), before.symptoms, id="seen")
            with Horizontal(classes="row"):
                yield Static("1 (bad) to 5 (good)", classes="label")
                yield Input(str(before.rating or ""), id="rating", type="integer", max_length=1, compact=True)
            with Horizontal(classes="row"):
                yield Static("note", classes="label")
                yield Input(before.note, id="note", max_length=400, compact=True)
            with Horizontal(classes="row"):
                yield Static("photo (a file)", classes="label")
                yield Input(before.photo, id="photo", max_length=400, compact=True)
            with Horizontal(classes="buttons"):
                yield Button("Keep (ctrl+s)", id="keep", variant="primary")
                yield Button("Leave it", id="leave")

    def on_button_pressed(self, event: Button.Pressed) -> None:
        if event.button.id == "keep":
            self.action_keep()
        else:
            self.dismiss(False)

    def action_keep(self) -> None:
        """Keep it with the batch."""
        from tourier.logbook.record.model import Outcome

        rating = self.query_one("#rating", Input).value.strip()
        if rating and rating not in "12345":
            self.notify("A rating is 1 (bad) to 5 (good), or empty.", severity="warning")
            return
        self._keep(Outcome(
            symptoms=self.query_one(MarkList).marked,
            rating=int(rating) if rating else None,
            photo=self.query_one("#photo", Input).value.strip(),
            note=self.query_one("#note", Input).value.strip(),
        ))  # fmt: skip

    @work(thread=True, exclusive=True)
    def _keep(self, outcome) -> None:
        from tourier.logbook import LogbookError
        from tourier.logbook.record.store import Logbook

        try:
            with Logbook(places.logbook_file()) as book:
                book.set_outcome(self._batch.id, outcome)
        except LogbookError as error:
            self.app.call_from_thread(self.notify, str(error), severity="error", markup=False)
            return
        self.app.call_from_thread(self.dismiss, True)
