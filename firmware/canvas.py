"""The picture: 128x64 dots, three sizes of own letters, bars and boxes. Knows nothing of dough.

With `marks` set to a list, every text drawn is put down there as (x, y, width, height, text): a test looks for overlaps
and for what runs off the edge.
"""

from array import array

import fonts
import framebuf

WIDTH = 128
HEIGHT = 64

# Letters with accents that come in names from the desk; anything else unknown is drawn as a question mark.
_PLAIN = {
    "\u00e0": "a", "\u00e1": "a", "\u00e2": "a", "\u00e4": "a", "\u00e7": "c", "\u00e8": "e", "\u00e9": "e",
    "\u00ea": "e", "\u00eb": "e", "\u00ee": "i", "\u00ef": "i", "\u00f4": "o", "\u00f6": "o", "\u00f9": "u",
    "\u00fb": "u", "\u00fc": "u", "\u2013": "-", "\u00d7": "x", "\u2019": "'",
}  # fmt: skip
_GAP = 2  # between large letters, and the width of a space among them
_SPACE = 6
_DEGREE = 127
_UP = 128
_DOWN = 129


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
        for char in text:
            if char == " ":
                x += _SPACE + _GAP
                continue
            at = letters.index(char)
            width = widths[at]
            self.fb.blit((dots[at * octets : (at + 1) * octets], width, height, framebuf.MONO_HLSB, 16), x, y, 0)
            x += width + _GAP
        self._mark(start, y, x - _GAP - start, height, text)
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
        char = _PLAIN.get(char, char)
        if char == "\u00b0":
            return _DEGREE
        if char == "\u2191":
            return _UP
        if char == "\u2193":
            return _DOWN
        code = ord(char)
        return code if 32 <= code <= 126 else 63

    def small_width(self, text):
        return self._width_of(self._glyphs(text))

    def _width_of(self, glyphs):
        width = 0
        for code in glyphs:
            width += fonts.SMALL_WIDTHS[code - 32] + 1
        return max(0, width - 1)

    def small(self, x, y, text, width=WIDTH, inverse=False):
        """Draw small text, cut with a dot where it would pass x + width; return where it ends."""
        glyphs = self._glyphs(text)
        if self._width_of(glyphs) > width:
            room = width - fonts.SMALL_WIDTHS[14]  # the dot
            keep = 0
            for code in glyphs:
                room -= fonts.SMALL_WIDTHS[code - 32] + 1
                if room < 0:
                    break
                keep += 1
            glyphs = glyphs[:keep] + b"."
            text = text[:keep] + "."
        start = x
        columns = fonts.SMALL
        widths = fonts.SMALL_WIDTHS
        starts = self._starts
        blit = self.fb.blit
        for code in glyphs:
            i = code - 32
            w = widths[i]
            at = starts[i]
            blit((columns[at : at + w], w, 8, framebuf.MONO_VLSB), x, y, 0)
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
        x0 = max(0, x)
        x1 = min(WIDTH, x + width)
        for page in range(y // 8, (y + height + 7) // 8):
            mask = 0xFF
            if page * 8 < y:
                mask &= 0xFF << (y - page * 8)
            if page * 8 + 8 > y + height:
                mask &= 0xFF >> (page * 8 + 8 - y - height)
            for at in range(page * WIDTH + x0, page * WIDTH + x1):
                buffer[at] ^= mask & 0xFF

    def bar(self, x, y, width, height, filled):
        """A frame, filled from the left by `filled` dots."""
        self.fb.rect(x, y, width, height, 1)
        if filled > 0:
            self.fb.fill_rect(x, y, min(width, filled), height, 1)
