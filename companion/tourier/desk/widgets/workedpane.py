"""The right side of the batch room: pages of what comes of a batch, drawn in a thread."""

from __future__ import annotations

from textwrap import wrap

from rich.text import Text
from textual import work
from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.message import Message
from textual.widgets import Static

from tourier.desk.data.fields import label_of
from tourier.desk.data.workbench import Sized, Timed
from tourier.desk.data.worked import PAGES, minded, page
from tourier.desk.widgets.latest import show_latest
from tourier.desk.widgets.pages import PageRow

_LEAST_COLUMNS = 30
_SHADE = r"(?<= ):{2,}|(?<=[=+#.-]):{2,}"  # hours of sleep, which get a ground as well


class WorkedPane(Vertical):
    """`show` what has been worked out; posts `Turned` when the cook looks at another page."""

    class Turned(Message):
        """Another page is looked at."""

    def __init__(self, **kwargs) -> None:
        super().__init__(**kwargs)
        self.page = PAGES[0][0]
        self._sized: Sized | None = None
        self._timed: Timed | None = None

    def compose(self) -> ComposeResult:
        yield PageRow(list(PAGES), id="worked-pages")
        with VerticalScroll(id="worked-scroll"):
            yield Static("", id="worked-page", markup=False)

    def show(self, sized: Sized | None, timed: Timed | None) -> None:
        """Show these results; `timed` None: the timetable is not there yet."""
        self._sized, self._timed = sized, timed
        if sized is not None:
            self._mark(sized, timed)
            self._draw()

    def on_resize(self) -> None:
        if self._sized is not None:
            self._draw()

    def on_page_row_chosen(self, event: PageRow.Chosen) -> None:
        event.stop()
        self.page = event.page
        self.query_one("#worked-scroll").scroll_home(animate=False)
        if self._sized is not None:
            self._draw()
        self.post_message(self.Turned())

    def _mark(self, sized: Sized, timed: Timed | None) -> None:
        """Mark the pages where something is to be read."""
        marked = set()
        if sized.workup is not None and minded(sized.workup, timed.planned if timed is not None else None):
            marked.add("mind")
        if timed is not None and timed.refused:
            marked.add("times")
        self.query_one("#worked-pages", PageRow).mark(marked)

    @work(thread=True, exclusive=True, group="draw")
    def _draw(self) -> None:
        sized, timed = self._sized, self._timed
        assert sized is not None
        columns = self.query_one("#worked-scroll").size.width - 2
        if columns < 10:  # not on the screen
            columns = max(_LEAST_COLUMNS, self.app.size.width - 6)
        told = True  # sentences, which are folded to the width; what is drawn keeps its columns
        if sized.workup is None:
            lines = ["Nothing to show yet:", ""]
            lines += [f"! {label_of(key)}: {sentence}" if key else f"! {sentence}" for key, sentence in sized.problems]
            lines += [f"! {sized.refused}"] if sized.refused else []
        elif timed is not None and timed.refused and self.page == "times":
            lines = [f"! {timed.refused}", "", *[f"- {offer}" for offer in timed.offers]]
        else:
            told = False
            lines = page(self.page, sized.workup, timed.planned if timed else None, columns)
        if told:
            lines = [part for line in lines for part in (wrap(line, columns, subsequent_indent="  ") or [""])]
        text = Text("\n".join(lines), no_wrap=True)
        if self.page == "times" and not told:
            text.highlight_regex(_SHADE, "reverse dim")
        show_latest(self.query_one("#worked-page", Static).update, text)
