"""The foreign day written down as a timer would: presses that come late or not at all, a needle, a clock, a stream."""

from __future__ import annotations

import numpy as np

from shared_schedule import journal as J
from shared_schedule import plan as P
from shared_schedule import states as S
from shared_schedule.plan_writer import encode_plan
from shared_schedule.samples import SampleWriter
from shared_schedule.units import NO_CDEG

LOG_EVERY_S = 10


def presses(cook) -> list[tuple[float, int, int, int, int]]:
    """Return (at_s, step id, from, to, cause) as pressed, in order of time."""
    rng, spoiled = cook.rng, cook.spoiled
    share = 0.3 if spoiled == "late presses" else 0.04
    missing = 0.25 if spoiled == "missing presses" else 0.02
    pressed: dict[int, list[float]] = {}
    order = sorted(cook.real.items(), key=lambda item: item[1][0])
    for step_id, (from_s, _ready, to_s, _cause) in order:
        pressed[step_id] = [from_s + rng.uniform(1, 10), to_s + rng.uniform(1, 10)]
    chain = [i for i, _ in order if cook.of[i].kind not in (P.ICE, P.BLOCK, P.TEMPER, P.PREHEAT)]
    for step_id, following in zip(chain, [*chain[1:], 0], strict=True):
        if rng.random() < share:  # "done" pressed minutes late: the next one begins with it
            late = rng.uniform(180, 1200)
            pressed[step_id][1] += late
            if following:
                pressed[following][0] = max(pressed[following][0], pressed[step_id][1] + 2)
        if following and rng.random() < missing:  # never pressed "start": it begins and ends in one go
            pressed[following][0] = pressed[following][1] - rng.uniform(0, 4)
    for step_id, following in zip(chain, [*chain[1:], 0], strict=True):
        pressed[step_id][1] = max(pressed[step_id][1], pressed[step_id][0])
        if following:
            pressed[following][0] = max(pressed[following][0], pressed[step_id][1])
    for step_id in chain:  # a rest that was put down late
        pressed[step_id][1] = max(pressed[step_id])
    out = []
    for step_id, (_from, ready, _to, cause) in order:
        start, end = pressed[step_id]
        step = cook.of[step_id]
        itself = S.runs_itself(step)
        out.append((start, step_id, S.WAITING, S.RUNNING, S.BY_BUTTON))
        # The timer counts from the press.
        if itself and ready is not None and ready + (start - cook.real[step_id][0]) < end:
            by = S.BY_PROBE if step.ends_by == P.BY_CORE else S.BY_PROOF if step.ends_by == P.BY_DOSE else S.BY_CLOCK
            at_s = max(ready, start + step.min_s) if step.ends_by == P.BY_CORE else ready + start - _from
            at_s = min(max(at_s, start), end)
            out.append((at_s, step_id, S.RUNNING, S.READY, by))
            out.append((end, step_id, S.READY, S.DONE, S.BY_BUTTON))
        else:
            out.append((end, step_id, S.RUNNING, S.DONE, S.BY_EARLY if itself else cause))
    return sorted(out, key=lambda p: (round(p[0]), p[3]))


def needle(cook, at_s: np.ndarray) -> np.ndarray:
    """Return what the probe's channel holds at the instants: lagging, off, noisy; NaN while it is moved."""
    k, rng, spoiled = cook.k, cook.rng, cook.spoiled
    c = np.full(len(at_s), np.nan)
    for from_s, to_s, body in cook.needle:
        t, seen = body.series("seen_c")
        here = (at_s >= from_s) & (at_s <= to_s)
        c[here] = np.interp(at_s[here], t, seen)
    if spoiled == "needle on the bench":
        t, stone = k.stone()
        c = 0.5 * np.interp(at_s, t, stone) + 0.5 * k.air("room", at_s)
    if spoiled == "needle in the fridge":
        c = np.asarray(k.air("fridge", at_s))
    out = np.full(len(c), np.nan)
    last = np.nan
    gain = 1.0 - np.exp(-LOG_EVERY_S / k.lag_s)
    for i, value in enumerate(c):
        last = value if np.isnan(last) or np.isnan(value) else last + gain * (value - last)
        out[i] = last
    noise, offset = 0.03, rng.normal(0.0, 0.2)
    if spoiled == "noisy":
        noise = rng.uniform(1.0, 2.5)
    if spoiled == "offset":
        offset = float(rng.choice([-1, 1])) * rng.uniform(2.5, 5.0)
    out = out + offset + rng.normal(0.0, noise, len(out))
    if spoiled == "stuck":
        folds = [cook.real[s.step_id][0] for s in cook.plan.steps if s.kind in (P.LOCK_IN, P.REST)]
        from_s = float(rng.choice(sorted(folds)[:3]))
        held = (at_s >= from_s + 200) & (at_s <= from_s + rng.uniform(2, 5) * 3600)
        if held.any():
            out[held] = out[np.flatnonzero(held)[0]]
    if rng.random() < 0.5:  # now and then one wild or missing reading
        for i in rng.integers(0, len(out), 6):
            out[i] = np.nan if rng.random() < 0.6 else out[i] + rng.uniform(-4, 4)
    return out


