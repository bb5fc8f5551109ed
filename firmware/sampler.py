"""The two thermometers: many readings to one, one to a temperature, and faults told apart from cold dough.

`turn` allocates nothing but the floats of one conversion a channel. A channel that is at fault says NO_CDEG at once and
keeps saying it until it has read well for two rounds: an old number is never shown.
"""

from array import array

from shared_schedule import thermistor
from shared_schedule.units import NO_CDEG

FULL = 65535
OK = thermistor.OK
OPEN = thermistor.OPEN
SHORT = thermistor.SHORT
RANGE = thermistor.RANGE
STUCK = 4  # the same code to the last bit, again and again: a converter has noise, a stuck one has none
AWAY = 5  # the needle has been pulled out of the dough (it ran towards the room faster than dough can)
DEAD = 6  # the converter itself does not answer
FAULT_WORDS = ("ok", "open", "short", "out of range", "stuck", "out of dough", "no converter")

BENCH = 0
PROBE = 1

# Full-scale noise of one reading is 1 LSB of 12 bits or more, so the mean of 64 has some 2 units of 16 bits; twelve
# means in a row equal to the unit happen by chance less than once in a thousand years of samples.
_STUCK_TURNS = 12
# A needle has a time constant of seconds in air; dough of a pâton's thickness minutes. 2.5 K in 5 s is not dough.
_AWAY_CDEG = 250


class Channel:
    """One thermometer. cdeg and fault are the present reading; `offset_cdeg` comes from the ice point."""

    def __init__(self, number, curve, fixed_ohm, offset_cdeg):
        self.number = number
        self.curve = curve
        self.fixed_ohm = fixed_ohm
        self.offset_cdeg = offset_cdeg
        self.cdeg = NO_CDEG
        self.fault = OPEN
        self.code = 0
        self._same = 0
        self._good = 0
        self._last_cdeg = NO_CDEG
        self._begun = False

    def take(self, code):
        """Take the mean code of a turn."""
        if code == self.code:
            self._same += 1
        else:
            self._same = 0
        self.code = code
        fault, cdeg = thermistor.read(code, FULL, self.fixed_ohm, self.curve, self.offset_cdeg)
        if fault == OK and self._same >= _STUCK_TURNS:
            fault = STUCK
        if fault != OK:
            self.fail(fault)
            return
        self._good += 1
        if self._good < 2 and self._begun:
            self._last_cdeg = cdeg
            return  # one good reading after a fault may be a loose plug
        self._begun = True
        self.fault = OK
        self.cdeg = cdeg

    def fail(self, fault):
        """No reading, and why."""
        self.fault = fault
        self.cdeg = NO_CDEG
        self._good = 0
        self._begun = True


class Sampler:
    """Reads both channels. `bench` and `probe` are Channels."""

    def __init__(self, board, channels):
        self._board = board
        self.channels = channels
        self.bench = channels[BENCH]
        self.probe = channels[PROBE]
        self._codes = array("H", [0] * board.ADC_READS)

    def turn(self):
        """Read both channels now."""
        for channel in self.channels:
            try:
                self._board.read_codes(channel.number, self._codes)
            except OSError:
                channel.fail(DEAD)
                continue
            channel.take(trimmed_mean(self._codes))


def trimmed_mean(codes):
    """Sort in place and return the mean of the middle half, rounded; allocates nothing.

    Noise averages away in the mean, which a median would hide near the converter's steps; the outer quarters go
    because a radio or a motor nearby puts single readings far off.
    """
    n = len(codes)
    for i in range(1, n):  # insertion: short, nearly sorted, in place
        value = codes[i]
        j = i - 1
        while j >= 0 and codes[j] > value:
            codes[j + 1] = codes[j]
            j -= 1
        codes[j + 1] = value
    cut = n // 4
    total = 0
    for i in range(cut, n - cut):
        total += codes[i]
    count = n - 2 * cut
    return (total + count // 2) // count
