"""The temperature picture: curves, window band and a time axis, moved by key and mouse; its steps as a strip."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import numpy as np
from rich.segment import Segment
from rich.style import Style
from rich.text import Text
from textual import events
from textual.message import Message
from textual.reactive import reactive
from textual.strip import Strip
from textual.widget import Widget
from textual.widgets import Static

from tourier.picture.decimate import columns, extent
from tourier.picture.raster import Band, Series, draw, scale
from tourier.voice import METRIC, Voice

_LABEL_COLUMNS = 5
_DIRECT = 4096  # samples in view up to which they are looked at one by one
_AXIS_ROWS = 2  # marks, times
_SHORTEST_VIEW_S = 10.0  # two samples: below that there is nothing more to see
_SHORTEST_NAME = 4  # letters: less says nothing
_STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400, 172800)
_GAP = 2  # cells between two labels of the time axis


class Plot(Widget, can_focus=True):
    """Curves over time. `set_data` gives it everything, `view` is (from_s, to_s); posts `Moved` when that changes."""

    COMPONENT_CLASSES = {"plot--probe", "plot--bench", "plot--band", "plot--axis", "plot--mark", "plot--ahead"}
    DEFAULT_CSS = """
    Plot { height: 1fr; min-height: 6; }
    Plot > .plot--probe { color: $probe; text-style: bold; }
    Plot > .plot--bench { color: $bench; }
    Plot > .plot--ahead { color: $accent; }
    Plot > .plot--band { background: $band; color: $secondary; }
    Plot > .plot--axis { color: $secondary; }
    Plot > .plot--mark { color: $warning; text-style: bold; }
    """

    view: reactive[tuple[float, float]] = reactive((0.0, 1.0))

    class Moved(Message):
        """The view changed."""

        def __init__(self, plot: Plot) -> None:
            super().__init__()
            self.plot = plot

        @property
        def control(self) -> Plot:
            return self.plot

    def __init__(self, **kwargs) -> None:
        super().__init__(**kwargs)
        self._series: list[Series] = []
        self._bands: list[Band] = []
        self._marks: list[tuple[float, str]] = []
        self._local: Callable[[float], datetime] = lambda at_s: datetime.fromtimestamp(at_s, UTC)
        self._said = METRIC
        self._whole = (0.0, 1.0)
        self._drawn: list[Strip] = []
        self._theme = ""
        self._drag_from: tuple[int, tuple[float, float]] | None = None
        self._partner: Plot | None = None

    def set_data(
        self,
        series: list[Series],
        bands: list[Band],
        marks: list[tuple[float, str]] | None = None,
        whole: tuple[float, float] | None = None,
    ) -> None:
        """Show these curves (seconds ascending), windows and one-character marks at instants; view the whole.

        Of marks that fall into one column the last is seen. `whole`: another span than that of the curves.
        """
        marks = marks or []
        self._series, self._bands, self._marks = series, bands, list(marks)
        filled = [one for one in series if one.at_s.size]
        if whole is not None:
            self._whole = whole
        elif filled:
            self._whole = (
                float(min(one.at_s[0] for one in filled)),
                float(max(one.at_s[-1] for one in filled)) + _SHORTEST_VIEW_S,
            )
        if self.view == self._whole:
            self._redraw()
        else:
            self.view = self._whole  # its watcher draws

    def set_clock(self, local: Callable[[float], datetime], said: Voice = METRIC) -> None:
        """Name instants by this local time and degrees in this voice from now on."""
        self._local, self._said = local, said

    def pair(self, partner: Plot | None) -> None:
        """Draw on one scale of degrees with another plot, so that the two can be compared; None: alone again."""
        self._partner = partner
        self._redraw()

    @property
    def whole(self) -> tuple[float, float]:
        """The span of all data."""
        return self._whole

    def validate_view(self, view: tuple[float, float]) -> tuple[float, float]:
        """Keep the view inside the data and no shorter than a few samples."""
        first, last = self._whole
        span = min(max(view[1] - view[0], _SHORTEST_VIEW_S), last - first)
        start = min(max(view[0], first), last - span)
        return start, start + span

    def zoom(self, factor: float, around_s: float | None = None) -> None:
        """Make the span `factor` times as long, keeping an instant (default: the middle) where it is."""
        first, last = self.view
        middle = (first + last) / 2 if around_s is None else around_s
        share = (middle - first) / (last - first)
        span = min(max((last - first) * factor, _SHORTEST_VIEW_S), self._whole[1] - self._whole[0])
        self.view = (middle - share * span, middle - share * span + span)

    def pan(self, share: float) -> None:
        """Move the view by a share of its span; negative is earlier."""
        first, last = self.view
        self.view = (first + share * (last - first), last + share * (last - first))

    def watch_view(self) -> None:
        self._redraw()
        self.post_message(self.Moved(self))

    def on_resize(self) -> None:
        self._redraw()

    def _at(self, column: int) -> float:
        first, last = self.view
        width = max(1, self.size.width - _LABEL_COLUMNS)
        return first + (column - _LABEL_COLUMNS) / width * (last - first)

    def on_mouse_scroll_up(self, event: events.MouseScrollUp) -> None:
        self.zoom(0.8, self._at(event.x))
        event.stop()

    def on_mouse_scroll_down(self, event: events.MouseScrollDown) -> None:
        self.zoom(1.25, self._at(event.x))
        event.stop()

    def on_mouse_down(self, event: events.MouseDown) -> None:
        self._drag_from = (event.x, self.view)
        self.capture_mouse()

    def on_mouse_move(self, event: events.MouseMove) -> None:
        if self._drag_from is not None:
            column, view = self._drag_from
            moved = (column - event.x) / max(1, self.size.width - _LABEL_COLUMNS) * (view[1] - view[0])
            self.view = (view[0] + moved, view[1] + moved)

    def on_mouse_up(self) -> None:
        self._drag_from = None
        self.release_mouse()

    # --- drawing -----------------------------------------------------------------------------------------------

    def _limits(self) -> tuple[float, float]:
        seen = self._seen()
        if self._partner is not None:
            seen += self._partner._seen()
        if not seen:
            return 0.0, 20.0
        low, high = min(seen), max(seen)
        room = max(1.0, (high - low) * 0.08)
        return low - room, high + room

    def _seen(self) -> list[float]:
        """Return the lowest and highest degrees in view, of curves and windows."""
        first, last = self.view
        seen: list[float] = []
        for one in self._series:
            start, stop = np.searchsorted(one.at_s, [first, last])
            if stop - start > _DIRECT:  # the extremes of columns are the extremes of all
                low, high = columns(one.at_s, one.value_c, first, last, 512)
                found = extent(np.concatenate([low, high]))
            else:
                found = extent(one.value_c[start:stop])
            if found:
                seen.extend(found)
        for band in self._bands:
            if band.to_s >= first and band.from_s <= last:
                seen.extend((band.low_c, band.high_c))
        return seen

    def _redraw(self) -> None:
        self._theme = self.app.theme
        width, height = self.size.width - _LABEL_COLUMNS, self.size.height - _AXIS_ROWS
        if width < 4 or height < 2:
            self._drawn = []
            self.refresh()
            return
        first, last = self.view
        low_c, high_c = self._limits()
        picture = draw(self._series, self._bands, first, last, low_c, high_c, width, height)
        labels = scale(self._said.shown(low_c), self._said.shown(high_c), height)
        looks = self._looks()
        strips = []
        for row in range(height):
            segments = [Segment(labels[row].rjust(_LABEL_COLUMNS - 1) + "│", looks["axis"])]
            run, look = "", None
            for char, style in zip(picture.chars[row], picture.styles[row], strict=True):
                if style != look and run:
                    segments.append(Segment(run, looks.get(look or "", None)))
                    run = ""
                run, look = run + char, style
            segments.append(Segment(run, looks.get(look or "", None)))
            strips.append(Strip(segments))
        strips.append(self._mark_row(first, last, width, looks["mark"]))
        strips.append(self._time_row(first, last, width, looks["axis"]))
        self._drawn = strips
        self.refresh()

    def _looks(self) -> dict[str, Style]:
        def style(name: str) -> Style:
            return self.get_component_rich_style(f"plot--{name}", partial=True)

        band = style("band")
        looks = {name: style(name) for name in ("probe", "bench", "ahead", "axis", "mark")}
        looks["band"] = band
        for name in ("probe", "bench", "ahead"):
            looks[f"{name}+band"] = Style(bgcolor=band.bgcolor) + looks[name] if band.bgcolor else looks[name]
        return looks

    def _mark_row(self, first: float, last: float, width: int, look: Style) -> Strip:
        cells = [" "] * width
        for at_s, char in self._marks:
            column = int((at_s - first) / (last - first) * width)
            if 0 <= column < width:
                cells[column] = char[:1]
        return Strip([Segment(" " * _LABEL_COLUMNS), Segment("".join(cells), look)])

    def _time_row(self, first: float, last: float, width: int, look: Style) -> Strip:
        cells = [" "] * width
        for column, text in ticks(first, last, width, self._local):
            cells[column : column + len(text)] = list(text)
        return Strip([Segment(" " * _LABEL_COLUMNS), Segment("".join(cells), look)])

    def render_line(self, y: int) -> Strip:
        """Return one drawn line."""
        if self._theme != self.app.theme:  # what is drawn has the colours of another one in it
            self._redraw()
        base = self.rich_style
        if y < len(self._drawn):
            return self._drawn[y].adjust_cell_length(self.size.width).apply_style(base)
        return Strip.blank(self.size.width, base)


class StepStrip(Static):
    """One row of step names between bars; `show` redraws it for a view."""

    DEFAULT_CSS = "StepStrip { height: 1; color: $foreground; }"

    def show(self, spans: list[tuple[int, int, str]], view: tuple[float, float], indent: int = 5) -> None:
        """Draw the spans that lie in the view; a name that does not fit is cut, a bar marks every beginning."""
        width = max(0, self.size.width - indent)
        cells = [" "] * width
        first, last = view

        def column(at_s: float) -> int:
            return int((at_s - first) / (last - first) * width)

        bars = sorted({column(from_s) for from_s, _to, _title in spans})
        for at in bars:
            if 0 <= at < width:
                cells[at] = "▏"
        for from_s, to_s, title in spans:
            start = column(from_s)
            if column(to_s) < 0 or start >= width:
                continue
            # A name has the room up to the next beginning: steps overlap, and a rest is no longer than what follows it.
            after = next((at for at in bars if at > start), width)
            begin, stop = max(0, start + 1), min(column(to_s), after, width)
            if stop - begin >= min(_SHORTEST_NAME, len(title)):
                cells[begin:stop] = list(title[: stop - begin].ljust(stop - begin))
        self.update(Text(" " * indent + "".join(cells), no_wrap=True))


def ticks(first: float, last: float, width: int, local: Callable[[float], datetime]) -> list[tuple[int, str]]:
    """Return the round times of an axis as (column, label): at least one, none overlapping, each at its instant.

    `local` gives the local time of an instant. The day is named at the first label and where it changes.
    """
    span = last - first
    for step in _STEPS_S:
        form = "%H:%M:%S" if step < 60 else "%H:%M"
        longest = len("Sat 00:00:00") if step < 60 else len("Sat 00:00")
        if step / span * width >= longest + _GAP:
            break
    begin = local(first)
    midnight = first - (begin.hour * 3600 + begin.minute * 60 + begin.second)
    at = midnight + -(-(first - midnight) // step) * step
    found: list[tuple[int, str]] = []
    day = ""
    while at < last:
        here = local(at)
        named = here.strftime("%a")
        label = here.strftime(form if named == day else f"%a {form}")
        column = int((at - first) / span * width)
        if column + len(label) <= width:
            found.append((column, label))
            day = named
        at += step
    if not found:  # a step longer than the view: say at least where it begins
        found.append((0, begin.strftime("%a %H:%M" if span >= 1200 else "%a %H:%M:%S")[:width]))
    return found
