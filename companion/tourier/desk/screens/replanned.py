"""What a new plan for the rest of the day would move, before it is sent."""

from __future__ import annotations

from rich.markup import escape
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.screen import ModalScreen
from textual.widgets import Button, DataTable, Static

from tourier.desk.data.jobs import Proposal


class Replanned(ModalScreen[bool]):
    """True when the new plan is to be sent to the timer."""

    BINDINGS = [("escape", "dismiss(False)", "Keep the old plan")]

    def __init__(self, proposal: Proposal) -> None:
        super().__init__()
        self._proposal = proposal

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog"):
            yield Static("The rest of the day, planned anew", classes="title", markup=False)
            # The sentence names the first three limits that are not kept.
            more = [f"! {text}." for text in self._proposal.broken[3:]]
            yield Static("\n".join([self._proposal.sentence, *more]), id="replanned-words", markup=False)
            yield DataTable(cursor_type="row", zebra_stripes=True)
            with Horizontal(classes="buttons"):
                yield Button("Send it to the timer", id="send", variant="primary")
                yield Button("Keep the old plan", id="keep")

    def on_mount(self) -> None:
        table = self.query_one(DataTable)
        table.add_columns("step", "was", "now", "moves")
        for row in self._proposal.moved:
            table.add_row(*[escape(cell) for cell in row])
        if not self._proposal.moved:
            table.add_class("hidden")
        self.query_one("#send").focus()

    def on_button_pressed(self, event: Button.Pressed) -> None:
        self.dismiss(event.button.id == "send")
