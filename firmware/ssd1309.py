"""SSD1309 128x64 over I2C: sends only the pages that changed, one short transfer each (2.9 ms a page at 400 kHz).

Commands after the SSD1309 data sheet as the u8g2 library sends them. The part has no charge pump, so none is set up.
One fixed buffer for the picture, one for what the display holds, one for a transfer; show() allocates nothing of size.
"""

WIDTH = 128
HEIGHT = 64
_PAGES = 8

_SETUP = (
    0xAE,  # off while it is set up
    0xD5, 0xA0,  # clock
    0x40,  # first line 0
    0x20, 0x00,  # horizontal addressing
    0xA1, 0xC8,  # column and row order: the cable's side is down
    0xDA, 0x12,
    0xD9, 0xD3,  # precharge
    0xDB, 0x20,
    0xA4, 0xA6,  # from memory, not inverted
)  # fmt: skip


class Display:
    """Raises OSError from begin() and show() when the part does not answer; the caller decides what that means."""

    def __init__(self, bus, address):
        self._bus = bus
        self._address = address
        self.buffer = bytearray(WIDTH * _PAGES)
        self._held = bytearray(WIDTH * _PAGES)
        new = memoryview(self.buffer)
        held = memoryview(self._held)
        self._new_pages = [new[at : at + WIDTH] for at in range(0, WIDTH * _PAGES, WIDTH)]
        self._held_pages = [held[at : at + WIDTH] for at in range(0, WIDTH * _PAGES, WIDTH)]
        self._page = bytearray(WIDTH + 1)
        self._page[0] = 0x40  # data follow
        self._page_view = memoryview(self._page)[1:]
        self._window = bytearray((0x00, 0x21, 0, WIDTH - 1, 0x22, 0, 0))
        self._end = bytearray((0x00, 0xE3))
        self._level = bytearray((0x00, 0x81, 0))
        self._whole = True

    def begin(self, contrast):
        """Set the part up with the picture in the buffer, and light it."""
        self._bus.writeto(self._address, bytes((0x00,) + _SETUP))
        self._level[2] = contrast ^ 0xFF  # any other: the part may have lost it
        self.contrast(contrast)
        self._whole = True
        self.show()
        self._bus.writeto(self._address, bytes((0x00, 0xAF)))

    def contrast(self, level):
        """Set brightness, 0..255, when it is another; low levels spare the display and the eyes at night."""
        if level != self._level[2]:
            self._level[2] = level
            self._bus.writeto(self._address, self._level)

    def forget(self):
        """Send everything next time: the part may have lost its memory."""
        self._whole = True

    def show(self):
        """Send what changed; return how many pages that were."""
        sent = 0
        for page in range(_PAGES):
            new = self._new_pages[page]
            if not self._whole and new == self._held_pages[page]:
                continue
            self._window[5] = page
            self._window[6] = page
            self._bus.writeto(self._address, self._window)
            self._page_view[:] = new
            self._bus.writeto(self._address, self._page)
            self._held_pages[page][:] = new
            sent += 1
        if sent:
            self._bus.writeto(self._address, self._end)
        self._whole = False
        return sent
