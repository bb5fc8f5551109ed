"""DS3231 clock chip: project seconds in and out. Registers and flags after the maker's data sheet.

The oscillator-stopped flag (status bit 7) says that the battery was empty: such a time is not used.
"""

_STATUS = 0x0F
_STOPPED = 0x80
_EPOCH_YEAR = 2020
_LENGTHS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def _bcd(value):
    return (value // 10) << 4 | value % 10


def _plain(octet):
    return (octet >> 4) * 10 + (octet & 15)


def days_from_date(year, month, day):
    """Return days since 2020-01-01 for 2020..2099."""
    days = day - 1
    for y in range(_EPOCH_YEAR, year):
        days += 366 if y % 4 == 0 else 365
    for m in range(1, month):
        days += _LENGTHS[m - 1]
    if month > 2 and year % 4 == 0:
        days += 1
    return days


def date_from_days(days):
    """Return (year, month, day); the inverse of days_from_date."""
    year = _EPOCH_YEAR
    while True:
        length = 366 if year % 4 == 0 else 365
        if days < length:
            break
        days -= length
        year += 1
    month = 1
    while True:
        length = _LENGTHS[month - 1] + (1 if month == 2 and year % 4 == 0 else 0)
        if days < length:
            return year, month, days + 1
        days -= length
        month += 1


class ClockChip:
    """Raises OSError when the part does not answer."""

    def __init__(self, bus, address):
        self._bus = bus
        self._address = address
        self._raw = bytearray(7)
        self._one = bytearray(1)

    def read(self):
        """Return seconds since 2020-01-01Z, or 0 when the chip has lost the time."""
        self._bus.readfrom_mem_into(self._address, _STATUS, self._one)
        if self._one[0] & _STOPPED:
            return 0
        raw = self._raw
        self._bus.readfrom_mem_into(self._address, 0, raw)
        hour = _plain(raw[2] & 0x3F) if not raw[2] & 0x40 else _plain(raw[2] & 0x1F) % 12 + (12 if raw[2] & 0x20 else 0)
        month, day, year = _plain(raw[5] & 0x1F), _plain(raw[4]), 2000 + _plain(raw[6])
        minute, second = _plain(raw[1]), _plain(raw[0])
        if not (1 <= month <= 12 and 1 <= day <= 31 and 2020 <= year <= 2099):
            return 0
        if hour > 23 or minute > 59 or second > 59:  # a chip that holds nonsense has no time
            return 0
        return ((days_from_date(year, month, day) * 24 + hour) * 60 + minute) * 60 + second

    def write(self, at_s):
        """Set the time and clear the flag that it was lost."""
        days = at_s // 86400
        s = at_s % 86400
        year, month, day = date_from_days(days)
        raw = self._raw
        raw[0] = _bcd(s % 60)
        raw[1] = _bcd(s // 60 % 60)
        raw[2] = _bcd(s // 3600)
        raw[3] = days % 7 + 1
        raw[4] = _bcd(day)
        raw[5] = _bcd(month)
        raw[6] = _bcd(year - 2000)
        self._bus.writeto_mem(self._address, 0, raw)
        self._bus.readfrom_mem_into(self._address, _STATUS, self._one)
        self._one[0] &= 0x7F
        self._bus.writeto_mem(self._address, _STATUS, self._one)
