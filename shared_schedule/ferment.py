"""Bulk and proof as a dose: seconds at a reference temperature, weighted by how fast yeast works.

The weight is the cardinal temperature model (Rosso et al. 1993): zero at the least and the greatest temperature, one at
the best. Dose is kept in whole milliseconds of reference time with the remainder carried, so that a slow night in
the fridge is not rounded away and both interpreters count alike.
"""

from shared_schedule.units import NO_CDEG

# Cardinal temperatures in 0.01 °C (least, best, greatest) and the reference the dose is counted at.
# Growth: S. cerevisiae 32.3 and 45.4 °C, Salvadó et al. 2011 (AEM 77:2292, abstract); its least temperature was not
# seen, 2.8 °C is the middle of the genus. Gas in dough runs warmer: 10 % a kelvin and a best of 32 to 40 °C (bakemag);
# 36 and 46 °C are from memory. Its least is the weakest figure of all: between -2 and 2.8 °C, which is a factor of 16
# for a night at 4 °C.
GROWTH = (280, 3230, 4540)
GAS = (0, 3600, 4600)
REFERENCE_CDEG = 2600

_PPM = 1000000
_PART_S = 400  # 400 s times a weight of 2.6 stays below 2**30


def gamma(cdeg, least, best, greatest):
    """Return the cardinal weight 0.0..1.0 at a temperature; all four in 0.01 °C, least < best < greatest."""
    if cdeg <= least or cdeg >= greatest:
        return 0.0
    t = cdeg / 100.0
    low = least / 100.0
    mid = best / 100.0
    high = greatest / 100.0
    below = (mid - low) * ((mid - low) * (t - mid) - (mid - high) * (mid + low - 2.0 * t))
    return (t - high) * (t - low) * (t - low) / below


def rate_ppm(cdeg, cardinals, reference_cdeg=REFERENCE_CDEG):
    """Return the speed relative to the reference temperature in millionths, 0..2600000; 0 without a reading."""
    if cdeg == NO_CDEG:
        return 0
    at_reference = gamma(reference_cdeg, cardinals[0], cardinals[1], cardinals[2])
    if at_reference <= 0.0:
        raise ValueError("the reference temperature must lie between the least and the greatest")
    rate = int(gamma(cdeg, cardinals[0], cardinals[1], cardinals[2]) / at_reference * _PPM + 0.5)
    return 2600000 if rate > 2600000 else rate


class Dose:
    """Reference time gathered so far. `ms` alone restores it after a power cut (the remainder is under 1 ms)."""

    def __init__(self, cardinals=GROWTH, reference_cdeg=REFERENCE_CDEG, ms=0):
        if not cardinals[0] < cardinals[1] < cardinals[2]:
            raise ValueError("cardinal temperatures must rise: least, best, greatest")
        self.cardinals = cardinals
        self.reference_cdeg = reference_cdeg
        self.ms = ms
        self.gap_s = 0  # time spent without a reading: the dose is then a lower bound, and says so
        self.at_s = 0  # when it was last counted, kept by whoever counts; 0 = not since power came
        self._rest = 0

    def add(self, cdeg, seconds):
        """Count `seconds` (0 or more) at a dough temperature; without a reading they go to `gap_s` instead."""
        if seconds <= 0:
            return
        if cdeg == NO_CDEG:
            self.gap_s += seconds
            return
        rate = rate_ppm(cdeg, self.cardinals, self.reference_cdeg)
        while seconds > 0:
            part = _PART_S if seconds > _PART_S else seconds
            seconds -= part
            gained = rate * part + self._rest
            self.ms += gained // 1000
            self._rest = gained % 1000

    def seconds(self):
        """Return whole seconds of reference time gathered."""
        return self.ms // 1000

    def left_s(self, wanted_s, cdeg):
        """Return seconds until `wanted_s` of dose at a steady temperature; 0 when reached, -1 when never."""
        missing = wanted_s * 1000 - self.ms
        if missing <= 0:
            return 0
        rate = rate_ppm(cdeg, self.cardinals, self.reference_cdeg)
        if rate < 1000:  # under a thousandth of the reference speed nobody waits for it
            return -1
        return (missing * 1000 + rate - 1) // rate
