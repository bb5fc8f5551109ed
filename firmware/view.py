"""Draws a Glance. Layout of the day's screen, in dots; nothing touches what is below it:

     0..18  state word                                19 tall, 8.2 mm; beside it "4-fold 1/3" where there is room
    20..43  temperature | minutes left                24 tall, 10.3 mm
    45..46  window bar with the dough's place in it, or progress; the rows above and below it stay dark
    48..55  one line: fold, sheet, next event, time to spare  (turns every few seconds)
    56..63  what the three buttons do, and between them a mark that hops: the program runs

With an alarm the word stands dark in a band of light, 0..20, the numbers begin at 22, and there is no bar.
The whole picture stands a dot further right or down now and then: what never moved would burn into the display.
"""

import framebuf
import glance as G

from shared_schedule.units import NO_CDEG
from shared_schedule.voice import countdown, degrees

_LINE_Y = 48
_LABEL_Y = 56
_ROWS = 4  # of the list screens
_PLACES = ((0, 2), (3, 4), (4, 5))  # of the clock being set: hours, tens of minutes, minutes


# Regions of the day's screen: what they show, where they are, what they depend on.
_HEAD, _NUMBERS, _BAR, _LINE, _LABELS = range(5)
_BOXES = ((0, 20), (20, 24), (44, 4), (48, 8), (56, 8))
_URGENT_BOXES = ((0, 22), (22, 24), (46, 2), (48, 8), (56, 8))
_BAR_Y = 45
_MARK_X = 42  # between the labels of the left and the middle button, which are shorter than their thirds
_MARK_Y = 59
SHIFT_S = 600  # seconds in one place
_RIGHT = 127  # where the day's texts end: a dot further is the picture's other place
_SHIFTS = ((0, 0), (1, 0), (1, 1), (0, 1))
_DOTTED = (b"\x88" * 16, 128, 1, framebuf.MONO_HLSB)  # the bar's ground line


