"""Out of the dough and back in it: needles of 5 to 90 s, rooms of 16 to 30 °C, dough on its own way meanwhile.

The needle is a first-order body of its own (textbook: dT/dt = (air - T) / tau), written here; nothing of the virtual
kitchen is used. Its converter has 25 mK of noise.
"""

import math
import random
import sys
from pathlib import Path

import pytest

from shared_schedule.units import NO_CDEG

sys.path.insert(0, str(Path(__file__).parents[2] / "firmware"))
import sampler  # noqa: E402

ROOMS = (16.0, 18.0, 22.0, 26.0, 30.0)


class Needle:
    """`tau_s` in dough; three times that in air, at most 90 s."""

    def __init__(self, tau_s, room_c, seed=1):
        self.tau_s, self.room_c, self.c = tau_s, room_c, None
        self.noise = random.Random(seed)
        self.channel = sampler.Channel(1, None, 18000, 0)

    def turns(self, minutes, dough_c, air_c, away=False):
        """5 s readings: [(degrees C shown or None, degrees C of the dough)]; `dough_c` a function of minutes."""
        out = []
        for turn in range(round(minutes * 12)):
            dough = dough_c(turn / 12)
            target, tau = (self.room_c, min(90.0, 3 * self.tau_s)) if away else (dough, self.tau_s)
            self.c = target if self.c is None else self.c + (target - self.c) * (1 - math.exp(-5 / tau))
            self.channel.cdeg, self.channel.fault = round((self.c + self.noise.gauss(0, 0.025)) * 100), sampler.OK
            self.channel.watch(round(self.room_c * 100), round(air_c * 100))
            shown = self.channel.cdeg
            out.append((None if shown == NO_CDEG else shown / 100, dough))
        return out


@pytest.fixture(autouse=True)
def _no_ladder(monkeypatch):
    monkeypatch.setattr(sampler.thermistor, "Ladder", lambda *_a: None)


@pytest.mark.parametrize("tau_s", [5, 15, 25, 50, 75, 90])
@pytest.mark.parametrize("room_c", ROOMS)
def test_never_out_of_dough_for_good(tau_s, room_c):
    """From dough at 5 °C into dough a little colder than the room, and as warm as the room."""
    for gap in (1.2, 0.3):
        needle = Needle(tau_s, room_c)
        needle.turns(10, lambda _m: 5.0, 4.0)
        warm = needle.turns(120, lambda _m, gap=gap: room_c - gap, room_c)
        shown = [c is not None for c, _ in warm]
        assert all(shown[-60:]), (gap, shown.index(True) if True in shown else None)
        if gap > 1.0:
            assert shown.index(True) < 8 * 12


@pytest.mark.parametrize("tau_s", [5, 15, 25, 50])
@pytest.mark.parametrize("room_c", ROOMS)
def test_pulled_for_twenty_minutes_it_is_not_dough(tau_s, room_c):
    needle = Needle(tau_s, room_c)
    needle.turns(10, lambda _m: 6.0, 4.0)
    out = needle.turns(20, lambda _m: 6.0, 4.0, away=True)
    wrong = sum(c is not None for c, _ in out[6:])
    assert wrong == 0, wrong
    back = needle.turns(8, lambda _m: 6.0, 4.0)
    assert back[-1][0] is not None


@pytest.mark.parametrize("tau_s", [5, 15, 25])
def test_what_is_shown_after_it_is_put_in_has_settled(tau_s):
    needle = Needle(tau_s, 22.0)
    needle.turns(10, lambda _m: 6.0, 4.0)
    needle.turns(5, lambda _m: 6.0, 4.0, away=True)
    shown = [(c, dough) for c, dough in needle.turns(8, lambda _m: 6.0, 4.0)[1:] if c is not None]
    assert max(abs(c - dough) for c, dough in shown) < 0.7


@pytest.mark.parametrize("tau_s", [5, 15, 50, 90])
def test_a_thin_sheet_warming_on_stone_is_dough(tau_s):
    """8 K in 124 s, the fastest that a sheet of 4 mm does on marble."""
    needle = Needle(tau_s, 24.0)
    needle.turns(10, lambda _m: 10.0, 24.0)
    assert all(c is not None for c, _ in needle.turns(4, lambda m: 24.0 - 14.0 * math.exp(-m * 60 / 200), 24.0))
