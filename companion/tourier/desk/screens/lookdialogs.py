"""Dialogs of look back: how a batch came out (what was seen, rating, note, photo), and its report as files."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from rich.text import Text
from textual import work
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, Vertical
from textual.screen import ModalScreen
from textual.widgets import Button, Input, Label, OptionList, Static
from textual.widgets.option_list import Option

from tourier import files, places
from tourier.desk.data.kept import typed_path
from tourier.desk.data.lookback import Pictured
from tourier.desk.screens.dialogs import Dialog


class MarkList(OptionList):
    """A list in which several can be marked, as (key, words): space, Enter or a click; the mark is a letter."""

    BINDINGS = [Binding("space", "select", "Mark", show=False)]
    HELP = "### What you saw\n\nUp and down choose, space marks or takes the mark away."

    def __init__(self, entries: Iterable[tuple[str, str]], marked: Iterable[str] = (), **kwargs) -> None:
        self._entries = list(entries)
        self._marked = set(marked)
        super().__init__(*[Option(self._words(number)) for number in range(len(self._entries))], **kwargs)

    @property
    def marked(self) -> tuple[str, ...]:
        """The keys of what is marked."""
        return tuple(key for key, _words in self._entries if key in self._marked)

    def _words(self, number: int) -> Text:
        key, words = self._entries[number]
        return Text(f"[{'x' if key in self._marked else ' '}] {words}")

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        event.stop()
        self._marked ^= {self._entries[event.option_index][0]}
        self.replace_option_prompt_at_index(event.option_index, self._words(event.option_index))


class OutcomeForm(ModalScreen[bool]):
    """True when it was kept."""

    BINDINGS = [("escape", "dismiss(False)", "Cancel"), ("ctrl+s", "keep", "Keep")]

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
                yield Button("Cancel", id="leave")

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


class Export(Dialog[None]):
    """Asks where, writes HTML, CSV or JSON, or copies the findings."""

    BINDINGS = [("escape", "dismiss(None)", "Cancel")]

    def __init__(self, pictured: Pictured) -> None:
        super().__init__()
        self._pictured = pictured

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog small dense"):
            yield Label(f"Write the report of batch {self._pictured.batch.id} into the folder:", markup=False)
            yield Input(str(Path.home()), max_length=400)
            yield Button("Report for a browser (HTML)", id="html", variant="primary")
            yield Button("Steps and temperatures (CSV)", id="csv")
            yield Button("The review (JSON)", id="json")
            yield Button("The whole log (open log, can be imported)", id="log")
            yield Button("Copy the findings (works over ssh)", id="copy")
            yield Static("Escape closes.", id="exported", markup=False)

    def on_button_pressed(self, event: Button.Pressed) -> None:
        if event.button.id == "copy":
            from tourier.logbook.reports.prose import review_lines

            # The terminal itself puts it on the clipboard (OSC 52), so it works over ssh too.
            self.app.copy_to_clipboard("\n".join(review_lines(self._pictured.review)))
            self.query_one("#exported", Static).update("Copied. Escape closes.")
            return
        self._write(typed_path(self.query_one(Input).value), str(event.button.id))

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        self.query_one("#html").focus()

    @work(thread=True, exclusive=True)
    def _write(self, folder: Path, kind: str) -> None:
        try:
            written = write_report(self._pictured, folder, kind)
        except OSError as error:
            said = f"That folder cannot be written ({error.strerror}); choose another."
        else:
            said = "Written: " + ", ".join(str(file) for file in written) + ". Escape closes."
        self.app.call_from_thread(self.query_one("#exported", Static).update, said)


def write_report(pictured: Pictured, folder: Path, kind: str) -> list[Path]:
    """Write one kind of report; return the files. Raises OSError."""
    import json

    from tourier.logbook.record import openlog
    from tourier.logbook.reports.csv import samples_csv, steps_csv
    from tourier.logbook.reports.html import report_html
    from tourier.logbook.reports.json import review_dict

    stem = folder / f"batch-{pictured.batch.id}"
    if kind == "html":
        texts = {stem.with_suffix(".html"): report_html(pictured.review)}
    elif kind == "json":
        texts = {stem.with_suffix(".json"): json.dumps(review_dict(pictured.review), ensure_ascii=False, indent=1)}
    elif kind == "log":
        texts = {stem.with_suffix(".jsonl"): "".join(openlog.write(pictured.batch))}
    else:
        texts = {
            folder / f"{stem.name}-steps.csv": steps_csv(pictured.account),
            folder / f"{stem.name}-temperatures.csv": samples_csv(pictured.account),
        }
    for file, text in texts.items():
        files.save(file, text)
    return list(texts)