class View:
    """Draws onto a Canvas, only what changed since the last picture."""

    def __init__(self, canvas):
        self.canvas = canvas
        self._keys: list = [None] * len(_BOXES)
        self._screen = None
        self._odd = 0

    def forget(self):
        """Draw everything next time."""
        self._screen = None

    def beat(self, now_s):
        """Move the mark that shows a living program, and now and then the picture by a dot."""
        canvas = self.canvas
        dx, dy = _SHIFTS[now_s // SHIFT_S % len(_SHIFTS)]
        if (dx, dy) != (canvas.dx, canvas.dy):
            canvas.dx, canvas.dy = dx, dy
            self._screen = None  # everything next time
        self._odd = now_s & 1
        _mark(canvas, self._odd)

    def draw(self, g):
        """Bring the picture up to date; returns True when anything was drawn."""
        if g.screen not in (G.S_STEP, G.S_DONE, G.S_CLOCK, G.S_NO_PLAN):
            key = (g.screen, g.word, g.lines, g.chosen, g.labels, g.urgent)
            if key == self._screen:
                return False
            self._screen = key
            draw(self.canvas, g, self._odd)
            return True
        layout = "urgent" if g.urgent else "calm"
        if self._screen != layout:
            self.canvas.clear()
            self._keys = [None] * len(_BOXES)
            self._screen = layout
        boxes = _URGENT_BOXES if g.urgent else _BOXES
        keys = (
            (g.word, g.fold, g.fold_n),
            (degrees(g.probe_cdeg, g.us), g.trend, g.left_kind, countdown(g.left_s), g.probe_wanted),
            _bar_key(g),
            g.line,
            g.labels,
        )  # fmt: skip
        drawn = False
        for region in range(len(_BOXES)):
            if keys[region] != self._keys[region]:
                self._keys[region] = keys[region]
                y, height = boxes[region]
                self.canvas.box(0, y, 128, height, 0)
                _PAINT[region](self.canvas, g)
                drawn = True
        if drawn:
            _mark(self.canvas, self._odd)
        return drawn


def _mark(canvas, odd):
    canvas.box(_MARK_X, _MARK_Y, 4, 2, 0)
    canvas.box(_MARK_X + 2 * odd, _MARK_Y, 2, 2)


def _bar_key(g):
    if g.urgent:
        return None
    if g.progress_pct >= 0:
        return g.progress_pct
    if g.low_cdeg == NO_CDEG or g.high_cdeg == NO_CDEG:
        return None
    return (g.low_cdeg, g.high_cdeg, _needle(g))


def draw(canvas, g, odd=0):
    """Draw the whole picture, the mark in its even or odd place."""
    canvas.clear()
    if g.screen in (G.S_STEP, G.S_DONE, G.S_CLOCK, G.S_NO_PLAN):
        for paint in _PAINT[:_LABELS]:
            paint(canvas, g)
    elif g.screen == G.S_SET:
        _setting(canvas, g)
    elif g.screen in (G.S_QUESTION, G.S_MESSAGE):
        if g.word:
            _head(canvas, g)
        y = 23 if g.word else 2
        for line in g.lines[: 3 if g.word else 5]:
            canvas.small(0, y, line)
            y += 10
    else:
        _list(canvas, g)
    _labels(canvas, g)
    _mark(canvas, odd)


def _head(canvas, g):
    width = canvas.word_width(g.word)
    if g.urgent:
        # The word's band is turned over: seen from afar without colour, and steady for tired eyes.
        canvas.word(max(0, (128 - width) // 2), 1, g.word)
        canvas.invert(0, 0, 128, 21)
        return
    canvas.word(0, 0, g.word)
    if g.fold and g.screen == G.S_STEP:
        text = "%d/%d" % (g.fold_n, g.fold_of)
        x = _RIGHT - canvas.word_width(text)
        name = "%d-fold" % g.fold
        room = x - 4 - width
        if room >= canvas.small_width(name) + 4:
            canvas.small(x - 4 - canvas.small_width(name), 6, name)
        if room >= 4:
            canvas.word(x, 0, text)


def _line(canvas, g):
    canvas.small(0, _LINE_Y, g.line)


def _numbers(canvas, g):
    y = 22 if g.urgent else 20
    if g.probe_cdeg == NO_CDEG:
        if g.probe_wanted and g.screen == G.S_STEP:
            canvas.small(0, y + 3, "probe:")
            canvas.small(0, y + 13, "no reading")
    else:
        end = canvas.big(0, y, degrees(g.probe_cdeg, g.us))
        canvas.small(end + 2, y, "\u00b0")
        if g.trend:
            canvas.small(end + 2, y + 12, "\u2191" if g.trend > 0 else "\u2193")
    if g.left_kind == G.LEFT_NOTHING:
        return
    text, unit = countdown(g.left_s)
    unit_width = canvas.small_width(unit)
    if g.left_kind == G.LEFT_WINDOW:
        unit_width = max(unit_width, canvas.small_width("win"))
    x = _RIGHT - unit_width - 2 - canvas.big_width(text)
    end = canvas.big(x, y, text)
    canvas.small(end + 2, y + 16, unit)
    if g.left_kind == G.LEFT_WINDOW:
        canvas.small(_RIGHT - canvas.small_width("win"), y + 6, "win")


def _bar(canvas, g):
    if g.urgent:
        return
    # The window is the middle half of the bar, thick where the rest is dotted; the needle stands in a gap of it.
    if g.progress_pct < 0 and NO_CDEG in (g.low_cdeg, g.high_cdeg):
        return
    canvas.fb.blit(_DOTTED, canvas.dx, _BAR_Y + 1 + canvas.dy)
    if g.progress_pct >= 0:
        canvas.box(0, _BAR_Y, 128 * g.progress_pct // 100, 2)
        return
    canvas.box(32, _BAR_Y, 64, 2)
    x = _needle(g)
    if x >= 0:
        canvas.box(x - 6, _BAR_Y, 13, 2, 0)
        canvas.box(x - 2, _BAR_Y, 5, 2)


def _needle(g):
    span = g.high_cdeg - g.low_cdeg
    if g.probe_cdeg == NO_CDEG or span <= 0:
        return -1
    return min(124, max(3, 32 + 64 * (g.probe_cdeg - g.low_cdeg) // span))


def _setting(canvas, g):
    """The clock being set: hours and minutes large, the place in hand underlined, the date below."""
    canvas.word(0, 0, g.word)
    time, date = g.lines
    left = (128 - canvas.big_width(time)) // 2
    canvas.big(left, 20, time)
    if g.chosen < len(_PLACES):
        begin, end = _PLACES[g.chosen]
        x = left + canvas.big_width(time[:begin]) + 2 if begin else left
        canvas.box(x, 45, left + canvas.big_width(time[:end]) - x, 2)
    x = (128 - canvas.small_width(date)) // 2
    canvas.small(x, _LINE_Y, date, inverse=g.chosen >= len(_PLACES))


def _list(canvas, g):
    canvas.small(0, 0, g.word, inverse=True)
    first = max(0, min(g.chosen - 1, len(g.lines) - _ROWS)) if g.chosen >= 0 else 0
    y = 11
    for at in range(first, min(len(g.lines), first + _ROWS)):
        canvas.small(4, y, g.lines[at], 112 if len(g.lines) > _ROWS else 122)
        if at == g.chosen:
            canvas.invert(0, y - 1, 128, 10)
        y += 11
    # More lines above or below than fit: said at the top, away from the chosen line.
    if first > 0:
        canvas.small(112, 0, "\u2191")
    if first + _ROWS < len(g.lines):
        canvas.small(121, 0, "\u2193")


def _labels(canvas, g):
    left, middle, right = g.labels
    third = 42
    if left:
        canvas.small(1, _LABEL_Y, left, third - 2)
    if middle:
        width = min(third, canvas.small_width(middle))
        canvas.small(64 - width // 2, _LABEL_Y, middle, third)
    if right:
        width = min(third - 2, canvas.small_width(right))
        canvas.small(127 - width, _LABEL_Y, right, third - 2)


_PAINT = (_head, _numbers, _bar, _line, _labels)
