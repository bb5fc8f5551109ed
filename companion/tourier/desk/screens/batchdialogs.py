"""Dialogs of the batch room: which file to open, a batch file as text, what changed since the last good batch."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.markup import escape
from textual import work
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.screen import ModalScreen
from textual.widgets import Button, DataTable, Input, Label, OptionList, Static, TextArea
from textual.widgets.option_list import Option

from tourier import places
from tourier.desk.data.batchdoc import trouble
from tourier.desk.data.fields import label_of
from tourier.desk.data.kept import is_file, typed_path
from tourier.desk.screens.dialogs import Dialog

_LARGEST = 64 * 1024  # octets, as the reader of batch files allows


class OpenBatch(Dialog[object]):
    """Asks for a file: typed, one of the recent ones, or an example. Gives a Path, an example's text, or None."""

    BINDINGS = [("escape", "dismiss(None)", "Cancel")]

    def __init__(self, recent: list[str], aside: Sequence[Path] = ()) -> None:
        super().__init__()
        self._answers: list[tuple[object, str]] = [
            (Path(name), name if is_file(Path(name)) else f"{name} (no longer there)") for name in recent
        ]
        self._answers += [(file, f"Put aside: {_name_in(file)}") for file in aside]

    def compose(self) -> ComposeResult:
        from importlib.resources import files

        for entry in sorted(files("tourier.batch.examples").iterdir(), key=lambda one: one.name):
            if entry.name.endswith(".toml"):
                self._answers.append((entry, f"Example: {entry.name.removesuffix('.toml')}"))
        with Vertical(classes="dialog"):
            yield Label("Open a batch file: type its name, or choose a recent one or an example.", markup=False)
            yield Input(placeholder="~/batches/sunday.toml", max_length=400)
            yield OptionList(*[Option(escape(words)) for _answer, words in self._answers])

    def on_input_submitted(self, event: Input.Submitted) -> None:
        file = typed_path(event.value)
        if not is_file(file):
            self.notify(f"There is no file {file}; check the name.", severity="warning", markup=False)
            return
        self.dismiss(file)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        answer, words = self._answers[event.option_index]
        if words.startswith(("Example: ", "Put aside: ")):
            try:
                self.dismiss(answer.read_text(encoding="utf-8"))  # type: ignore[attr-defined]
            except (OSError, UnicodeDecodeError) as error:
                why = getattr(error, "strerror", None) or "it is no text any more"
                self.notify(f"{words} cannot be read ({why}); choose another.", severity="warning", markup=False)
        else:
            self.dismiss(answer)


def _name_in(file: Path) -> str:
    """Return the name a batch file gives its batch, and when it was put aside."""
    import tomllib
    from datetime import datetime

    try:
        name = tomllib.loads(file.read_text(encoding="utf-8")).get("name")
        when = datetime.fromtimestamp(file.stat().st_mtime).strftime("%a %d %b %H:%M")
    except (OSError, ValueError):
        return file.name
    return f"{str(name or 'unnamed')[:40]}, {when}"


class Mend(ModalScreen[str | None]):
    """Gives the text when it is TOML and wanted, None when the cook leaves it; the file is not touched here."""

    BINDINGS = [("escape", "dismiss(None)", "Cancel"), ("ctrl+s", "use", "Use it")]

    def __init__(self, title: str, text: str) -> None:
        super().__init__()
        self._title, self._text = title, text

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog dense"):
            yield Static(self._title, classes="title", markup=False)
            yield Static("", id="mend-words", markup=False)
            yield TextArea(self._text, show_line_numbers=True, soft_wrap=False, tab_behavior="focus", id="mend-text")
            with Horizontal(classes="buttons"):
                yield Button("Use it (ctrl+s)", id="use", variant="primary")
                yield Button("Cancel", id="leave")

    def on_mount(self) -> None:
        area = self.query_one(TextArea)
        wrong = trouble(self._text)
        area.focus()
        if wrong is not None:
            area.move_cursor((min(wrong.line, area.document.line_count) - 1, 0))
        self._say()

    def on_text_area_changed(self, event: TextArea.Changed) -> None:
        event.stop()
        self._say()

    def _say(self) -> str:
        text = self.query_one(TextArea).text
        wrong = trouble(text)
        said = "" if wrong is None else f"! {wrong}."
        if not said and len(text.encode("utf-8", "replace")) > _LARGEST:
            said = "! It is larger than 64 KB; a batch file is a page."
        self.query_one("#mend-words", Static).update(said or "It can be read.")
        return said

    def on_button_pressed(self, event: Button.Pressed) -> None:
        if event.button.id == "use":
            self.action_use()
        else:
            self.dismiss(None)

    def action_use(self) -> None:
        """Give the text back."""
        said = self._say()
        if said:
            self.notify("First put right what is said above the text.", severity="warning")
            self.query_one(TextArea).focus()
        else:
            self.dismiss(self.query_one(TextArea).text)


class Changed(Dialog[None]):
    """Every input that differs from the last good batch of the logbook."""

    BINDINGS = [("escape,q", "dismiss", "Close")]

    def __init__(self, text: str) -> None:
        super().__init__()
        self._text = text

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog"):
            yield Static("Looking into the logbook …", id="changed-title", markup=False)
            yield DataTable(cursor_type="row", zebra_stripes=True)
            yield Static("Escape closes.", classes="hint")

    def on_mount(self) -> None:
        self.query_one(DataTable).add_columns("what", "then", "now")
        self._look()

    @work(thread=True)
    def _look(self) -> None:
        title, rows = changes(self._text, places.logbook_file())
        self.app.call_from_thread(self._show, title, rows)

    def _show(self, title: str, rows: list[tuple[str, str, str]]) -> None:
        self.query_one("#changed-title", Static).update(title)
        table = self.query_one(DataTable)
        for row in rows:
            table.add_row(*[escape(cell) for cell in row])
        table.focus()


def changes(text: str, logbook: Path) -> tuple[str, list[tuple[str, str, str]]]:
    """Return (title, rows of what, then, now) between the newest good batch and a batch file's text."""
    import tomllib

    from tourier.logbook import LogbookError
    from tourier.logbook.findings.compare import flatten
    from tourier.logbook.record.store import Logbook

    if not logbook.exists():
        return "The logbook is empty: collect a batch first, and rate it in Look back.", []
    try:
        with Logbook(logbook) as book:
            listed = book.batches()
            good = next((one for one in listed if (one.rating or 0) >= 4 and not one.symptoms), None)
            chosen = good or (listed[0] if listed else None)
            if chosen is None:
                return "The logbook is empty: collect a batch first.", []
            then_text = book.load(chosen.id).batch_text
    except LogbookError as error:
        return str(error), []
    if not then_text:
        return f"Batch {chosen.id} came without its batch file, so there is nothing to compare with.", []
    leave_out = {"name", "ready", "start_after", "note"}
    then = {k: v for k, v in flatten(tomllib.loads(then_text)).items() if k not in leave_out}
    now = {k: v for k, v in flatten(tomllib.loads(text)).items() if k not in leave_out}
    rows = []
    for key in list(dict.fromkeys([*then, *now])):
        if then.get(key) != now.get(key):
            rows.append((label_of(key), str(then.get(key, "not written")), str(now.get(key, "not written"))))
    kind = "the last good batch" if good else "the last batch (none is rated 4 or 5 yet)"
    if not rows:
        return f"Nothing differs from {kind}, {chosen.name} (number {chosen.id}).", []
    things = "One thing" if len(rows) == 1 else f"{len(rows)} things"
    return f"{things} changed since {kind}: {chosen.name} (number {chosen.id}).", rows
