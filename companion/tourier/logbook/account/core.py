"""The pâton's core where the needle was elsewhere, lost or out: the fine heat model, driven by what was logged.

From the last reading on, the core is computed with `craft.heat` for the places the pâton lay in, the logged bench
temperature below it while it lay there, and many draws of what is uncertain (films, contact, thickness, material, air).
Where a reading comes again, every draw is bent to meet it in proportion to the time gone. The band is the middle 90 %
of the draws. It is an estimate and drawn as one; findings never rest on it.

Temperatures °C, times s.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared_schedule import plan as plans
from shared_schedule.slab import BENCH_RC, TRAY_PERCENT
from shared_schedule.units import NO_CDEG
from tourier.craft.heat import Face, Layer, Stack
from tourier.craft.properties import Material
from tourier.logbook.account.steps import Account, StepAccount
from tourier.logbook.record.model import Floats

DRAWS = 24
_GAP_S = 120.0  # shorter gaps are no news: the core of a pâton moves by a tenth of a degree
_LONGEST_S = 4 * 3600.0  # beyond, everything is at the air's temperature and the model adds nothing
_MODEL_C = 0.25  # what a one-dimensional model leaves out (edges, folds, the needle's place): standard deviation
_PLACED = (plans.LOCK_IN, plans.FOLD, plans.REST, plans.HOLD, plans.SHEET)


@dataclass(frozen=True)
class Estimate:
    """One stretch without readings of one pâton; columns of equal length."""

    paton: int
    at_s: Floats
    low_c: Floats
    middle_c: Floats
    high_c: Floats


def estimate(acc: Account, seed: int = 1) -> list[Estimate]:
    """Return the estimates of every pâton; empty where plan or log do not carry what the model needs."""
    plan = acc.batch.plan
    if not plan.laminate_k_mw or not plan.laminate_rc or plan.room_cdeg == NO_CDEG:
        return []
    out = []
    for paton in sorted({s.step.paton for s in acc.steps if s.step.paton}):
        steps = [s for s in acc.steps if s.step.paton == paton and s.step.kind in _PLACED and s.from_s is not None]
        out += _paton(acc, paton, sorted(steps, key=lambda s: s.from_s or 0), np.random.default_rng(seed + paton))
    return out


def _paton(acc: Account, paton: int, steps: list[StepAccount], rng: np.random.Generator) -> list[Estimate]:
    readings = [acc.readings(s) for s in steps]
    at_s = np.concatenate([r[0] for r in readings]) if readings else np.zeros(0)
    c = np.concatenate([r[1] for r in readings]) if readings else np.zeros(0)
    if len(at_s) < 2:
        return []
    out = []
    ends = float(max(s.to_s or acc.batch.last_at_s for s in steps))
    gaps = [(float(a), float(b), i) for i, (a, b) in enumerate(zip(at_s[:-1], at_s[1:], strict=True)) if b - a > _GAP_S]
    if ends - at_s[-1] > _GAP_S:
        gaps.append((float(at_s[-1]), min(ends, float(at_s[-1]) + _LONGEST_S), -1))
    for from_s, to_s, place in gaps:
        if to_s - from_s > _LONGEST_S and place >= 0:
            continue
        start_c = float(np.median(c[max(0, place - 4) : place + 1])) if place >= 0 else float(np.median(c[-5:]))
        # Half a minute after a needle was stuck in it reads the dough; bend the draws to that, not to the first value.
        met = None
        if place >= 0:
            late = (at_s >= to_s + 30) & (at_s <= to_s + 90)
            met = float(np.median(c[late])) if late.any() else float(c[place + 1])
        found = _stretch(acc, steps, from_s, to_s, start_c, met, rng)
        if found is not None:
            out.append(Estimate(paton, *found))
    return out


def _stretch(acc: Account, steps: list[StepAccount], from_s: float, to_s: float, start_c: float, met: float | None,
             rng: np.random.Generator) -> tuple[Floats, Floats, Floats, Floats] | None:  # fmt: skip
    """Run through the places of one gap; returns (at_s, low, middle, high) or None when no place is known."""
    plan = acc.batch.plan
    draw = {name: np.exp(rng.normal(0.0, share, DRAWS)) for name, share in
            (("film", 0.25), ("k", 0.08), ("rc", 0.08), ("thick", 0.06), ("contact", 0.3))}  # fmt: skip
    air_off = rng.normal(0.0, 0.8, DRAWS)
    material = Material(name="laminate", k=plan.laminate_k_mw / 1000, rho=1150.0, c=plan.laminate_rc * 1000.0 / 1150.0)
    profile: Floats | float = np.full(DRAWS, start_c)
    times, cores = [np.array([from_s])], [np.full((1, DRAWS), start_c)]
    now = from_s
    for step in [s for s in steps if (s.to_s or acc.batch.last_at_s) > from_s and (s.from_s or 0) < to_s]:
        until = min(to_s, float(step.to_s or acc.batch.last_at_s))
        if until - now < 10 or not step.step.thickness_um:
            continue
        stack = _stack(acc, step, now, material, profile, draw, air_off)
        if stack is None:
            continue
        history = stack.run(until - now, tol_k=0.02)
        layer = len(stack.layers) - 1
        core = history.trace(stack.weights(layer=layer, share=0.5))
        times.append(now + history.t_s[1:])
        cores.append(core[1:])
        profile = history.t_c[-1][:, stack.slices[layer]]
        now = until
    if now <= from_s:
        return None
    at_s, core = np.concatenate(times), np.concatenate(cores)
    share = (at_s - from_s) / (to_s - from_s)
    own = np.sqrt(share)
    if met is not None:
        core = core + np.outer(share, met - core[-1])
        own = np.sqrt(2.0 * np.minimum(share, 1.0 - share))
    low, middle, high = np.percentile(core, [5, 50, 95], axis=1)
    spare = 1.645 * _MODEL_C * own
    return at_s, middle - np.hypot(middle - low, spare), middle, middle + np.hypot(high - middle, spare)


def _stack(acc: Account, step: StepAccount, now: float, material: Material, profile, draw, air_off) -> Stack | None:
    plan = acc.batch.plan
    thickness = step.step.thickness_um * 1e-6 * draw["thick"]
    cells = 12
    place = step.step.place
    if np.ndim(profile) == 1:
        profile = _begun(acc, step, now, thickness, cells, profile, draw)
    dough = Layer(material, thickness, cells, profile, k_scale=draw["k"], rc_scale=draw["rc"])
    if place == plans.BENCH and plan.bench_effusivity and plan.bench_um:
        at_s, bench_c = acc.readings(step, bench=True)
        if not len(at_s):
            return None
        # The plate beside the pâton is as the bench was before the pâton came; its logged course drives the foot.
        begin = float(np.median(bench_c[:6]))
        stone = Material(name="bench", k=plan.bench_effusivity**2 / BENCH_RC, rho=2500.0, c=BENCH_RC / 2500.0)
        bench = Layer(stone, plan.bench_um * 1e-6, 6, begin, contact=700.0 * draw["contact"])
        room = plan.room_cdeg / 100 + air_off
        film = (plan.film_room_mw or 7700) / 1000 * draw["film"]

        def foot(t: float) -> Floats:
            return np.full(DRAWS, float(np.interp(now + t, at_s, bench_c)))

        return Stack([bench, dough], Face(6.0, foot), Face(film, room), DRAWS)
    around = _around(plan, place)
    if around is None:
        return None
    film = around[1] * draw["film"]
    air = around[0] + air_off
    return Stack([dough], Face(film * TRAY_PERCENT / 100, air), Face(film, air), DRAWS)


def _around(plan: plans.Plan, place: int) -> tuple[float, float] | None:
    """Return (air °C, film W/(m2 K)) of a place the pâton lies in on a tray, or None."""
    air_cdeg, film_mw = {
        plans.FRIDGE: (plan.fridge_cdeg, plan.film_fridge_mw), plans.FREEZER: (plan.freezer_cdeg, plan.film_freezer_mw),
        plans.ROOM: (plan.room_cdeg, plan.film_room_mw),
    }.get(place, (NO_CDEG, 0))  # fmt: skip
    return None if air_cdeg == NO_CDEG or not film_mw else (air_cdeg / 100, film_mw / 1000)


def _begun(acc: Account, step: StepAccount, now: float, thickness: Floats, cells: int, core_c: Floats, draw) -> Floats:
    """Return the profile at the gap's beginning, (draws, cells): in the cold for a while, the faces lead the core.

    First mode of a plate: the faces are ahead by about half the Biot number, as the timer's own model begins too.
    """
    around = _around(acc.batch.plan, step.step.place)
    if around is None or now - (step.from_s or 0) < 300:
        return np.repeat(core_c[:, None], cells, axis=1)
    half_biot = around[1] * draw["film"] * thickness / (4.0 * acc.batch.plan.laminate_k_mw / 1000 * draw["k"])
    lead = (around[0] - core_c) * half_biot / (1.0 + half_biot)
    away = np.abs(np.linspace(-1.0, 1.0, 2 * cells + 1)[1::2])
    return core_c[:, None] + lead[:, None] * away[None, :] ** 2


def for_report(acc: Account, spans, seed: int = 1) -> dict[int, list[Estimate]]:
    """Return the estimates by the number (from 1) of the stretch of time they fall in."""
    found = estimate(acc, seed)
    out: dict[int, list[Estimate]] = {}
    for number, span in enumerate(spans, 1):
        out[number] = [e for e in found if e.at_s[-1] > span.from_s and e.at_s[0] < span.to_s]
    return out
