"""The temperature picture: curves, window band and a time axis, moved by key and mouse."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import numpy as np
from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.message import Message
from textual.reactive import reactive
from textual.strip import Strip
from textual.widget import Widget

from tourier.desk.widgets.timeaxis import ticks
from tourier.picture.decimate import columns, extent
from tourier.picture.raster import Band, Series, draw, scale

_LABEL_COLUMNS = 5
_DIRECT = 4096  # samples in view up to which they are looked at one by one
_AXIS_ROWS = 2  # marks, times
_SHORTEST_VIEW_S = 10.0  # two samples: below that there is nothing more to see


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
        self._whole = (0.0, 1.0)
        self._drawn: list[Strip] = []
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

    def set_clock(self, local: Callable[[float], datetime]) -> None:
        """Name instants by this local time from now on."""
        self._local = local

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
        width, height = self.size.width - _LABEL_COLUMNS, self.size.height - _AXIS_ROWS
        if width < 4 or height < 2:
            self._drawn = []
            self.refresh()
            return
        first, last = self.view
        low_c, high_c = self._limits()
        picture = draw(self._series, self._bands, first, last, low_c, high_c, width, height)
        labels = scale(low_c, high_c, height)
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
        base = self.rich_style
        if y < len(self._drawn):
            return self._drawn[y].adjust_cell_length(self.size.width).apply_style(base)
        return Strip.blank(self.size.width, base)
