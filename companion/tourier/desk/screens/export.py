"""Writing a batch's report to files."""

from __future__ import annotations

from pathlib import Path

from textual import work
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.widgets import Button, Input, Label, Static

from tourier import files
from tourier.desk.data.lookback import Pictured
from tourier.desk.data.paths import typed_path
from tourier.desk.screens.dialog import Dialog


class Export(Dialog[None]):
    """Asks where, writes HTML, CSV or JSON, or copies the findings."""

    BINDINGS = [("escape", "dismiss(None)", "Leave it")]

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
