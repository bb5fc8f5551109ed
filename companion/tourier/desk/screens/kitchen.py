"""Kitchen and butters: what the cook has said, what the logs have taught, from which batches; change and take back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.widgets import ContentSwitcher, DataTable, Static

from tourier import places
from tourier.design import lessons_of
from tourier.desk.actions import bindings
from tourier.desk.data import mykitchen
from tourier.desk.screens.room import Room
from tourier.desk.widgets.fitted import Fit, FittedTable
from tourier.desk.widgets.pages import PageRow
from tourier.known import Learned, Lessons, words

_PAGES = [("mine", "My kitchen"), ("learned", "Learned"), ("butters", "Butters")]
_NO_LOG = "Nothing learned yet. Collect batches from the timer, then Learn (l): fridge, freezer, bench, mixer, butter."

_LEARNED = (
    Fit("what", 26), Fit("of", 12), Fit("value", 14), Fit("band", 16, 1), Fit("batches", 8), Fit("error before", 12, 3),
    Fit("after", 9, 2),
)  # fmt: skip
_BUTTERS = (
    Fit("butter", 14), Fit("bends", 15), Fit("melts", 6, 1), Fit("shatters below", 14, 2), Fit("absorbed above", 14, 3),
    Fit("known from", 26),
)  # fmt: skip


class KitchenRoom(Room):
    """What is known of kitchen and butter."""

    ROOM = "kitchen"
    BINDINGS: ClassVar = bindings("kitchen")
    HELP = (
        "## Kitchen\n\n*My kitchen* is what you said; *Learned* is what the timer's logs make of it, each value with "
        "its band, the batches it rests on and the forecast's error before and after; *Butters* shows where each "
        "butter bends. Bend tests at the bench move that window; you may also write it down by hand. What is "
        "learned can be taken back."
    )

    def compose_room(self) -> ComposeResult:
        yield PageRow(_PAGES, id="kitchen-pages")
        with ContentSwitcher(initial="mine", id="kitchen-switch"):
            with VerticalScroll(id="mine"):
                yield Static("", id="mine-text", markup=False)
            with VerticalScroll(id="learned", can_focus=False):
                yield FittedTable(_LEARNED, id="learned-table")
                yield Static("", id="learned-text", markup=False)
            yield FittedTable(_BUTTERS, id="butters")

    def on_mount(self) -> None:
        self.query_one("#kitchen-pages").focus()

    def on_screen_resume(self) -> None:
        self.reload()

    def on_page_row_chosen(self, event: PageRow.Chosen) -> None:
        self.query_one("#kitchen-switch", ContentSwitcher).current = event.page

    @work(thread=True, exclusive=True)
    def reload(self) -> None:
        """Read everything."""
        mine = mykitchen.lines(mykitchen.read(places.config_folder()))
        if not mykitchen.known(places.config_folder()):
            mine = ["Not answered yet: press k. Until then a home kitchen to begin with:", "", *mine]
        learned, trouble = in_force(places.logbook_file())
        rows = [butter_row(name, learned) for name in _butter_names()]
        self.app.call_from_thread(self._show, mine, learned, rows, trouble)

    def _show(self, mine: list[str], learned: Iterable[Learned], butters: list[tuple[str, ...]], trouble: str) -> None:
        self.query_one("#mine-text", Static).update("\n".join(mine))
        table = self.query_one("#learned-table", FittedTable)
        keys = [f"{value.quantity}@{value.subject}" for value in learned]
        table.fill([learned_row(value) for value in learned], keys, table.cursor_row)
        text = self.query_one("#learned-text", Static)
        if not learned:
            text.update(trouble or _NO_LOG)
        elif str(text.content) == _NO_LOG:
            text.update("")
        if trouble:
            self.notify(trouble, severity="error", title="Logbook", timeout=10, markup=False)
        table = self.query_one("#butters", FittedTable)
        table.fill(butters, [row[0] for row in butters], table.cursor_row)

    # --- actions -----------------------------------------------------------------------------------------------

    def action_questions(self) -> None:
        """Answer the questions about the kitchen."""
        from tourier.desk.screens.questions import Questions

        def done(kept: bool | None) -> None:
            if kept:
                self.reload()
                self.notify("Kept. Press u to put this kitchen into the open batch.")

        self.app.push_screen(Questions(), done)

    def action_use(self) -> None:
        """Put the kitchen into the open batch."""
        self.desk.call_later(self.desk.use_kitchen)

    @work(thread=True, exclusive=True, group="learn")
    def action_learn(self) -> None:
        """Fit the kitchen from the logs."""
        from tourier.logbook import LogbookError
        from tourier.logbook.learning.learn import learn
        from tourier.logbook.record.store import Logbook

        file = places.logbook_file()
        if not file.exists():
            self.app.call_from_thread(self.notify, _NO_LOG)
            return
        self.app.call_from_thread(self.query_one("#learned-text", Static).update, "Reading the logs …")
        try:
            with Logbook(file) as book:
                found = learn(book)
        except LogbookError as error:
            self.app.call_from_thread(self.notify, str(error), severity="error", markup=False)
            return
        said = [f"{one.quantity} of {one.subject}: {one.sentence}" for one in found.refusals]
        text = "\n".join(["", "What the logs cannot tell:", *said]) if said else ""
        self.app.call_from_thread(self.query_one("#learned-text", Static).update, text)
        self.app.call_from_thread(self.query_one("#kitchen-pages", PageRow).choose, "learned")
        self.reload()

    def action_forget(self) -> None:
        """Take back the learned value in view."""
        from tourier.desk.screens.ask import Confirm

        table = self.query_one("#learned-table", DataTable)
        if self.query_one("#kitchen-switch", ContentSwitcher).current != "learned" or not table.row_count:
            self.notify("Choose a value on the page Learned first.")
            return
        what = str(table.coordinate_to_cell_key(table.cursor_coordinate).row_key.value)

        def sure(yes: bool | None) -> None:
            if yes:
                self._forget(what)

        self.app.push_screen(Confirm(f"Take {what} back? The value before it holds again.", "Take it back"), sure)

    @work(thread=True, exclusive=True, group="learn")
    def action_reset(self) -> None:
        """Take back everything learned of one kitchen or butter, or all of it."""
        values, _trouble = in_force(places.logbook_file())
        self.app.call_from_thread(self._ask_reset, values)

    def _ask_reset(self, values: Sequence[Learned]) -> None:
        from tourier.desk.screens.ask import Choose

        if not values:
            self.notify(_NO_LOG)
            return
        subjects = list(dict.fromkeys(value.subject for value in values))
        counts = {subject: sum(value.subject == subject for value in values) for subject in subjects}
        answers: list[tuple[object, str]] = [
            (f"all@{subject}", f"all {counts[subject]} learned of {subject}") for subject in subjects
        ]
        if len(subjects) > 1:
            answers.append(("all", f"all {len(values)}, of every kitchen and butter"))

        def chosen(what: object) -> None:
            if what:
                self._forget(str(what))

        question = "Take back for good (the logs stay; Learn finds it again from them):"
        self.app.push_screen(Choose(question, answers), chosen)

    @work(thread=True, exclusive=True, group="learn")
    def _forget(self, what: str) -> None:
        from tourier.logbook import LogbookError
        from tourier.logbook.learning import ledger
        from tourier.logbook.record.store import Logbook

        try:
            with Logbook(places.logbook_file()) as book:
                ledger.forget(book, what)
        except LogbookError as error:
            self.app.call_from_thread(self.notify, str(error), severity="error", markup=False)
        self.reload()

    def action_edit(self) -> None:
        """Write the window of the butter in view by hand."""
        from tourier.desk.screens.ask import Ask

        table = self.query_one("#butters", DataTable)
        if self.query_one("#kitchen-switch", ContentSwitcher).current != "butters" or not table.row_count:
            self.notify("Choose a butter on the page Butters first.")
            return
        name = str(table.coordinate_to_cell_key(table.cursor_coordinate).row_key.value)

        def written(text: str | None) -> None:
            if text:
                self._write_window(name, text)

        self.app.push_screen(Ask(f"{name} bends from … to … (such as 12 °C to 17 °C):", "", 40), written)

    @work(thread=True, exclusive=True, group="learn")
    def _write_window(self, name: str, text: str) -> None:
        wrong = write_window(places.logbook_file(), name, text)
        self.app.call_from_thread(
            self.notify, wrong or f"Kept for {name}.", severity="warning" if wrong else "information", markup=False
        )
        self.reload()


def _butter_names() -> list[str]:
    from tourier.craft.butter import PROFILES

    return list(PROFILES)


def in_force(file: Path) -> tuple[tuple[Learned, ...], str]:
    """Return (the learned values in force, why they cannot be read); neither without a logbook."""
    from tourier.logbook import LogbookError

    try:
        return lessons_of(file).values, ""
    except LogbookError as error:
        return (), f"What was learned cannot be read: {error}"


def learned_row(value: Learned) -> tuple[str, ...]:
    """Return a learned value as cells."""
    before = "" if value.error_before is None else f"{value.error_before:.2f} {value.error_unit}"
    after = "" if value.error_after is None else f"{value.error_after:.2f} {value.error_unit}"
    batches = ", ".join(str(number) for number in value.batches) or "by hand"
    return (words(value.quantity), value.subject, f"{value.value:.2f} {value.unit}",
            f"{value.low:.2f} to {value.high:.2f}", batches, before, after)  # fmt: skip


def butter_row(name: str, learned: Iterable[Learned]) -> tuple[str, ...]:
    """Return a butter's window as cells: learned where it is, else the profile's."""
    from tourier.craft.butter import profile

    butter = profile(name)
    known = Lessons(tuple(learned)).about("", name)
    source = "common practice, no source"
    if known.butter_window_c is not None and known.butter_low_c is not None:
        source = "bend tests" if known.butter_low_c.batches else "written by hand"
    bends_c = known.butter_window_c or (butter.window_low_c, butter.window_high_c)
    return (name, f"{bends_c[0]:.1f} to {bends_c[1]:.1f} °C", f"{butter.melting_point_c:.0f} °C",
            f"{butter.stop_low_c:.1f} °C", f"{butter.stop_high_c:.1f} °C", source)  # fmt: skip


def write_window(file: Path, name: str, text: str) -> str:
    """Keep a window written by hand as the one in force; return what is wrong, "" when it was kept."""
    import re

    from tourier.craft.butter import profile
    from tourier.logbook.learning import ledger
    from tourier.logbook.record.store import Logbook
    from tourier.quantities import QuantityError, temperature_c

    parts = [part.strip() for part in re.split(r"\bto\b|…", text) if part.strip()]
    try:
        low, high = (temperature_c(part) for part in parts)
    except (QuantityError, ValueError):
        return "Write two temperatures with their unit, such as 12 °C to 17 °C."
    butter = profile(name)
    if not butter.stop_low_c <= low < high <= butter.stop_high_c:
        return (f"{name} shatters below {butter.stop_low_c:.0f} °C and is absorbed above {butter.stop_high_c:.0f} °C: "
                "its window lies between, the lower end first.")  # fmt: skip
    file.parent.mkdir(parents=True, exist_ok=True)
    with Logbook(file) as book:
        ledger.write(book, [
            Learned("butter_low_c", name, low, low, low, "°C", "written by hand", ()),
            Learned("butter_high_c", name, high, high, high, "°C", "written by hand", ()),
        ])  # fmt: skip
    return ""


ROOM_SCREEN = KitchenRoom
