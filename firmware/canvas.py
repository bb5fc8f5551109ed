"""The picture: 128x64 dots, three sizes of own letters, bars and boxes. Knows nothing of dough.

With `marks` set to a list, every text drawn is put down there as (x, y, width, height, text): a test looks for overlaps
and for what runs off the edge.
"""

from array import array

import fonts
import framebuf

WIDTH = 128
HEIGHT = 64

# Letters with accents and marks that come in names from the desk, and what is drawn; anything else unknown is drawn as
# a question mark. Two texts: a table would take ten times the memory.
_FANCY = (
    "\u00e0\u00e1\u00e2\u00e4\u00e7\u00e8\u00e9\u00ea\u00eb\u00ee\u00ef\u00f1\u00f4\u00f6\u00f9"
    "\u00fb\u00fc\u2013\u2014\u00d7\u2018\u2019\u201c\u201d\u00a0"
)
_PLAIN = "aaaaceeeeiinoouuu--x''\"\" "
_MARKS = "\u00b0\u2191\u2193\u00b7"  # degree, up, down, middle dot: after the letters, from _FIRST_MARK on
_FIRST_MARK = 127
_TAIL = " \u00b7 "  # before the p\u00e2ton's number in a step's name
_GAP = 2  # between large letters, and the width of a space among them
_SPACE = 6


class Canvas:
    def __init__(self, buffer):
        self.fb = framebuf.FrameBuffer(buffer, WIDTH, HEIGHT, framebuf.MONO_VLSB)
        self._buffer = buffer
        self._starts = array("H", [0] * len(fonts.SMALL_WIDTHS))
        at = 0
        for i in range(len(fonts.SMALL_WIDTHS)):
            self._starts[i] = at
            at += fonts.SMALL_WIDTHS[i]
        self.marks = None
        self.dx = self.dy = 0  # the whole picture's place, 0 or 1: it moves slowly, so that no dot burns in

    def clear(self):
        self.fb.fill(0)

    def _mark(self, x, y, width, height, text):
        if self.marks is not None:
            self.marks.append((x, y, width, height, text))

    # --- large letters --------------------------------------------------------------------------------------------

    def _large_width(self, letters, widths, text):
        width = -_GAP
        for char in text:
            width += (_SPACE if char == " " else widths[letters.index(char)]) + _GAP
        return max(0, width)

    def _large(self, letters, dots, widths, height, x, y, text):
        start = x
        octets = 2 * height
        dx = self.dx
        y += self.dy
        for char in text:
            if char == " ":
                x += _SPACE + _GAP
                continue
            at = letters.index(char)
            width = widths[at]
            self.fb.blit((dots[at * octets : (at + 1) * octets], width, height, framebuf.MONO_HLSB, 16), x + dx, y, 0)
            x += width + _GAP
        self._mark(start, y - self.dy, x - _GAP - start, height, text)
        return x - _GAP

    def word_width(self, text):
        return self._large_width(fonts.WORD_LETTERS, fonts.WORD_WIDTHS, text)

    def word(self, x, y, text):
        """Draw a state word, 19 dots tall; return where it ends."""
        return self._large(fonts.WORD_LETTERS, fonts.WORD, fonts.WORD_WIDTHS, fonts.WORD_HEIGHT, x, y, text)

    def big_width(self, text):
        return self._large_width(fonts.BIG_LETTERS, fonts.BIG_WIDTHS, text)

    def big(self, x, y, text):
        """Draw digits, 24 dots tall; return where they end."""
        return self._large(fonts.BIG_LETTERS, fonts.BIG, fonts.BIG_WIDTHS, fonts.BIG_HEIGHT, x, y, text)

    # --- small letters --------------------------------------------------------------------------------------------

    def _glyphs(self, text):
        """Return the letters as octets, each the number of its glyph. ASCII, the usual case, costs one pass."""
        raw = text.encode()
        if len(raw) != len(text):
            raw = bytes([self._code(char) for char in text])
        return raw

    def _code(self, char):
        at = _MARKS.find(char)
        if at >= 0:
            return _FIRST_MARK + at
        at = _FANCY.find(char)
        code = ord(_PLAIN[at] if at >= 0 else char)
        return code if 32 <= code <= 126 else 63

    def small_width(self, text):
        return self._width_of(self._glyphs(text))

    def _width_of(self, glyphs):
        width = 0
        for code in glyphs:
            width += fonts.SMALL_WIDTHS[code - 32] + 1
        return max(0, width - 1)

    def small(self, x, y, text, width=WIDTH, inverse=False):
        """Draw small text; return where it ends.

        Where it would pass x + width the name is cut with a dot, never the p\u00e2ton's number behind it.
        """
        glyphs = self._glyphs(text)
        if self._width_of(glyphs) > width:
            tail = text.rfind(_TAIL)
            tail = text[tail:] if tail > 0 else ""
            ending = self._glyphs("." + tail)
            room = width - self._width_of(ending)
            keep = 0
            for code in glyphs:
                room -= fonts.SMALL_WIDTHS[code - 32] + 1
                if room < 0:
                    break
                keep += 1
            while keep and glyphs[keep - 1] == 32:
                keep -= 1
            glyphs = glyphs[:keep] + ending
            text = text[:keep] + "." + tail
        start = x
        columns = fonts.SMALL
        widths = fonts.SMALL_WIDTHS
        starts = self._starts
        blit = self.fb.blit
        dx = self.dx
        top = y + self.dy
        for code in glyphs:
            i = code - 32
            w = widths[i]
            at = starts[i]
            blit((columns[at : at + w], w, 8, framebuf.MONO_VLSB), x + dx, top, 0)
            x += w + 1
        if x > start:
            self._mark(start, y, x - 1 - start, 8, text)
        if inverse:
            self.invert(start - 1, y, x - start + 1, 8)
        return x - 1

    # --- shapes ---------------------------------------------------------------------------------------------------

    def invert(self, x, y, width, height):
        """Swap ink and ground in a box."""
        buffer = self._buffer
        x += self.dx
        y += self.dy
        x0 = max(0, x)
        x1 = min(WIDTH, x + width)
        for page in range(y // 8, min(8, (y + height + 7) // 8)):
            mask = 0xFF
            if page * 8 < y:
                mask &= 0xFF << (y - page * 8)
            if page * 8 + 8 > y + height:
                mask &= 0xFF >> (page * 8 + 8 - y - height)
            for at in range(page * WIDTH + x0, page * WIDTH + x1):
                buffer[at] ^= mask & 0xFF

    def box(self, x, y, width, height, ink=1):
        """Fill a box."""
        self.fb.fill_rect(x + self.dx, y + self.dy, width, height, ink)
