"""Refusals of whole days, confirmed by a second reckoning that shares nothing with the planner but the rules.

Of one pâton's day only the main chain is kept, from the mixing to the cooling: butter block, tempering, preheating and
all places are left out. For every step the minutes at which it may start and end are carried forward as sets. What the
chain alone cannot do, the whole day cannot: so an empty last set proves the refusal, and a plan must never meet one.
"""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
from checker import away_seconds, faults
from days import at, workup
from test_plan_days import NOW, wish
from tourier.dayplan import Impossible, plan_days

from shared_schedule import plan as wire

FRESH_MIN = 180  # "ready at the hour" is not ready four hours before: the planner's own rule, said in its words


def chain_of(steps):
    """Steps of the main chain in order: from the last one back through the predecessor that has the longest past."""
    by_key = {s.key: s for s in steps}
    past: dict[str, float] = {}

    def weight(key):
        if key not in past:
            past[key] = by_key[key].min_s + max((weight(b) for b in by_key[key].after), default=0.0)
        return past[key]

    chain = ["cool"]
    while by_key[chain[-1]].after:
        chain.append(max(by_key[chain[-1]].after, key=weight))
    return [by_key[key] for key in reversed(chain)]


def shifted(ready, low, high):
    """The minutes reached from a set of minutes by adding low..high minutes."""
    sums = np.concatenate([[0], np.cumsum(ready)])
    at = np.arange(len(ready))
    top, bottom = np.clip(at - low + 1, 0, len(ready)), np.clip(at - high, 0, len(ready))
    return sums[top] > sums[np.minimum(bottom, top)]


def chain_fits(s, steps) -> bool:
    """Whether the main chain alone can end within three hours before the hour."""
    last = int((s.wished_at - NOW).total_seconds()) // 60
    asleep = np.zeros(last + 1)
    for begin, end in away_seconds(s, NOW, s.wished_at):
        a, b = (begin - NOW.timestamp()) / 60, (end - NOW.timestamp()) / 60
        asleep[max(0, int(a)) : max(0, int(np.ceil(b)))] = 1
    slept = np.concatenate([[0], np.cumsum(asleep)])
    at = np.arange(last + 1)
    ends, before = np.ones(last + 1, dtype=bool), None
    for one in chain_of(steps):
        low, high = (one.min_s // 60, one.max_s // 60) if one.flexible else (one.ideal_s // 60,) * 2
        wait = one.after_max_s.get(before, last * 60) // 60 if before else 0
        starts = shifted(ends, 0, wait) if before else ends
        watched = low if one.kind in (wire.PREHEAT, wire.BAKE) and not one.flexible else one.attended_s // 60
        starts = starts & (slept[np.minimum(at + watched, last + 1)] == slept[at])
        ends, before = shifted(starts, low, high), one.key
    return bool(ends[max(0, last - FRESH_MIN) :].any())


def compared(count: int, seed: int) -> dict[str, int]:
    rng = random.Random(seed)
    table = {"planned": 0, "refused": 0, "confirmed": 0}
    while table["planned"] + table["refused"] < count:
        s, steps = wish(rng)
        if rng.random() < 0.6:  # within a day and a night of now: tight
            s = replace(s, wished_at=at(14, rng.randint(6, 20), 30))
        if max(step.paton for step in steps) > 1:
            continue
        fits = chain_fits(s, steps)
        try:
            plan = plan_days(s, workup(s, steps), NOW, chance=False)
        except Impossible as refusal:
            assert "nor a proof" not in refusal.sentence
            table["refused"] += 1
            table["confirmed"] += not fits
            continue
        assert fits, (s.wished_at, s.away)  # a plan where even the chain cannot be: one of the two is wrong
        assert faults(plan, NOW) == []
        table["planned"] += 1
    return table


def test_refusals_of_whole_days_are_confirmed_by_reach():
    table = compared(30, 5)
    print(f"\none pâton, {table}")
    assert table["planned"] >= 5 and table["refused"] >= 5
    assert table["confirmed"] >= 0.8 * table["refused"]  # the others need the places, which the chain leaves out


def test_the_reach_is_no_rubber_stamp():
    """An hour later or earlier the same chain fits or not: it really looks at the hours."""
    rng = random.Random(11)
    seen = {chain_fits(*wish(rng)) for _ in range(40)}
    assert seen == {True, False}