def write_log(cook) -> tuple[bytes, bytes]:
    """Return (journal, temperatures) in their documented octets."""
    plan, k, rng, spoiled = cook.plan, cook.k, cook.rng, cook.spoiled
    raw = encode_plan(plan)
    steps = presses(cook)
    end_s = steps[-1][0] + 60
    events: list[tuple[float, int, tuple]] = [
        (plan.made_at_s + 1, J.FORMAT, (2,)), (plan.made_at_s + 1, J.BOOT, (0, 1, 0, 1, 0)),
        (plan.made_at_s + 2, J.PLAN, (P.plan_id(raw), len(raw))),
    ]  # fmt: skip
    events += [(at, J.STEP, (i, old, new, cause)) for at, i, old, new, cause in steps]
    ended = {step_id: at for at, step_id, _old, new, _cause in steps if new == S.DONE}
    for step in plan.steps:
        events += [(ended[step.step_id] - 1, J.TICK, (step.step_id, n, 1)) for n in range(len(step.ticks))]
    if rng.random() < 0.85:
        t = np.arange(plan.made_at_s + 60, end_s, 600.0)
        moist = int(np.clip((k.humidity + rng.normal(0, 0.02)) * 100, 5, 99))
        events += [(at, J.AIR, (round(float(k.air("room", at)) * 100), moist)) for at in t]
    at_s = np.arange(plan.made_at_s + 5, end_s, LOG_EVERY_S).astype(float)
    probe = needle(cook, at_s)
    t, stone = k.stone()
    bench = np.interp(at_s, t, stone) + rng.normal(0, 0.03, len(at_s))
    if cook.fault == "probe-fault":
        rests = [s for s in plan.steps if s.kind in (P.REST, P.FOLD) and s.fold_n]
        pick = rests[int(rng.integers(0, len(rests)))]
        begin = cook.real[pick.step_id][0] + 40
        until = begin + rng.uniform(900, 2700) * cook.s
        probe[(at_s >= begin) & (at_s <= until)] = np.nan
        events += [(begin + 5, J.FAULT, (1, 1)), (until + 5, J.FAULT, (1, 0))]
        cook.fold = pick.fold_n
    lost = np.zeros(len(at_s), bool)
    if spoiled == "power gap":
        begin = cook.real[cook.one(P.FOLD, 2).step_id][0] - rng.uniform(0, 1500)
        lost = (at_s >= begin) & (at_s <= begin + rng.uniform(1200, 4800))
        back = float(at_s[lost][-1])
        events = [e for e in events if not begin <= e[0] <= back or e[1] == J.FORMAT]
        events.append((back + 3, J.BOOT, (1, 1, 0, 1, 0)))
    events.sort(key=lambda e: e[0])
    shift = np.zeros(len(at_s))
    jump_at, by = float("inf"), 0.0
    if spoiled in ("clock set back", "clock set forward"):
        by = (-1 if spoiled == "clock set back" else 1) * rng.uniform(1800, 5400)
        inner = [cook.real[s.step_id] for s in plan.steps if s.kind in (P.REST, P.FOLD, P.PROOF, P.HOLD)]
        one = inner[int(rng.integers(0, len(inner)))]
        jump_at = rng.uniform(one[0] + 20, max(one[0] + 30, one[2] - 20))
        shift[at_s >= jump_at] = by
    journal = bytearray()
    jumped = by == 0.0
    seq = 1
    for at, kind, body in events:
        if not jumped and at >= jump_at:
            journal += J.encode(J.CLOCK, seq, int(jump_at + by), int(jump_at), int(jump_at + by))
            seq, jumped = seq + 1, True
        journal += J.encode(kind, seq, int(round(at + (by if at >= jump_at else 0.0))), *body)
        seq += 1
    writer = SampleWriter(LOG_EVERY_S)
    samples = bytearray()

    def cdeg(c: float) -> int:
        return NO_CDEG if np.isnan(c) else int(round(c * 100))

    for i in np.flatnonzero(~lost):
        row = (cdeg(bench[i]), cdeg(probe[i]))
        when = int(at_s[i] + shift[i])
        if not writer.add(when, row):
            samples += bytes(writer.block())
            writer.add(when, row)
    samples += bytes(writer.block())
    return bytes(journal), bytes(samples)
