"""The bench timer's own heat model: minutes until the window is left, minutes until a rest is done.

A pâton is a few nodes through its thickness, on a bench of a few more or on a tray in air. Everything that needs real
numbers is worked out once, when the pâton is laid (`lay`); the loop in time runs on small integers alone, because on
the device every float is a heap object and a forecast is made every few seconds while memory must stay still. A loop
that allocates nothing is also one that gives the same answer to the bit on every interpreter.

Method: finite volumes, second-order backward differences in time (BDF2) with a step that doubles every ten steps, one
tridiagonal solve each with factors prepared by `lay`. Temperatures are 1/16 of 0.01 °C, factors carry 26 binary digits
and are multiplied in two halves, so that no product leaves a Pico's 31-bit small integer while neighbours differ by
less than 80 K.

The material is linear here: butter's melting is in the apparent heat capacity that the plan brings. The companion
compares the forecast with its own fine model; see tests/craft/test_slab_against_fine.py.
"""

from array import array

from shared_schedule.units import NO_CDEG

LEVELS = 9
STEPS_PER_LEVEL = 10
FIRST_STEP_S = 3  # levels: 3, 6, 12 ... 768 s; 10 steps of each reach 4 h 15 min
LONGEST_S = FIRST_STEP_S * STEPS_PER_LEVEL * ((1 << LEVELS) - 1)

# A bench arrives as effusivity and thickness. Only sqrt(k rho c) and thickness * rho c matter to what lies on it, so
# the sender scales the thickness to this volumetric heat capacity, J/(m3 K); see craft.stacks.device_parameters.
BENCH_RC = 2500000.0
CONTACT_MW = 700000  # mW/(m2 K) through flour and trapped air; a guess, no source
FILM_UNDER_BENCH_MW = 6000  # still air below a worktop, ISO 6946 downward 0.17 m2 K/W
TRAY_PERCENT = 75  # film below a tray or board, as a share of the film above

_SHIFT = 4  # temperatures are 0.01 °C << 4
_LIMIT = 65000  # 40.6 °C in those units
_HALF = 1 << 12


