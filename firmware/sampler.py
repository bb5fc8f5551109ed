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

# A burst of readings without any spread is no measurement: one reading has 1 LSB rms of noise or more, so 64 equal ones
# do not happen (0.4 to the power of 63).
# A needle in air has a time constant of 10 to 25 s, dough on a warm stone warms by a few kelvin a minute at most: a
# whole kelvin in 5 s is not dough.
_AWAY_CDEG = 100
_SETTLED_CDEG = 35  # moving less than this in 5 s, the needle has nearly arrived where it is: within 2 K in air
_LIKE_ROOM_CDEG = 250  # settling this near to the room's air, it hangs in it


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
        self._good = 0
        self._begun = False
        self._last_cdeg = NO_CDEG  # of the needle, before it is asked where it is
        self._away = False

    def take(self, code, spread):
        """Take the mean code of a turn, and how far apart its readings were."""
        self.code = code
        fault, cdeg = thermistor.read(code, FULL, self.fixed_ohm, self.curve, self.offset_cdeg)
        if fault == OK and spread == 0:
            fault = STUCK
        if fault != OK:
            self.fail(fault)
            return
        self._good += 1
        if self._good < 2 and self._begun:
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
        self._last_cdeg = NO_CDEG
        self._away = False

    def watch(self, room_cdeg):
        """Tell a needle on its way, or hanging in the room, from one in dough. Call after every turn, 5 s apart."""
        cdeg = self.cdeg
        last = self._last_cdeg
        if cdeg == NO_CDEG:
            return
        self._last_cdeg = cdeg
        if last == NO_CDEG:
            return
        moved = abs(cdeg - last)
        if moved >= _AWAY_CDEG:
            self._away = True
        elif self._away and moved < _SETTLED_CDEG:
            if room_cdeg == NO_CDEG or abs(cdeg - room_cdeg) > _LIKE_ROOM_CDEG:
                self._away = False
        if self._away:
            self.fault = AWAY
            self.cdeg = NO_CDEG


class Sampler:
    """Reads both channels. `bench` and `probe` are Channels."""

    def __init__(self, board, channels):
        self._board = board
        self.channels = channels
        self.bench = channels[BENCH]
        self.probe = channels[PROBE]
        self._codes = array("H", [0] * board.ADC_READS)

    def turn(self, room_cdeg=NO_CDEG):
        """Read both channels now; `room_cdeg` is the air the needle would hang in."""
        for channel in self.channels:
            try:
                self._board.read_codes(channel.number, self._codes)
            except OSError:
                channel.fail(DEAD)
                continue
            mean = trimmed_mean(self._codes)
            channel.take(mean, self._codes[-1] - self._codes[0])
        self.probe.watch(room_cdeg)


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
