"""How long before dough leaves its window the timer warns, on the real firmware in the virtual kitchen. -m bench -s.

Counted is every time that a needle in dough under the hands left the window over either edge. Physics allows a warning
of a minute when the dough was seen inside the window for a minute and a half before, going towards the edge: the needle
settles first, and dough that comes out of the fridge onto a hot bench is not on its way there before it lies on it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import pytest
from tourier.batch import examples
from tourier.known import Lessons
from tourier.rehearsal import rehearse

from shared_schedule import journal as J
from shared_schedule import plan as P
from shared_schedule import samples
from shared_schedule.units import NO_CDEG

pytestmark = pytest.mark.bench
DAYS = (("good", 1), ("warm-bench", 1), ("warm-third-fold", 2), ("cold-lock-in", 3))
WANTED_S = 60
SETTLED_S = 90
SEEN = 3  # samples outside before the firmware says "left", so that a needle may settle


@dataclass(frozen=True)
class Leaving:
    """One leaving of the window: for how long dough had been inside, since when it was on its way to the edge (its
    last reading furthest from it), and how long before there was a warning (s).
    """

    step: str
    side: str
    inside_s: int
    going_s: int
    warned_s: int | None

    @property
    def possible(self) -> bool:
        return min(self.inside_s, self.going_s) >= SETTLED_S


def leavings(plan: P.Plan, records: list, pairs: list[tuple[int, int]]) -> list[Leaving]:
    """Every leaving that the firmware called, against its own log of temperatures."""
    found = []
    started: dict[int, int] = {}
    warned: dict[int, int] = {}
    for record in records:
        if record.type == J.STEP:
            started[record.body[0]] = record.at_s
            warned.pop(record.body[0], None)
        elif record.type == J.ALARM and record.body[0] == J.WINDOW_SOON:
            warned.setdefault(record.body[1], record.at_s)
        elif record.type == J.ALARM and record.body[0] in (J.WINDOW_LEFT_WARM, J.WINDOW_LEFT_COLD):
            step = plan.steps[plan.index_of(record.body[1])]
            left_s = record.at_s - 5 * (SEEN - 1)
            warm = record.body[0] == J.WINDOW_LEFT_WARM
            inside_s = going_s = 0
            furthest = None
            for at_s, cdeg in reversed([pair for pair in pairs if started[step.step_id] <= pair[0] < left_s]):
                if cdeg == NO_CDEG or not step.low_cdeg <= cdeg <= step.high_cdeg:
                    break
                inside_s = left_s - at_s
                if furthest is None or (cdeg < furthest if warm else cdeg > furthest):
                    furthest, going_s = cdeg, inside_s
            said = warned.pop(step.step_id, None)
            side = "warm" if warm else "cold"
            found.append(Leaving(step.name, side, inside_s, going_s, None if said is None else left_s - said))
    return found


@pytest.mark.cpu(1500)
def test_warned_a_minute_before_where_physics_allows(tmp_path):
    told = []
    soon = 0
    for name, seed in DAYS:
        kept: Path = tmp_path / f"{name}{seed}"
        text = examples.demo_text()
        rehearse(text, "demo", datetime(2027, 3, 12, 16, 0).astimezone(), Lessons(), name, seed, kept, lambda *_: None)
        plan = P.decode((kept / "plan.bin").read_bytes())
        records = list(J.read((kept / "journal.bin").read_bytes()))
        pairs = [(pair[0], pair[2]) for pair in samples.read_blocks((kept / "samples.bin").read_bytes())]
        soon += sum(record.type == J.ALARM and record.body[0] == J.WINDOW_SOON for record in records)
        for leaving in leavings(plan, records, pairs):
            told.append(leaving)
            print(f"{name:16} {leaving.step:22} {leaving.side} after {leaving.inside_s:4} s inside, warned "
                  f"{'not' if leaving.warned_s is None else leaving.warned_s} s before")  # fmt: skip
    possible = [leaving for leaving in told if leaving.possible]
    good = [leaving for leaving in possible if leaving.warned_s is not None and leaving.warned_s >= WANTED_S]
    print(f"\n{len(told)} leavings, {len(possible)} after {SETTLED_S} s inside; {len(good)} of those warned of "
          f"{WANTED_S} s before or more; {soon} warnings in all")  # fmt: skip
    assert len(possible) >= 5
    assert len(good) >= 0.9 * len(possible)
