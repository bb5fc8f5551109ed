"""The parts on the I2C bus of the virtual board, at register level, so that the real drivers run against them.

Flags: 1 = display there, 2 = air sensor there, 4 = clock chip there. The bus can be told to fail its Nth transfer,
once or from then on, as a loose wire does.
"""

import pins

FRAME_OCTETS = 1024


def _crc8(data):
    crc = 0xFF
    for octet in data:
        crc ^= octet
        for _ in range(8):
            crc = ((crc << 1) ^ 0x31) & 0xFF if crc & 0x80 else crc << 1
    return crc


def _bcd(value):
    return (value // 10) << 4 | value % 10


class Bus:
    """machine.I2C as far as the drivers use it."""

    def __init__(self, board, flags, fail_at, fail_for_ever):
        self._board = board
        self._fail_at = fail_at if fail_at != 0xFFFF else -1
        self._for_ever = fail_for_ever
        self.transfers = 0
        self.fails = 0
        self._parts = {}
        if flags & 1:
            self._parts[pins.ADDR_OLED] = Display(board)
        if flags & 2:
            self._parts[pins.ADDR_AIR] = Air(board)
        if flags & 4:
            self._parts[pins.ADDR_CLOCK] = ClockChip(board)

    def _part(self, address):
        self.transfers += 1
        if self._fail_at >= 0:
            n = self.transfers - 1
            if n == self._fail_at or (self._for_ever and n > self._fail_at):
                self.fails += 1
                self._board.mark("failed i2c %d" % n)
                raise OSError(5)
        part = self._parts.get(address)
        if part is None:
            raise OSError(19)
        return part

    def scan(self):
        return sorted(self._parts)

    def writeto(self, address, data):
        self._part(address).write(data)
        return len(data)

    def readfrom_into(self, address, into):
        self._part(address).read(into)

    def readfrom_mem_into(self, address, register, into):
        part = self._part(address)
        part.write(bytes((register,)))
        part.read(into)

    def writeto_mem(self, address, register, data):
        self._part(address).write(bytes((register,)) + bytes(data))


class Display:
    """SSD1309 in horizontal addressing: windows, data, on and off."""

    # Commands with arguments, and how many; others stand alone.
    _ARGUMENTS = {0x20: 1, 0x81: 1, 0xA8: 1, 0xD3: 1, 0xD5: 1, 0xD9: 1, 0xDA: 1, 0xDB: 1, 0xFD: 1, 0x21: 2, 0x22: 2}

    def __init__(self, board):
        self._board = board
        self.memory = bytearray(FRAME_OCTETS)
        self.on = False
        self._columns = (0, 127)
        self._pages = (0, 7)
        self._at = (0, 0)

    def write(self, data):
        if data[0] == 0x40:
            self._data(memoryview(data)[1:])
            return
        at = 1
        while at < len(data):
            command = data[at]
            count = self._ARGUMENTS.get(command, 0)
            if command == 0x21:
                self._columns = (data[at + 1], data[at + 2])
                self._at = (self._at[0], data[at + 1])
            elif command == 0x22:
                self._pages = (data[at + 1], data[at + 2])
                self._at = (data[at + 1], self._at[1])
            elif command in (0xAE, 0xAF):
                self.on = command == 0xAF
            elif command == 0xE3:  # no operation: the driver's end of a picture
                self._board.show_done(self.memory)
            at += 1 + count

    def _data(self, data):
        page, column = self._at
        first, last = self._columns
        left = len(data)
        done = 0
        while left:
            run = min(left, last - column + 1)
            start = page * 128 + column
            self.memory[start : start + run] = data[done : done + run]
            done += run
            left -= run
            column += run
            if column > last:
                column = first
                page = page + 1 if page < self._pages[1] else self._pages[0]
        self._at = (page, column)

    def read(self, into):
        into[0] = 0 if self.on else 0x40


class Air:
    """SHT4x: one measuring command, then six octets with their check octets."""

    def __init__(self, board):
        self._board = board

    def write(self, data):
        pass

    def read(self, into):
        raw_t = (self._board.air_cdeg + 4500) * 65535 // 17500
        raw_rh = (self._board.rh_cpct + 600) * 65535 // 12500
        for at, raw in ((0, raw_t), (3, raw_rh)):
            pair = bytes((raw >> 8, raw & 255))
            into[at] = pair[0]
            into[at + 1] = pair[1]
            into[at + 2] = _crc8(pair)


class ClockChip:
    """DS3231: the time registers in BCD, and the flag that says the oscillator had stopped."""

    def __init__(self, board):
        self._board = board
        self._register = 0
        self._stopped = board.clock_chip_s() == 0

    def write(self, data):
        self._register = data[0]
        if len(data) >= 8 and data[0] == 0:
            values = [(octet >> 4) * 10 + (octet & 15) for octet in bytes(data[1:8])]
            days = _days(2000 + values[6], values[5] & 31, values[4])
            self._board.clock_chip_set(((days * 24 + values[2]) * 60 + values[1]) * 60 + values[0])
        elif len(data) >= 2 and data[0] == 0x0F:
            self._stopped = bool(data[1] & 0x80)

    def read(self, into):
        at_s = self._board.clock_chip_s()
        year, month, day = _date(at_s // 86400)
        s = at_s % 86400
        full = bytearray(19)
        fields = (s % 60, s // 60 % 60, s // 3600, at_s // 86400 % 7 + 1, day, month, year - 2000)
        for i in range(7):
            full[i] = _bcd(fields[i])
        full[0x0F] = 0x80 if self._stopped else 0
        for i in range(len(into)):
            into[i] = full[(self._register + i) % 19]


def _leap(year):
    return year % 4 == 0  # 2000 to 2099


_LENGTHS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def _days(year, month, day):
    """Return days since 2020-01-01."""
    days = day - 1
    for y in range(2020, year):
        days += 366 if _leap(y) else 365
    for m in range(1, month):
        days += _LENGTHS[m - 1] + (1 if m == 2 and _leap(year) else 0)
    return days


def _date(days):
    year = 2020
    while days >= (366 if _leap(year) else 365):
        days -= 366 if _leap(year) else 365
        year += 1
    month = 1
    while days >= _LENGTHS[month - 1] + (1 if month == 2 and _leap(year) else 0):
        days -= _LENGTHS[month - 1] + (1 if month == 2 and _leap(year) else 0)
        month += 1
    return year, month, days + 1
