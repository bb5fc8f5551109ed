"""SHT4x: temperature and humidity of the room's air. Measures on request, never waits: ask, come back, read.

Conversions and check after the maker's data sheet: T = -45 + 175 S/65535, RH = -6 + 125 S/65535; CRC-8 polynomial 0x31,
start 0xFF. A medium measurement takes up to 5 ms.
"""

_MEDIUM = b"\xf6"
NONE = -32768


def crc8(data, start, count):
    """Return the check octet of `count` octets from `start`."""
    crc = 0xFF
    for at in range(start, start + count):
        crc ^= data[at]
        for _ in range(8):
            crc = ((crc << 1) ^ 0x31) & 0xFF if crc & 0x80 else crc << 1
    return crc


class Air:
    """cdeg and rh_pct hold the last good reading, NONE and 0 before there was one and after a failure."""

    def __init__(self, bus, address):
        self._bus = bus
        self._address = address
        self._raw = bytearray(6)
        self._asked = False
        self.failures = 0
        self.cdeg = NONE
        self.rh_pct = 0

    def turn(self):
        """Ask, or read what was asked for the last time; call every few seconds. Never raises."""
        try:
            if self._asked:
                self._asked = False
                self._bus.readfrom_into(self._address, self._raw)
                self._take()
            self._bus.writeto(self._address, _MEDIUM)
            self._asked = True
        except OSError:
            self._fail()

    def _take(self):
        raw = self._raw
        if crc8(raw, 0, 2) != raw[2] or crc8(raw, 3, 2) != raw[5]:
            self._fail()
            return
        # 17500 * 65535 passes a small integer, so the product is split.
        ticks = raw[0] << 8 | raw[1]
        self.cdeg = (ticks * 4375 + 8191) // 16384 - 4500
        ticks = raw[3] << 8 | raw[4]
        self.rh_pct = min(100, max(0, (ticks * 125 + 32767) // 65535 - 6))
        self.failures = 0

    def _fail(self):
        self.failures += 1
        self.cdeg = NONE  # measured once a minute: the last one is old already
        self.rh_pct = 0
