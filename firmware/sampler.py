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
# A needle in air has a time constant of 10 to 90 s, dough on a warm stone warms by 4 K a minute at most: neither a
# whole kelvin in 5 s nor two in 20 s is dough. Where it arrives its steps grow smaller; where dough warms they do not.
_AWAY_CDEG = 100
_AWAY_SLOWLY_CDEG = 200
_SETTLED_CDEG = 25  # in 20 s: within 0.5 K of where it is with 25 s, within 1.1 K with 75 s
_DRIFT_CDEG = 40  # less than this in 20 s is too near to noise to tell a drift from an arrival
_LONGEST = 60  # turns a needle may take to settle
_LIKE_ROOM_CDEG = 250  # settled this near to the room's air, it may hang in it
_STILL = 12  # turns after which a settled needle is trusted further: what is not the room by 1 K is dough
_NEAR_ROOM_CDEG = 100
_DOUGH_TURNS = 360  # dough follows its air with half an hour or so: what it has become while it was not read


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
        self._past = [NO_CDEG] * 4  # of the needle, 20, 15, 10 and 5 s ago
        self._away = False
        self._for = 0  # turns since it last moved so, and turns of these without more than dough's own drift
        self._still = 0
        self._dough_16 = 0  # the dough it was in, or what that has become, 0.01 K / 16

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
        self._past[3] = NO_CDEG
        self._away = False

    def watch(self, room_cdeg, air_cdeg):
        """Tell a needle on its way, or hanging in the room, from one in dough. Call after every turn, 5 s apart.

        `air_cdeg` is the air around the dough, which the dough nears while it is not read: once it may be as warm as
        the room, a needle that reads so may be in it. A needle in dough is therefore never taken as away for good.
        """
        cdeg = self.cdeg
        if cdeg == NO_CDEG:
            return
        past = self._past
        if past[3] == NO_CDEG:
            past[0] = past[1] = past[2] = past[3] = cdeg
            self._dough_16 = cdeg << 4
        first = abs(past[2] - past[0])
        second = abs(cdeg - past[2])
        if abs(cdeg - past[3]) >= _AWAY_CDEG or abs(cdeg - past[0]) >= _AWAY_SLOWLY_CDEG:
            self._away = True
            self._still = self._for = 0
        past[0] = past[1]
        past[1] = past[2]
        past[2] = past[3]
        past[3] = cdeg
        if not self._away:
            self._dough_16 = cdeg << 4
            return
        if air_cdeg != NO_CDEG:
            self._dough_16 += ((air_cdeg << 4) - self._dough_16) // _DOUGH_TURNS
        self._for += 1
        slow = first + second
        drifts = _DRIFT_CDEG <= slow < _AWAY_SLOWLY_CDEG and second * 20 >= first * 19
        if slow < _SETTLED_CDEG or drifts or self._for >= _LONGEST:
            self._still += 1
            if self._still >= 4 and not self._in_room(cdeg, room_cdeg):
                self._away = False
                return
        else:
            self._still = 0
        self.fault = AWAY
        self.cdeg = NO_CDEG

    def _in_room(self, cdeg, room_cdeg):
        if room_cdeg == NO_CDEG or abs(cdeg - room_cdeg) > _LIKE_ROOM_CDEG:
            return False
        if self._still >= _STILL and abs(cdeg - room_cdeg) > _NEAR_ROOM_CDEG:
            return False
        return abs((self._dough_16 >> 4) - room_cdeg) > _LIKE_ROOM_CDEG


class Sampler:
    """Reads every channel. `bench` and `probe` are the first two; `readings` what all said last, in their order."""

    def __init__(self, board, channels):
        self._board = board
        self.channels = channels
        self.readings = [NO_CDEG] * len(channels)
        self.bench = channels[BENCH]
        self.probe = channels[PROBE]
        self._codes = [0] * board.ADC_READS  # a list, because lists sort in place at the interpreter's own speed

    def turn(self, room_cdeg=NO_CDEG, air_cdeg=NO_CDEG):
        """Read every channel now; `room_cdeg` is the air the needle would hang in, `air_cdeg` that around the dough."""
        for channel in self.channels:
            try:
                spread = self._burst(channel.number)
                if not spread:
                    spread = self._burst(channel.number)
            except OSError:
                channel.fail(DEAD)
                continue
            channel.take(mean_of_middle(self._codes), spread)
        self.probe.watch(room_cdeg, air_cdeg)
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
