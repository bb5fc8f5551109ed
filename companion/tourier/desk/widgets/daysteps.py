"""The steps of the running day as a table: state in shape and word, planned, began, ended."""

from __future__ import annotations

from rich.markup import escape
from textual.widgets import DataTable

from shared_schedule import plan as wire
from tourier.desk.data.fleet import Berth
from tourier.desk.widgets.nowpanel import STATE_SHAPES, STATE_WORDS
from tourier.device.client import DayReport, StepState
from tourier.logbook.model import clock_text

_NAME_COLUMN = "step"
_NAME_AT_LEAST = 14
_PADDING = 2  # of every cell


class DaySteps(DataTable):
    """`show` fills it; what has not changed is not touched. The name gives way, so that every column is seen."""

    HELP = "### The steps\n\n`·` waiting, `▶` running, `!` ready and asking for you, `✓` done, `–` skipped."

    def __init__(self, **kwargs) -> None:
        super().__init__(cursor_type="row", zebra_stripes=True, **kwargs)
        self._seen: tuple[int, DayReport | None, int] = (0, None, 0)

    def on_mount(self) -> None:
        for key, width in (("state", 9), (_NAME_COLUMN, _NAME_AT_LEAST), ("planned", 9), ("began", 5), ("ended", 5)):
            self.add_column(key, width=width, key=key)

    def on_resize(self) -> None:
        """Give the names what the other columns leave."""
        others = sum(column.width + _PADDING for key, column in self.columns.items() if key.value != _NAME_COLUMN)
        name = max(_NAME_AT_LEAST, self.size.width - others - _PADDING - 1)  # one for the scrollbar
        column = self.columns.get(next((k for k in self.columns if k.value == _NAME_COLUMN), None))  # type: ignore[call-overload]
        if column is not None and column.width != name:
            column.width = name
            self._clear_caches()
            self.refresh(layout=True)

    def show(self, berth: Berth | None) -> None:
        """Show how far a timer's day is; nothing when it holds no plan."""
        plan = berth.plan if berth is not None else None
        if berth is None or plan is None or berth.report is None:
            if self.row_count:
                self.clear()
            return
        ids = [str(step.step_id) for step in plan.steps]
        if [str(key.value) for key in self.rows] != ids:
            self.clear()
            for step in plan.steps:
                self.add_row("", "", "", "", "", key=str(step.step_id))
        for index, step in enumerate(plan.steps):
            state = berth.report.steps[index] if index < len(berth.report.steps) else None
            for key, cell in zip(self.columns, row_of(plan, step, state), strict=True):
                if self.get_cell(str(step.step_id), key) != cell:
                    self.update_cell(str(step.step_id), key, cell)
        focus = berth.report.focus
        if focus is not None and focus < len(ids) and not self.has_focus and self.cursor_row != focus:
            self.move_cursor(row=focus)


def row_of(plan: wire.Plan, step: wire.Step, state: StepState | None) -> tuple[str, ...]:
    """Return the cells of one step."""
    code = state.state if state is not None else 0

    def clock(at_s: int) -> str:
        return clock_text(plan, at_s, False) if at_s else ""

    return (
        f"{STATE_SHAPES.get(code, '?')} {STATE_WORDS.get(code, '?')}", escape(step.name),
        clock_text(plan, step.start_at_s), clock(state.started_at_s) if state else "",
        clock(state.ended_at_s) if state else "",
    )  # fmt: skip
