"""The pliable window: where the probe stands, how fast it moves, when it leaves, and what a bend test teaches.

Integers only: temperatures in 0.01 °C, rates in 0.01 °C per minute, spans in seconds.
"""

from shared_schedule.units import NO_CDEG, div_round

# Answers of Window.judge.
NO_READING = 0
TOO_COLD = 1
IN = 2
TOO_WARM = 3
WORDS = ("no reading", "too cold", "in the window", "too warm")

# Verdicts of a bend test. Numbers are journaled and never reused.
CRACKED = 1
CLEAN = 2
GREASY = 3
VERDICT_WORDS = {CRACKED: "cracked", CLEAN: "bent clean", GREASY: "greasy"}

FOREVER_S = 0x3FFFFFFF  # the reading does not move towards an edge


class Window:
    """Window with hysteresis: it is left at the edge and entered again only `hysteresis` cdeg inside it."""

    def __init__(self, low, high, hysteresis=30):
        self.low = low
        self.high = high
        # A narrow window must stay enterable.
        self.hysteresis = min(hysteresis, max(0, (high - low) // 4))
        self.state = NO_READING

    def judge(self, cdeg):
        """Return NO_READING, TOO_COLD, IN or TOO_WARM for the probe's reading; allocates nothing."""
        low = self.low
        high = self.high
        if cdeg == NO_CDEG:
            self.state = NO_READING
            return NO_READING
        if self.state == TOO_COLD:
            low += self.hysteresis
        elif self.state == TOO_WARM:
            high -= self.hysteresis
        if cdeg < low:
            self.state = TOO_COLD
        elif cdeg > high:
            self.state = TOO_WARM
        else:
            self.state = IN
        return self.state

    def move(self, low, high):
        """Take new edges (a bend test); the next `judge` uses them."""
        self.low = low
        self.high = high
        self.hysteresis = min(self.hysteresis, max(0, (high - low) // 4))


_SAMPLES = 12
_THIRD = 4


class Rate:
    """Rate of change from the last 12 readings by a resistant line: medians of the first and last third.

    One or two wild readings in a third do not move it (J. W. Tukey, Exploratory Data Analysis, 1977, ch. 5, from
    memory). Neither call allocates.
    """

    def __init__(self):
        self.cdegs = [0] * _SAMPLES
        self.at_s = [0] * _SAMPLES
        self.count = 0
        self.next = 0

    def clear(self):
        """Forget everything: the probe was moved to other dough, or lost its reading."""
        self.count = 0
        self.next = 0

    def add(self, at_s, cdeg):
        """Take one reading; a missing reading clears the ring, since the probe may be elsewhere afterwards."""
        if cdeg == NO_CDEG:
            self.clear()
            return
        self.cdegs[self.next] = cdeg
        self.at_s[self.next] = at_s
        self.next = (self.next + 1) % _SAMPLES
        if self.count < _SAMPLES:
            self.count += 1

    def cdeg_per_min(self):
        """Return the rate in 0.01 °C per minute, None until the ring is full or when no time passed."""
        if self.count < _SAMPLES:
            return None
        for_s = _middle(self.at_s, self.next, _SAMPLES - _THIRD) - _middle(self.at_s, self.next, 0)
        if for_s <= 0:
            return None
        change = _middle(self.cdegs, self.next, _SAMPLES - _THIRD) - _middle(self.cdegs, self.next, 0)
        return div_round(change * 60, for_s)


def _middle(ring, start, offset):
    """Return twice the median of four readings of the ring; the factor cancels between change and time."""
    total = low = high = ring[(start + offset) % _SAMPLES]
    for place in range(1, _THIRD):
        value = ring[(start + offset + place) % _SAMPLES]
        total += value
        if value < low:
            low = value
        if value > high:
            high = value
    return total - low - high


def left_s(cdeg, rate, low, high):
    """Return the seconds until the window is left at the present rate (cdeg/min): the linear fallback.

    0 if it is already left, FOREVER_S if the reading does not move, None without reading or rate. The heat model
    (`slab`) knows better: dough bends towards the bench's temperature, so this errs on the early side.
    """
    if cdeg == NO_CDEG or rate is None:
        return None
    if cdeg < low or cdeg > high:
        return 0
    if rate > 0:
        return (high - cdeg) * 60 // rate
    if rate < 0:
        return (cdeg - low) * 60 // -rate
    return FOREVER_S


# --- bend test ---------------------------------------------------------------------------------------------------
#
# Two edges, below the low one butter cracks, above the high one it turns greasy. What differs most between butters is
# how soft they are as a whole, which moves both edges together; the width differs less. So: both edges are a common
# shift (prior: bell curve, 2 °C) plus a part of their own (0.75 °C each) away from the window in the plan. A verdict
# is likelier the further the reading lies beyond an edge, along a logistic curve of scale 0.5 °C, and one verdict in
# fifty is a slip of the finger. The posterior means are the new edges. All on a grid of 0.25 °C with integer weights,
# so that the timer and the desk get the same cdeg from the same readings. The prior's figures are common practice
# (plastic windows of butters scatter by about +-2 °C), no source.

_GRID_CDEG = 25
_SHIFT_REACH = 20  # grid steps: +-5 °C
_OWN_REACH = 5  # +-1.25 °C
_ONE = 1024
# round(1024 * exp(-(0.25 i / 2)**2 / 2)), i = 0..20
_SHIFT_WEIGHTS = (
    1024, 1016, 992, 954, 904, 842, 773, 698, 621, 544, 469, 398, 332, 273, 221, 177, 139, 107, 81, 61, 45,
)  # fmt: skip
# round(1024 * exp(-(0.25 i / 0.75)**2 / 2)), i = 0..5
_OWN_WEIGHTS = (1024, 969, 820, 621, 421, 255)
# round(1024 / (1 + exp(-0.25 i / 0.5))), i = 0..8; beyond, the slip of the finger rules
_LOGISTIC = (512, 637, 749, 837, 902, 946, 975, 994, 1006)
_SLIP = 20  # of 1024: least likelihood of any verdict


def _beyond(distance_cdeg):
    """Return the likelihood (of 1024) that butter shows it when a reading lies `distance_cdeg` beyond an edge."""
    steps = div_round(distance_cdeg, _GRID_CDEG)
    likely = _LOGISTIC[min(abs(steps), len(_LOGISTIC) - 1)]
    if steps < 0:
        likely = _ONE - likely
    return max(_SLIP, min(_ONE - _SLIP, likely))


def _likelihoods(edge_cdeg, sign, readings, shown):
    """Return the likelihood of the readings for the edge at each grid step around `edge_cdeg`, scaled to 1024."""
    reach = _SHIFT_REACH + _OWN_REACH
    places = range(2 * reach + 1)
    found = [_ONE << 10 for _ in places]
    for cdeg, verdict in readings:
        for place in places:
            seen = _beyond(sign * (cdeg - edge_cdeg - (place - reach) * _GRID_CDEG))
            found[place] = found[place] * (seen if verdict == shown else _ONE - seen) >> 10
        # Only how they compare counts: without this, some twenty tests near an edge would wear all of them to nothing.
        top = max(found)
        while 0 < top < _ONE << 9:
            top <<= 1
            for place in places:
                found[place] <<= 1
    top = max(found)
    return [(likely << 10) // top if top else _ONE for likely in found]


def _smooth(likely):
    """Return for each shift: (sum over the edge's own part of weight * likelihood, the same times own place)."""
    sums = []
    for shift in range(2 * _SHIFT_REACH + 1):
        total = moment = 0
        for own in range(-_OWN_REACH, _OWN_REACH + 1):
            weight = _OWN_WEIGHTS[abs(own)] * likely[shift + _OWN_REACH + own]
            total += weight
            moment += weight * own
        sums.append((total >> 10, moment // 1024))
    return sums


def shift_window(low, high, readings):
    """Return (low, high) in cdeg after bend tests: the posterior means of both edges.

    `low`, `high` are the plan's window; `readings` all tests of this butter so far as (cdeg, verdict), in any order.
    Readings without temperature or verdict are left out; without any the window stays as it is. Edges move by at most
    about 6 °C and stay at least 1 °C apart.
    """
    good = [(cdeg, verdict) for cdeg, verdict in readings if cdeg != NO_CDEG and CRACKED <= verdict <= GREASY]
    if not good:
        return low, high
    lows = _smooth(_likelihoods(low, -1, good, CRACKED))
    highs = _smooth(_likelihoods(high, 1, good, GREASY))
    total = low_sum = high_sum = 0
    for place in range(2 * _SHIFT_REACH + 1):
        shift = place - _SHIFT_REACH
        prior = _SHIFT_WEIGHTS[abs(shift)]
        low_weight, low_moment = lows[place]
        high_weight, high_moment = highs[place]
        weight = prior * low_weight * high_weight
        total += weight
        low_sum += weight * shift + prior * low_moment * high_weight
        high_sum += weight * shift + prior * low_weight * high_moment
    if total == 0:
        return low, high
    low += div_round(low_sum * _GRID_CDEG, total)
    high += div_round(high_sum * _GRID_CDEG, total)
    if high - low < 100:
        middle = (low + high) // 2
        low, high = middle - 50, middle + 50
    return low, high


def next_bend(low, high, readings):
    """Return the probe temperature (cdeg) at which the next bend test teaches most.

    The warm edge first, then the edge tried least: with the verdicts this rule then gives, three tests put both edges
    within 1 °C for nine butters in ten whose edges lie up to 2.5 °C from the plan's (see the checks).
    """
    now_low, now_high = shift_window(low, high, readings)
    cold = warm = 0
    for cdeg, _verdict in readings:
        if cdeg < (now_low + now_high) // 2:
            cold += 1
        else:
            warm += 1
    return now_high if warm <= cold else now_low