class Slab:
    """One pâton.

    `lay` it when it changes place or thickness, then `start` from a reading; `track` from reading to reading (and
    `resume` after a change of place) follows its profile, which one reading cannot tell; then ask.
    """

    def __init__(self, nodes=7, bench_nodes=5):
        """`nodes` through the pâton, an odd number so that the middle one is the core; `bench_nodes` below it."""
        if nodes < 3 or nodes % 2 == 0 or bench_nodes < 1:
            raise ValueError("a slab needs an odd number of nodes, 3 or more, and a bench node")
        self._nodes = nodes
        self._bench_nodes = bench_nodes
        most = nodes + bench_nodes
        zeros = [0] * most
        self._now = array("i", zeros)  # temperatures now, one and two steps ago, and where they began
        self._ago = array("i", zeros)
        self._older = array("i", zeros)
        self._begin = array("i", zeros)
        self._w = array("i", zeros * LEVELS)  # weights of the averages in `_advance`, Q26, level by level
        self._c = array("i", zeros * LEVELS)
        self._count = 0  # nodes in use
        self._first = 0  # index of the pâton's lowest node
        self._bend = 0.0  # first-mode bend of the profile per kelvin between core and air, see start
        self.missed = 0  # after track: how far off the model was
        self._core = 0
        self._end = self._now  # the last step of a run: its state, the one before, and how far into it the time lies
        self._before = self._now
        self._part = 0
        self._span = 1
        self.side = 0  # after seconds_until: -1 left below, +1 above, 0 not at all

    def lay(self, thickness_um, k_mw, rc_kj, film_mw, bench_effusivity=0, bench_um=0, contact_mw=CONTACT_MW):
        """Describe what lies where: on a bench when `bench_effusivity` > 0, else on a tray in air.

        thickness_um of the pâton; k_mw in mW/(m K) across the layers; rc_kj in kJ/(m3 K), apparent; film_mw above it in
        mW/(m2 K); bench_effusivity in J m-2 K-1 s-0.5; bench_um for a heat capacity of BENCH_RC. ValueError otherwise.
        """
        if thickness_um <= 0 or k_mw <= 0 or rc_kj <= 0 or film_mw <= 0:
            raise ValueError("thickness, conductivity, heat capacity and film must be above zero")
        if bench_effusivity > 0 and bench_um <= 0:
            raise ValueError("a bench needs a thickness")
        nodes = self._nodes
        below = self._bench_nodes if bench_effusivity > 0 else 0
        if self._count and below != self._first:  # what lies there keeps its temperatures, for `resume`
            begin = self._begin
            kept = [begin[self._first + i] for i in range(nodes)]
            for i in range(nodes):
                begin[below + i] = kept[i]
        count = nodes + below
        k = k_mw / 1000.0
        dz = thickness_um * 1e-6 / nodes
        film = film_mw / 1000.0
        links = [0.0] * (count + 1)  # W/(m2 K): links[i] below node i, links[count] above the last
        heat = [0.0] * count  # J/(m2 K)
        for i in range(below, count):
            heat[i] = rc_kj * 1000.0 * dz
            links[i] = k / dz
        links[count] = 1.0 / (1.0 / film + dz / (2.0 * k))
        if below:
            self._lay_bench(links, heat, below, bench_effusivity, bench_um * 1e-6, dz / (2.0 * k), contact_mw / 1000.0)
        else:
            links[0] = 1.0 / (100.0 / (TRAY_PERCENT * film) + dz / (2.0 * k))
        self._count = count
        self._first = below
        # First mode of a plate cooling on both faces: the faces lag the core by about half the Biot number.
        half_biot = film * (100 + TRAY_PERCENT) / 200.0 * thickness_um * 1e-6 / (4.0 * k)
        self._bend = half_biot / (1.0 + half_biot)
        self._factor(links, heat)

    def _lay_bench(self, links, heat, below, effusivity, bench_m, half_dough, contact):
        k = effusivity * effusivity / BENCH_RC
        unit = bench_m / (1.7**below - 1.0) * 0.7  # thinnest node at the top, each lower one 1.7 times thicker
        size = unit
        above = half_dough + 1.0 / contact
        for i in range(below - 1, -1, -1):
            heat[i] = BENCH_RC * size
            links[i + 1] = 1.0 / (above + size / (2.0 * k))
            above = size / (2.0 * k)
            size *= 1.7
        links[0] = 1.0 / (above + 1000.0 / FILM_UNDER_BENCH_MW)

    def _factor(self, links, heat):
        """Prepare the elimination as plain averages, which whole numbers keep exact where nothing changes.

        Going up, each node's known part is a mean of its own past and of everything below (weight `w`); going down,
        its temperature is a mean of that and of the node above (weight `c`). The air is the node beyond either end.
        """
        count = self._count
        one = 1 << 26
        for level in range(LEVELS):
            dt = FIRST_STEP_S * (1 << level) / 1.5  # BDF2: the new value weighs 3/2
            base = level * count
            free = 1.0  # 1 - c of the node below
            for i in range(count):
                low = links[i] * dt / heat[i] * free
                high = links[i + 1] * dt / heat[i]
                self._w[base + i] = int(one / (1.0 + low) + 0.5)
                self._c[base + i] = int(one * high / (1.0 + low + high) + 0.5)
                free = (1.0 + low) / (1.0 + low + high)

    def start(self, core_cdeg, bench_cdeg=NO_CDEG, rested_in_cdeg=NO_CDEG):
        """Begin from a core reading and the bench's temperature, 0.01 °C; the bench is even from top to bottom.

        `rested_in_cdeg` is the air the pâton has just come out of or still lies in: its faces are then that much ahead
        of the core. Without it the pâton is even. ValueError when a needed reading is missing or above 40 °C.
        """
        count = self._count
        first = self._first
        if count == 0:
            raise ValueError("lay the slab first")
        if core_cdeg == NO_CDEG or (first and bench_cdeg == NO_CDEG):
            raise ValueError("a forecast needs a reading of the core and, on a bench, of the bench")
        if core_cdeg << _SHIFT > _LIMIT or core_cdeg << _SHIFT < -_LIMIT:
            raise ValueError("the forecast serves -40 to 40 degrees C")
        begin = self._begin
        for i in range(first):
            begin[i] = _within(bench_cdeg << _SHIFT)
        middle = first + self._nodes // 2
        lead = 0
        if rested_in_cdeg != NO_CDEG:
            lead = int((rested_in_cdeg - core_cdeg) * (1 << _SHIFT) * self._bend)
        half = self._nodes // 2
        for i in range(first, count):
            away = i - middle
            begin[i] = _within((core_cdeg << _SHIFT) + lead * away * away // (half * half))

    def resume(self, core_cdeg, bench_cdeg=NO_CDEG):
        """Begin as `start` does, but keep the profile that `track` has followed, moved to the core's reading.

        For a pâton that has just changed place. ValueError as in `start`.
        """
        profile = [self._begin[self._first + i] for i in range(self._nodes)]
        self.start(core_cdeg, bench_cdeg)
        move = (core_cdeg << _SHIFT) - profile[self._nodes // 2]
        for i in range(self._nodes):
            self._begin[self._first + i] = _within(profile[i] + move)

    def track(self, seconds, air_cdeg, core_cdeg=NO_CDEG):
        """Let `seconds` (0..LONGEST_S) pass in the model, then move the pâton to a core reading if there is one.

        Called at every reading it knows how the faces lead the core, which one reading cannot tell. `missed` is then
        the reading less what was expected, 0.01 °C: when it is large something else happened, and `start` is better.
        Allocates nothing.
        """
        self._run(-_LIMIT - 1, _LIMIT + 1, air_cdeg << _SHIFT, seconds)
        begin = self._begin
        now = self._end
        ago = self._before
        for i in range(self._count):
            begin[i] = ago[i] + (now[i] - ago[i]) * self._part // self._span
        self.missed = 0
        if core_cdeg != NO_CDEG:
            move = (core_cdeg << _SHIFT) - begin[self._first + self._nodes // 2]
            self.missed = move >> _SHIFT
            for i in range(self._first, self._count):
                begin[i] = _within(begin[i] + move)

    def seconds_until(self, low_cdeg, high_cdeg, air_cdeg, limit_s=7200):
        """Return seconds until the core is below low_cdeg or above high_cdeg, -1 when not within limit_s; see `side`.

        Allocates nothing. A core already outside gives 0. `air_cdeg` is above the pâton and below its tray or bench.
        """
        return self._run(low_cdeg << _SHIFT, high_cdeg << _SHIFT, air_cdeg << _SHIFT, limit_s)

    def core_seconds_until(self, target_cdeg, air_cdeg, limit_s=14400):
        """Return seconds until the core reaches target_cdeg from either side, -1 when not within limit_s."""
        target = target_cdeg << _SHIFT
        core = self._begin[self._first + self._nodes // 2]
        if core > target:
            return self._run(target, _LIMIT, air_cdeg << _SHIFT, limit_s)
        return self._run(-_LIMIT, target, air_cdeg << _SHIFT, limit_s)

    def core_after(self, seconds, air_cdeg):
        """Return the core temperature (0.01 °C) after `seconds` (0..LONGEST_S)."""
        self._run(-_LIMIT - 1, _LIMIT + 1, air_cdeg << _SHIFT, seconds)
        return (self._core + (1 << (_SHIFT - 1))) >> _SHIFT

    def _run(self, low, high, air, limit_s):
        count = self._count
        core = self._first + self._nodes // 2
        now = self._now
        ago = self._ago
        older = self._older
        begin = self._begin
        for i in range(count):
            now[i] = begin[i]
            ago[i] = begin[i]
            older[i] = begin[i]
        air = _within(air)
        self.side = 0
        was = now[core]
        self._core = was
        self._end = now
        self._before = now
        self._part = 0
        self._span = 1
        if was < low:
            self.side = -1
            return 0
        if was > high:
            self.side = 1
            return 0
        if limit_s > LONGEST_S:
            limit_s = LONGEST_S
        elapsed = 0
        step = FIRST_STEP_S
        level = 0
        done = 0
        # Started from rest (the state before equals the first), BDF2's first step covers two thirds of its length.
        span = FIRST_STEP_S * 2 // 3
        while elapsed < limit_s:
            # `older` becomes the new state; after a doubling the state two short steps ago is one long step ago.
            self._advance(level, now, older if done == 0 and level else ago, older, air)
            spare = older
            older = ago
            ago = now
            now = spare
            here = now[core]
            self._end = now
            self._before = ago
            self._span = span
            self._part = min(span, limit_s - elapsed)
            if here < low or here > high or elapsed + span >= limit_s:
                if here < low:
                    self.side = -1
                    part = span * (was - low) // (was - here)
                elif here > high:
                    self.side = 1
                    part = span * (high - was) // (here - was)
                else:
                    part = span
                if elapsed + part > limit_s or not self.side:
                    self.side = 0
                    self._core = was + (here - was) * (limit_s - elapsed) // span
                    return -1
                self._core = here
                return elapsed + part
            was = here
            elapsed += span
            span = step
            done += 1
            if done == STEPS_PER_LEVEL:
                if level == LEVELS - 1:
                    break
                done = 0
                level += 1
                step *= 2
                span = step
        self._core = was
        return -1

    def _advance(self, level, now, ago, into, air):
        """One step: `into` may be `ago` itself, each node being read before it is written."""
        w = self._w
        c = self._c
        count = self._count
        base = level * count
        last = air
        for i in range(count):
            v = (4 * now[i] - ago[i] + 1) // 3 - last
            f = w[base + i]
            last += (v * (f >> 13) + ((v * (f & 8191) + _HALF) >> 13) + _HALF) >> 13
            into[i] = last
        last = air
        i = count - 1
        while i >= 0:
            v = last - into[i]
            f = c[base + i]
            last = into[i] + ((v * (f >> 13) + ((v * (f & 8191) + _HALF) >> 13) + _HALF) >> 13)
            into[i] = last
            i -= 1


def _within(value):
    if value > _LIMIT:
        return _LIMIT
    if value < -_LIMIT:
        return -_LIMIT
    return value
