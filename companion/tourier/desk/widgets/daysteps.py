"""The steps of the running day as a table: state in shape and word, planned, began, ended."""

from __future__ import annotations

from rich.markup import escape
from textual.widgets import DataTable

from shared_schedule import plan as wire
from shared_schedule import states
from shared_schedule.history import History
from tourier.desk.data.fleet import Berth
from tourier.desk.widgets.fitted import Fit, fitting
from tourier.desk.widgets.nowpanel import STATE_SHAPES
from tourier.logbook.record.model import clock_text
from tourier.voice import step_name

# State comes first; the name takes what the others leave, and in a narrow window "ended" goes, then "planned".
_FITS = (Fit("step", 22), Fit("state", 9), Fit("planned", 9, 1), Fit("began", 5), Fit("ended", 5, 2))
_BEFORE = 2  # rows of the past above the step at hand
_ORDER = ("state", "step", "planned", "began", "ended")


class DaySteps(DataTable):
    """`show` fills it; what has not changed is not touched. Every column that is there is seen whole."""

    HELP = "### The steps\n\n`·` waiting, `▶` running, `!` ready and asking for you, `✓` done, `–` skipped."

    def __init__(self, **kwargs) -> None:
        super().__init__(cursor_type="row", zebra_stripes=True, **kwargs)
        self._berth: Berth | None = None
        self._laid_out: tuple[list[int], int] = ([], 0)

    def on_resize(self) -> None:
        """Lay the columns out anew where the width allows others."""
        if self.size.width and fitting(_FITS, self.size.width) != self._laid_out:
            self._lay_out()
            self.show(self._berth)

    def _lay_out(self) -> None:
        self._laid_out = kept, name = fitting(_FITS, self.size.width or self.app.size.width)
        self.clear(columns=True)
        widths = {_FITS[number].title: _FITS[number].width if number else name for number in kept}
        for title in _ORDER:
            if title in widths:
                self.add_column(title, width=widths[title], key=title)

    def show(self, berth: Berth | None) -> None:
        """Show how far a timer's day is; nothing when it holds no plan."""
        self._berth = berth
        if not self.columns:
            self._lay_out()
        plan = berth.plan if berth is not None else None
        if berth is None or plan is None or berth.report is None:
            if self.row_count:
                self.clear()
            return
        ids = [str(step.step_id) for step in plan.steps]
        if [str(key.value) for key in self.rows] != ids:
            self.clear()
            for step in plan.steps:
                self.add_row(*[""] * len(self.columns), key=str(step.step_id))
        for index, step in enumerate(plan.steps):
            cells = row_of(plan, step, berth.report.past, index)
            for key in self.columns:
                cell = cells[str(key.value)]
                if self.get_cell(str(step.step_id), key) != cell:
                    self.update_cell(str(step.step_id), key, cell)
        row = _at_hand(berth, ids)
        if row is not None and not self.has_focus and self.cursor_row != row:
            self.move_cursor(row=row, scroll=False)
            self.scroll_to(y=max(0, row - _BEFORE), animate=False)  # what comes next is what the cook looks for


def _at_hand(berth: Berth, ids: list[str]) -> int | None:
    """Return the row of the step the timer shows now; of the one it reported, before it has said so."""
    if berth.sight is not None and str(berth.sight.step_id) in ids:
        return ids.index(str(berth.sight.step_id))
    focus = berth.report.focus if berth.report is not None else None
    return focus if focus is not None and focus < len(ids) else None


def row_of(plan: wire.Plan, step: wire.Step, past: History, index: int) -> dict[str, str]:
    """Return the cells of one step by column."""
    told = index < len(past.steps)
    code = past.steps[index] if told else states.WAITING

    def clock(at_s: int) -> str:
        return clock_text(plan, at_s, False) if at_s else ""

    return {
        "state": f"{STATE_SHAPES.get(code, '?')} {states.STATE_WORDS.get(code, '?')}", "step": escape(step_name(step)),
        "planned": clock_text(plan, step.start_at_s), "began": clock(past.started_at_s[index]) if told else "",
        "ended": clock(past.ended_at_s[index]) if told else "",
    }  # fmt: skip
