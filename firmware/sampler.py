"""The two thermometers: many readings to one, one to a temperature, and faults told apart from cold dough.

`turn` allocates nothing (a test runs it with the heap locked). A channel that is at fault says NO_CDEG at once and
keeps saying it until it has read well for two rounds: an old number is never shown.
"""

from shared_schedule import thermistor
from shared_schedule.units import NO_CDEG

FULL = 65535
OK = thermistor.OK
OPEN = thermistor.OPEN
SHORT = thermistor.SHORT
RANGE = thermistor.RANGE
STUCK = thermistor.STUCK
AWAY = thermistor.AWAY
DEAD = thermistor.DEAD

BENCH = 0
PROBE = 1

# Two bursts of readings without any spread are no measurement: one reading has 1 LSB rms of noise or so, and even a
# converter three times as quiet repeats itself 128 times less than once in a million bursts.
# A needle in air has a time constant of 10 to 25 s, dough on a warm stone warms by a few kelvin a minute at most: a
# whole kelvin in 5 s is not dough.
_AWAY_CDEG = 100
_SETTLED_CDEG = 35  # moving less than this in 5 s, the needle has nearly arrived where it is: within 2 K in air
_LIKE_ROOM_CDEG = 250  # settling this near to the room's air, it hangs in it


class Channel:
    """One thermometer. cdeg and fault are the present reading; `offset_cdeg` comes from the ice point."""

    def __init__(self, number, curve, fixed_ohm, offset_cdeg):
        self.number = number
        self._made_for = None
        self.configure(curve, fixed_ohm, offset_cdeg)
        self.cdeg = NO_CDEG
        self.fault = OPEN
        self.code = 0
        self._good = 0
        self._begun = False
        self._last_cdeg = NO_CDEG  # of the needle, before it is asked where it is
        self._away = False

    def configure(self, curve, fixed_ohm, offset_cdeg):
        """Take the probe's curve (coefficients), its fixed resistor and its ice-point offset."""
        self.offset_cdeg = offset_cdeg
        if self._made_for != (curve, fixed_ohm):  # takes a tenth of a second on a Pico
            self._made_for = (curve, fixed_ohm)
            self._ladder = thermistor.Ladder(FULL, fixed_ohm, curve)

    def take(self, code, spread):
        """Take the mean code of a turn, and how far apart its readings were."""
        self.code = code
        cdeg = self._ladder.read(code, self.offset_cdeg)
        fault = self._ladder.state
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
    """Reads every channel. `bench` and `probe` are the first two; `readings` what all said last, in their order."""

    def __init__(self, board, channels):
        self._board = board
        self.channels = channels
        self.readings = [NO_CDEG] * len(channels)
        self.bench = channels[BENCH]
        self.probe = channels[PROBE]
        self._codes = [0] * board.ADC_READS  # a list, because lists sort in place at the interpreter's own speed

    def turn(self, room_cdeg=NO_CDEG):
        """Read every channel now; `room_cdeg` is the air the needle would hang in."""
        for channel in self.channels:
            try:
                spread = self._burst(channel.number)
                if not spread:
                    spread = self._burst(channel.number)
            except OSError:
                channel.fail(DEAD)
                continue
            channel.take(mean_of_middle(self._codes), spread)
        self.probe.watch(room_cdeg)
        for i in range(len(self.channels)):
            self.readings[i] = self.channels[i].cdeg

    def _burst(self, number):
        """Read a channel many times; leave the codes sorted and return how far apart they were."""
        codes = self._codes
        self._board.read_codes(number, codes)
        codes.sort()
        return codes[-1] - codes[0]


def mean_of_middle(codes):
    """Return the mean of the middle half of sorted codes, rounded; allocates nothing.

    Noise averages away in the mean, which a median would hide near the converter's steps; the outer quarters go
    because a radio or a motor nearby puts single readings far off.
    """
    n = len(codes)
    cut = n // 4
    total = 0
    for i in range(cut, n - cut):
        total += codes[i]
    count = n - 2 * cut
    return (total + count // 2) // count
