"""The left side of the bench room: the word, the step, the temperature against its window, what runs, the alarm."""

from __future__ import annotations

from rich.text import Text
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.widgets import Digits, ProgressBar, Static

from shared_schedule import states
from shared_schedule.history import History
from tourier.desk.data.fleet import Berth
from tourier.desk.data.follow import JobMoved
from tourier.device.sight import Sight
from tourier.logbook.record.model import clock_text
from tourier.voice import span, step_name

STATE_SHAPES = {0: "·", 1: "▶", 2: "✓", 3: "–", 4: "!"}
_RESTS_SHOWN = 4
_READY_LEFT_S = 100 * 3600  # a count-down longer than that is a hold with no end
_BEYOND_CDEG = 400


class WindowBar(Static):
    """The butter's window, four degrees around it, and the dough as a mark: position says it, not colour."""

    DEFAULT_CSS = "WindowBar { height: 2; }"

    def show(self, sight: Sight) -> None:
        """Draw the window and the mark; empty when the step has no window."""
        width = max(20, self.size.width - 10)
        if sight.low_cdeg is None or sight.high_cdeg is None:
            self.update("")
            return
        low, high = sight.low_cdeg - _BEYOND_CDEG, sight.high_cdeg + _BEYOND_CDEG
        bar, mark = ["░"] * width, [" "] * width
        inside = [
            column
            for column in range(width)
            if sight.low_cdeg <= low + (high - low) * column // (width - 1) <= sight.high_cdeg
        ]
        for column in inside:
            bar[column] = "█"
        # Each edge is named where it is.
        edge = f"{sight.voice.degrees(sight.low_cdeg / 100, 0)}°"
        bar[inside[0] - len(edge) : inside[0]] = edge
        edge = f"{sight.voice.degrees(sight.high_cdeg / 100, 0)}°"
        bar[inside[-1] + 1 : inside[-1] + 1 + len(edge)] = edge
        if sight.probe_cdeg is not None:
            place = min(max((sight.probe_cdeg - low) * (width - 1) // (high - low), 0), width - 1)
            mark[place] = "▼"
        text = Text(no_wrap=True)
        text.append("     " + "".join(mark) + "\n")
        text.append("cold " + "".join(bar) + " warm")
        if str(self.content) != str(text):
            self.update(text)


class NowPanel(Vertical):
    """`show` what a timer says now, `blank` when there is nothing to say: an old number must not pass for a new one."""

    def compose(self) -> ComposeResult:
        yield Static("", id="word", markup=False)
        yield Static("", id="step", markup=False)
        with Horizontal(id="degrees"):
            yield Digits("--", id="probe")
            yield Static("", id="judgement", markup=False)
        yield WindowBar(id="windowbar")
        yield Static("", id="left", markup=False)
        yield Static("", id="alarm", markup=False)
        yield Static("", id="job-words", classes="hidden", markup=False)
        yield ProgressBar(id="job", show_eta=False, classes="hidden")
        yield Static("", id="rests", markup=False)  # last: where the panel is low, the longest of it is cut

    def _put(self, selector: str, text: str) -> None:
        widget = self.query_one(selector, Static)
        if str(widget.content) != text:  # a widget that has not changed costs nothing
            widget.update(text)

    def blank(self, word: str, step: str) -> None:
        """Say only a word and a sentence."""
        self._put("#word", word)
        self._put("#step", step)
        self.query_one("#probe", Digits).update("--")
        self.query_one("#windowbar", WindowBar).update("")
        for selector in ("#judgement", "#left", "#alarm", "#rests"):
            self._put(selector, "")

    def show(self, berth: Berth, sight: Sight) -> None:
        """Show one look at a timer that holds a plan."""
        self._put("#word", sight.word or "WAIT")
        fold = sight.fold and sight.fold.split(" (")[0].lower() not in sight.step.lower()
        self._put("#step", f"{sight.step}   {sight.fold}" if fold else sight.step)
        probe = self.query_one("#probe", Digits)
        said = sight.voice
        text = "--" if sight.probe_cdeg is None else said.degrees(sight.probe_cdeg / 100)
        if probe.value != text:
            probe.update(text)
        self._put("#judgement", "no reading" if sight.probe_cdeg is None else f"{said.degree}  {sight.judgement}")
        self.query_one("#windowbar", WindowBar).show(sight)
        self._put("#left", "\n".join(day_lines(berth, sight)))
        self._put("#alarm", f"! ALARM: {sight.alarm}  (a answers)" if sight.alarm else "")
        self._put("#rests", "\n".join(rest_lines(berth, sight)))

    def job_moved(self, moved: JobMoved) -> None:
        """Show how far a job is."""
        bar, words = self.query_one("#job", ProgressBar), self.query_one("#job-words", Static)
        words.update(f"{moved.name}: Escape stops it")
        words.remove_class("hidden")
        bar.remove_class("hidden")
        bar.update(total=moved.total, progress=moved.done)

    def job_over(self) -> None:
        """Put the bar away."""
        self.query_one("#job").add_class("hidden")
        self.query_one("#job-words").add_class("hidden")


def day_lines(berth: Berth, sight: Sight) -> list[str]:
    """Return what is left of this step, the ready time with its slack, and the bench with the timer's clock."""
    lines = []
    if sight.left_s is not None and sight.left_words and sight.left_s < _READY_LEFT_S:
        lines.append(sight.left_words.format(span(max(60, sight.left_s))))
    lines += [
        f"ready by {clock_text(berth.plan, berth.plan.ready_at_s)}, {sight.spare_words}",
        f"bench {sight.voice.reading(sight.bench_cdeg)}   now {clock_text(berth.plan, sight.at_s)}",
    ]
    return lines


def rest_lines(berth: Berth, sight: Sight) -> list[str]:
    """Say what runs besides the step at hand, and for how long yet."""
    lines = []
    past = berth.report.past if berth.report is not None else History(0)
    for index, step in enumerate(berth.plan.steps):
        state = past.steps[index] if index < len(past.steps) else states.WAITING
        if not states.is_open(state) or step.step_id == sight.step_id:
            continue
        left = past.started_at_s[index] + step.planned_for_s - sight.at_s
        when = f"{span(left)} to go" if left >= 60 else "now" if left > -60 else f"over by {span(-left)}"
        if state == states.READY and left >= 60:
            when = "ready"
        lines.append(f"{STATE_SHAPES[state]} {step_name(step)}: {when}")
    more = len(lines) - _RESTS_SHOWN
    return [*lines[:_RESTS_SHOWN], f"and {more} more"] if more > 0 else lines
