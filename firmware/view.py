"""Draws a Glance. Layout of the day's screen, in dots:

     0..20  state word, in a band when urgent         19 tall, 8.2 mm
    21..44  temperature | minutes left                24 tall, 10.3 mm
    45..47  window bar, or progress
    48..55  one line: fold, sheet, next event, slack  (turns every few seconds)
    56..63  what the three buttons do
"""

import glance as G

from shared_schedule.units import NO_CDEG, cdeg_text, div_round

_LINE_Y = 48
_LABEL_Y = 56
_ROWS = 4  # of the list screens


# Regions of the day's screen: what they show, where they are, what they depend on.
_HEAD, _NUMBERS, _BAR, _LINE, _LABELS = range(5)
_BOXES = ((0, 21), (21, 24), (45, 3), (48, 8), (56, 8))


class View:
    """Draws onto a Canvas, only what changed since the last picture."""

    def __init__(self, canvas):
        self.canvas = canvas
        self._keys: list = [None] * len(_BOXES)
        self._screen = None

    def forget(self):
        """Draw everything next time."""
        self._screen = None

    def draw(self, g):
        """Bring the picture up to date; returns True when anything was drawn."""
        if g.screen not in (G.S_STEP, G.S_DONE, G.S_CLOCK, G.S_NO_PLAN):
            key = (g.screen, g.word, g.lines, g.chosen, g.labels, g.urgent)
            if key == self._screen:
                return False
            self._screen = key
            draw(self.canvas, g)
            return True
        if self._screen is not True:
            self.canvas.clear()
            self._keys = [None] * len(_BOXES)
            self._screen = True
        keys = (
            (g.word, g.urgent),
            (g.probe_cdeg if g.probe_cdeg == NO_CDEG else div_round(g.probe_cdeg, 10), g.trend, g.left_kind,
             left_text(g.left_s), g.probe_wanted),
            _bar_key(g),
            g.line,
            g.labels,
        )  # fmt: skip
        drawn = False
        for region in range(len(_BOXES)):
            if keys[region] != self._keys[region]:
                self._keys[region] = keys[region]
                y, height = _BOXES[region]
                self.canvas.fb.fill_rect(0, y, 128, height, 0)
                _PAINT[region](self.canvas, g)
                drawn = True
        return drawn


def _bar_key(g):
    if g.progress_pct >= 0:
        return g.progress_pct
    if g.low_cdeg == NO_CDEG or g.high_cdeg == NO_CDEG:
        return None
    return (g.low_cdeg, g.high_cdeg, _needle(g))


def draw(canvas, g):
    """Draw the whole picture."""
    canvas.clear()
    if g.screen in (G.S_STEP, G.S_DONE, G.S_CLOCK, G.S_NO_PLAN):
        for paint in _PAINT[:_LABELS]:
            paint(canvas, g)
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


def _head(canvas, g):
    width = canvas.word_width(g.word)
    x = (128 - width) // 2 if g.urgent else 0
    canvas.word(max(0, x), 1, g.word)
    if g.urgent:
        # The word's band is turned over: seen from afar without colour, and steady for tired eyes.
        canvas.invert(0, 0, 128, 21)


def _line(canvas, g):
    canvas.small(0, _LINE_Y, g.line)


def _numbers(canvas, g):
    if g.probe_cdeg == NO_CDEG:
        if g.probe_wanted and g.screen == G.S_STEP:
            canvas.small(0, 24, "probe:")
            canvas.small(0, 34, "no reading")
    else:
        end = canvas.big(0, 21, cdeg_text(g.probe_cdeg))
        canvas.small(end + 2, 21, "\u00b0")
        if g.trend:
            canvas.small(end + 2, 33, "\u2191" if g.trend > 0 else "\u2193")
    if g.left_kind == G.LEFT_NOTHING:
        return
    text, unit = left_text(g.left_s)
    unit_width = canvas.small_width(unit)
    if g.left_kind == G.LEFT_WINDOW:
        unit_width = max(unit_width, canvas.small_width("win"))
    x = 128 - unit_width - 2 - canvas.big_width(text)
    end = canvas.big(x, 21, text)
    canvas.small(end + 2, 37, unit)
    if g.left_kind == G.LEFT_WINDOW:
        canvas.small(128 - canvas.small_width("win"), 27, "win")


def left_text(left_s):
    """Return (digits, unit) of a countdown: minutes, hours and minutes, or seconds in the last two minutes."""
    if left_s < 0:
        return "--", "min"
    if left_s < 100:
        return "%d" % left_s, "s"
    minutes = (left_s + 30) // 60
    if minutes < 100:
        return "%d" % minutes, "min"
    if minutes < 600:
        return "%d:%02d" % (minutes // 60, minutes % 60), "h"
    return "%d" % ((minutes + 30) // 60), "h"


def _bar(canvas, g):
    if g.progress_pct >= 0:
        canvas.bar(0, 45, 128, 3, 128 * g.progress_pct // 100)
        return
    if g.low_cdeg == NO_CDEG or g.high_cdeg == NO_CDEG:
        return
    # The window is the middle half of the bar's width; the needle shows where the dough stands.
    span = g.high_cdeg - g.low_cdeg
    canvas.fb.rect(32, 45, 64, 3, 1)
    canvas.fb.hline(0, 46, 128, 1)
    if g.probe_cdeg != NO_CDEG and span > 0:
        x = _needle(g)
        canvas.fb.fill_rect(x - 3, 45, 7, 3, 1)


def _needle(g):
    span = g.high_cdeg - g.low_cdeg
    if g.probe_cdeg == NO_CDEG or span <= 0:
        return -1
    return min(124, max(3, 32 + 64 * (g.probe_cdeg - g.low_cdeg) // span))


def _list(canvas, g):
    canvas.small(0, 0, g.word, inverse=True)
    first = max(0, min(g.chosen - 1, len(g.lines) - _ROWS)) if g.chosen >= 0 else 0
    y = 11
    for at in range(first, min(len(g.lines), first + _ROWS)):
        canvas.small(4, y, g.lines[at], 122)
        if at == g.chosen:
            canvas.invert(0, y - 1, 128, 10)
        y += 11


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
