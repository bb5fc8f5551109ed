"""NTC thermistors: divider code to temperature and back, faults told apart, one ice-point offset.

The curve is the 4-coefficient form 1/T = A + B x + C x^2 + D x^3 with x = ln(R / R25), T in kelvin. Floats live inside;
codes, ohms and hundredths of a degree go in and out as integers. Single precision costs less than 0.001 K.

The divider has the thermistor to ground and a fixed resistor to the reference, so code / full = R / (R + fixed).
"""

import math
from array import array

from shared_schedule.units import NO_CDEG

# What a reading is worth.
OK = 0
OPEN = 1  # probe unplugged or wire broken
SHORT = 2
RANGE = 3  # the circuit is whole, but no temperature a kitchen has
# Found by whoever reads it again and again; journaled and sent with the four above, never renumbered.
STUCK = 4  # the same code to the last bit, again and again: a converter has noise, a stuck one has none
AWAY = 5  # the probe was pulled out of the dough (it ran towards the room faster than dough can)
DEAD = 6  # the converter itself does not answer
FAULT_WORDS = ("ok", "open", "short", "out of range", "stuck", "out of dough", "no converter")

RANGE_LOW_CDEG = -4000
RANGE_HIGH_CDEG = 12000

# (A, B, C, D, R25 in ohm).
# 103AT: least-squares fit to the Semitec 103AT table over -30..60 °C, within 0.022 K of it over -25..100 °C.
# 3977: Vishay NTCLE100E3 with B25/85 = 3977 K, coefficients of data sheet 29049.
_CURVE_103AT = (3.35405714e-3, 3.00283226e-4, 5.34913209e-6, 2.96159670e-7, 10000.0)
_CURVE_3977 = (3.354016e-3, 2.569850e-4, 2.620131e-6, 6.383091e-8, 10000.0)
_NAMES = (("103at", _CURVE_103AT), ("3977", _CURVE_3977), ("vishay3977", _CURVE_3977))
CURVE_NAMES = ("103at", "3977")

# Beyond these shares of full scale no thermistor in its range is meant: with 18 kilohm the curves stay in 1.6..95 %.
_OPEN_PERMILLE = 985
_SHORT_PERMILLE = 10


def curve(name):
    """Return the coefficients of '103at' or '3977' (any case; 'VISHAY3977' too); ValueError for other names."""
    wanted = name.lower()
    for known, coefficients in _NAMES:
        if known == wanted:
            return coefficients
    raise ValueError("no thermistor curve called %r; known are 103at and 3977" % name)


def cdeg_from_ohm(ohm, coefficients):
    """Return 0.01 °C for a resistance in ohm (1 or more; int or float), or NO_CDEG when the curve has no answer."""
    if ohm <= 0:
        return NO_CDEG
    a, b, c, d, r25 = coefficients
    x = math.log(ohm / r25)
    inverse = a + x * (b + x * (c + x * d))
    if inverse < 1.5e-3 or inverse > 6e-3:  # 394 °C and -106 °C: outside everything
        return NO_CDEG
    celsius = 1.0 / inverse - 273.15
    return int(celsius * 100.0 + (0.5 if celsius >= 0 else -0.5))


def ohm_from_cdeg(cdeg, coefficients):
    """Return the resistance in ohm (float) at 0.01 °C, from -55 to 150 °C; ValueError outside.

    Newton on x = ln(R/R25), which is monotone there; five rounds are past single precision.
    """
    if cdeg < -5500 or cdeg > 15000:
        raise ValueError("%d is outside -5500..15000 (0.01 degrees C)" % cdeg)
    a, b, c, d, r25 = coefficients
    wanted = 1.0 / (cdeg / 100.0 + 273.15)
    x = (wanted - a) / b
    for _ in range(6):
        x -= (a + x * (b + x * (c + x * d)) - wanted) / (b + x * (2.0 * c + 3.0 * d * x))
    return r25 * math.exp(x)


def read(code, full, fixed_ohm, coefficients, offset_cdeg=0):
    """Return (state, cdeg) for an ADC code of a `full`-count converter (4096 for 12 bits; sums of codes work too).

    `offset_cdeg` is added: it is what the ice point said (see `ice_offset`). With any state but OK, cdeg is NO_CDEG.
    """
    if code * 1000 >= full * _OPEN_PERMILLE:
        return OPEN, NO_CDEG
    if code * 1000 <= full * _SHORT_PERMILLE:
        return SHORT, NO_CDEG
    cdeg = cdeg_from_ohm(fixed_ohm * code / (full - code), coefficients)
    if cdeg == NO_CDEG or cdeg < RANGE_LOW_CDEG or cdeg > RANGE_HIGH_CDEG:
        return RANGE, NO_CDEG
    return OK, cdeg + offset_cdeg


def code_from_cdeg(cdeg, full, fixed_ohm, coefficients):
    """Return the nearest ADC code (0..full-1) the divider gives at a temperature; the inverse of `read`."""
    ohm = ohm_from_cdeg(cdeg, coefficients)
    code = int(full * ohm / (ohm + fixed_ohm) + 0.5)
    return full - 1 if code >= full else code

_LADDER_FINE = 16  # codes are held in sixteenths, so that rounding a rung costs less than 0.01 K at 120 °C


class Ladder:
    """One divider's codes at every whole degree from RANGE_LOW_CDEG to RANGE_HIGH_CDEG: `read` without a float.

    A reading is a search and a straight line between two rungs, within 0.01 K of the curve, and allocates nothing.
    `full` is at most 65536. `state` says what the last reading was worth.
    """

    def __init__(self, full, fixed_ohm, coefficients):
        self._open = full * _OPEN_PERMILLE
        self._short = full * _SHORT_PERMILLE
        self.state = OPEN
        rungs = []
        for cdeg in range(RANGE_LOW_CDEG, RANGE_HIGH_CDEG + 1, 100):
            rungs.append(code_from_cdeg(cdeg, full * _LADDER_FINE, fixed_ohm, coefficients))
        self._rungs = array("i", rungs)

    def read(self, code, offset_cdeg=0):
        """Return 0.01 °C for a code, plus the offset; NO_CDEG with any `state` but OK."""
        if code * 1000 >= self._open:
            self.state = OPEN
            return NO_CDEG
        if code * 1000 <= self._short:
            self.state = SHORT
            return NO_CDEG
        fine = code * _LADDER_FINE
        rungs = self._rungs
        low = 0
        high = len(rungs) - 1
        if fine > rungs[low] or fine < rungs[high]:
            self.state = RANGE
            return NO_CDEG
        while high - low > 1:  # codes fall as temperatures rise
            middle = (low + high) >> 1
            if rungs[middle] >= fine:
                low = middle
            else:
                high = middle
        self.state = OK
        step = rungs[low] - rungs[high]
        return RANGE_LOW_CDEG + 100 * low + (100 * (rungs[low] - fine) + step // 2) // step + offset_cdeg


OFFSET_LIMIT_CDEG = 300  # a 10 kilohm part off by more is the wrong curve or a broken probe (about +3.5 K at 0 °C)


def ice_offset(reading_cdeg):
    """Return the offset that makes a reading taken in stirred crushed ice 0 °C; ValueError when it is implausible."""
    if reading_cdeg == NO_CDEG or abs(reading_cdeg) > OFFSET_LIMIT_CDEG:
        raise ValueError("a probe in ice water should read within 3 degrees of 0 C: check the curve and the ice")
    return -reading_cdeg
