"""Evidence of proof, oven, sensors, moisture and missed items; see `marks` for what a Reading is.

Thresholds come from findings.toml, weak to strong.
"""

from __future__ import annotations

import math

import numpy as np

from shared_schedule import journal as J
from shared_schedule import plan as plans
from shared_schedule import states
from shared_schedule.units import NO_CDEG
from tourier.logbook.account import traces
from tourier.logbook.account.probe import fault_spans
from tourier.logbook.account.steps import Account, StepAccount, dew_point_c
from tourier.logbook.findings.marks import LEVELS, Reading, best, degrees, grade, unknown
from tourier.logbook.findings.numbers import Numbers
from tourier.voice import span

# --- proof --------------------------------------------------------------------------------------------------------


def hot_proof(acc: Account, n: Numbers) -> Reading:
    """Proof above the butter's cap: pieces that were, pieces that were heading there, or air the timer stood in."""
    limits = n.evidence["hot-proof"]
    cap = degrees(acc.batch.plan.proof_cap_cdeg)
    found = []
    looked = False
    for step in acc.of_kind(plans.PROOF):
        limit = degrees(step.step.air_max_cdeg) if step.step.air_max_cdeg != NO_CDEG else cap
        if math.isnan(limit):
            continue
        at_s, c = acc.readings(step)
        if len(c) >= 3:
            looked = True
            level = _held_above(at_s, c, limits["for_s"])
            rank = grade(level - limit, limits["above_cap_c"])
            if rank:
                found.append((rank, level - limit, step,
                              f"the pieces stood at {acc.deg(level)} or more for five minutes; the butter's cap is "
                              f"{acc.deg(limit)}"))  # fmt: skip
            heading = heading_c(at_s, c)
            rank = grade(heading - limit, limits["heading_above_cap_c"]) if not math.isnan(heading) else 0
            if rank:
                found.append((rank, heading - limit, step,
                              f"the pieces were heading for {acc.deg(heading)}, so the air was about that; the "
                              f"butter's cap is {acc.deg(limit)}"))  # fmt: skip
        air = _air_here(acc, step)
        if len(air) >= 3:
            looked = True
            level = _held_above(air[:, 0], air[:, 1], limits["for_s"])
            rank = grade(level - limit, limits["above_cap_c"])
            if rank:
                found.append((rank, level - limit, step,
                              f"the air stood at {acc.deg(level)}; the butter's cap is {acc.deg(limit)}"))  # fmt: skip
    if not looked:
        return unknown("nothing was read in the proof")
    return best(found, "the proof stayed under the butter's cap")


def _air_here(acc: Account, step: StepAccount) -> np.ndarray:
    """Return (at_s, °C, humidity %) of the air during a step in the room the timer stands in; elsewhere none."""
    if step.step.place != plans.ROOM or step.from_s is None:
        return np.zeros((0, 3))
    until = step.to_s or acc.batch.last_at_s
    rows = [(r.at_s, r.body[0] / 100, r.body[1]) for r in acc.batch.records
            if r.type == J.AIR and step.from_s <= r.at_s <= until and r.body[0] != NO_CDEG]  # fmt: skip
    return np.array(rows, float).reshape(-1, 3)


def heading_c(at_s: np.ndarray, c: np.ndarray) -> float:
    """Return the temperature a warming piece was heading for: the air around it. NaN when the log cannot tell.

    Fits c = T - A exp(-t / tau) after the first quarter; believed once the piece has gone six tenths of the way.
    """
    if len(c) < 40 or at_s[-1] - at_s[0] < 2400:
        return math.nan
    t = (at_s - at_s[0])[len(c) // 4 :: max(1, len(c) // 200)]
    y = c[len(c) // 4 :: max(1, len(c) // 200)]
    best = (math.inf, math.nan)
    for tau in np.geomspace(900.0, 30000.0, 60):
        shape = np.column_stack([np.ones_like(t), -np.exp(-t / tau)])
        solved, *_ = np.linalg.lstsq(shape, y, rcond=None)
        error = float(np.median(np.abs(shape @ solved - y)))
        if error < best[0] and solved[1] > 0:
            best = (error, float(solved[0]))
    heading = best[1]
    gone = (float(np.median(c[-5:])) - float(c[0])) / (heading - float(c[0])) if heading > c[0] else 0.0
    return heading if 0.6 <= gone <= 1.05 else math.nan


def _held_above(at_s: np.ndarray, c: np.ndarray, for_s: float) -> float:
    """Return the highest temperature that was exceeded for at least for_s in all (time need not be in one piece)."""
    dt = np.minimum(np.diff(at_s, append=at_s[-1:]), 120.0)
    order = np.argsort(c)[::-1]
    held = np.cumsum(dt[order])
    place = int(np.searchsorted(held, for_s))
    return float(c[order][min(place, len(c) - 1)])


def _dose_share(acc: Account) -> list[tuple[float, StepAccount, str]]:
    """Return (share of the dose wanted, step, text) for every proof that ended."""
    out = []
    for step in acc.of_kind(plans.PROOF):
        if math.isnan(step.lasted_s):
            continue
        if step.step.dose_s and not math.isnan(step.dose_s):
            share = step.dose_s / step.step.dose_s
            mean = f"the dough at {acc.deg(step.probe.mean_c)} on the whole"
            out.append((share, step, f"{step.title} came to {share * 100:.0f} % of a full proof "
                        f"({span(step.lasted_s)}, {mean})"))  # fmt: skip
        elif not math.isnan(step.ratio):
            out.append((step.ratio, step, f"{step.title} took {span(step.lasted_s)} instead of "
                        f"{span(step.step.planned_for_s)}; the temperature is not known"))  # fmt: skip
    return out


def short_proof(acc: Account, n: Numbers) -> Reading:
    """The pieces went into the oven before a full proof, by warmth and time."""
    shares = _dose_share(acc)
    if not shares:
        return unknown("no proof was logged from start to end")
    found = [(grade(share, n.evidence["short-proof"]["share_of_dose"]), 1 - share, s, t) for share, s, t in shares]
    return best([f for f in found if f[0]], "the proof was full")


def long_proof(acc: Account, n: Numbers) -> Reading:
    """Proofed on after a full proof, by warmth and time; when heat alone made it so, the heat is the cause."""
    shares = _dose_share(acc)
    if not shares:
        return unknown("no proof was logged from start to end")
    found = [(grade(share, n.evidence["long-proof"]["times_dose"]), share, s, t) for share, s, t in shares]
    reading = best([f for f in found if f[0]], "the proof did not go on too long")
    if reading.step is not None and reading.step.ratio < 1.15 and hot_proof(acc, n).rank >= 2:
        return Reading("weak", reading.sentence + ", but in the time planned: the heat did it", reading.step)
    return reading


def dry_proof(acc: Account, n: Numbers) -> Reading:
    """Dry air in a proof in the room, where the timer carries a humidity sensor."""
    found = []
    looked = False
    for step in acc.of_kind(plans.PROOF):
        air = _air_here(acc, step)
        if len(air) < 3:
            continue
        looked = True
        middle = float(np.median(air[:, 2]))
        rank = grade(middle, n.evidence["dry-proof"]["below_rh_pct"])
        if rank:
            found.append((rank, -middle, step, f"the air in {step.title} was at {middle:.0f} % humidity"))
    if not looked:
        return unknown("humidity in the proof was not read")
    return best(found, "the air in the proof was moist enough")


# --- the rest -----------------------------------------------------------------------------------------------------


def condensation(acc: Account, n: Numbers) -> Reading:
    """Bench or cold dough under the dew point while the dough was worked."""
    limits = n.evidence["condensation"]
    worked = acc.of_kind(plans.LOCK_IN, plans.FOLD, plans.SHEET, plans.CUT)
    if not worked or not len(acc.dew_c) or np.isnan(acc.dew_c).all():
        return unknown("the room's humidity is not known")
    at_s = acc.batch.samples.at_s
    wet_s = 0.0
    found = []
    # What the plan's own room and ice already meant was known and wiped away; more moisture than that is the finding.
    more = float(np.nanmedian(acc.dew_c)) - _planned_dew_c(acc)
    excess = max(1, grade(more, limits["dew_above_plan_c"]))
    for step in worked:
        low, high = np.searchsorted(at_s, [step.from_s or 0, (step.to_s or acc.batch.last_at_s) + 1])
        if high - low < 2:
            continue
        dt = np.minimum(np.diff(at_s[low:high], append=at_s[high - 1 : high]), 60)
        wet_s += float(np.sum(dt[acc.batch.samples.bench_c[low:high] < acc.dew_c[low:high]]))
        dew_c = float(np.nanmedian(acc.dew_c[low:high]))
        rank = min(excess, grade(wet_s, limits["bench_wet_s"]))
        if rank:
            found.append((rank, wet_s, step, f"the bench was under the dew point ({acc.deg(dew_c)}) for "
                          f"{span(wet_s)} while dough was worked"))  # fmt: skip
        if step.probe.known:
            under = dew_c - step.probe.mean_c
            rank = min(excess, grade(under, limits["dough_below_dew_c"]))
            if rank:
                below = acc.said.difference(under)
                found.append((rank, under / 100, step, f"the pâton was {below} under the room's dew point in "
                              f"{step.title}: its surface wets"))  # fmt: skip
    return best(found, "neither bench nor pâton was far under the dew point")


def _planned_dew_c(acc: Account) -> float:
    """Dew point the plan believed in; far below everything when it names no humidity."""
    plan = acc.batch.plan
    if plan.room_cdeg == NO_CDEG or not plan.room_rh_pct:
        return -99.0
    return float(dew_point_c(plan.room_cdeg / 100, plan.room_rh_pct))


def probe_fault(acc: Account, n: Numbers) -> Reading:
    """The probe gave no reading in steps that need it; a needle out of the dough counts little, and only in folds."""
    steps = n.evidence["probe-fault"]["lost_s"]
    if not any(s.from_s is not None for s in acc.steps):
        return unknown("no step was begun")
    if not len(acc.batch.samples):
        return Reading("strong", "the log holds no temperatures at all")
    found = []
    for step in acc.of_kind(*_NEED_THE_PROBE):
        lost_s, out_s = _without_reading(acc, step)
        rank = grade(lost_s, steps)
        if rank:
            found.append((rank, lost_s, step, f"the probe gave no reading for {span(lost_s)} of {step.title}"))
        elif out_s >= steps[-1] and step.step.kind in _UNDER_THE_PIN:
            found.append((1, out_s, step, f"the probe was out of the dough for {span(out_s)} of {step.title}"))
    if not found and fault_spans(acc.batch, 1):
        return Reading("weak", "the timer noted a fault of the probe, but not while a reading was needed")
    return best(found, "the probe read whenever it was in the dough")


_UNDER_THE_PIN = (plans.LOCK_IN, plans.FOLD, plans.SHEET)
_NEED_THE_PROBE = (*_UNDER_THE_PIN, plans.TEMPER, plans.REST, plans.SHAPE, plans.PROOF)


def _without_reading(acc: Account, step: StepAccount) -> tuple[float, float]:
    """Return (seconds at fault, seconds with the needle out of the dough) of one step."""
    lost_s = out_s = 0.0
    for gap in acc.gaps:
        shared = min(gap.to_s, step.to_s or acc.batch.last_at_s) - max(gap.from_s, step.from_s or 0)
        if gap.channel == "probe" and shared > 0:
            lost_s, out_s = (lost_s + shared, out_s) if gap.broken else (lost_s, out_s + shared)
    return lost_s, out_s


def late_oven(acc: Account, n: Numbers) -> Reading:
    """The oven emptied late: bake far over its time."""
    limits = n.evidence["late-oven"]
    bakes = [s for s in acc.of_kind(plans.BAKE) if not math.isnan(s.lasted_s)]
    if not bakes:
        return unknown("no bake was logged from start to end")
    found = []
    for step in bakes:
        longer = step.lasted_s - step.step.planned_for_s
        rank = min(grade(step.ratio, limits["times_planned"]), grade(longer, limits["longer_s"]))
        if rank:
            found.append((rank, longer, step, f"{step.title} took {span(step.lasted_s)} instead of "
                          f"{span(step.step.planned_for_s)}"))  # fmt: skip
    return best(found, "the oven was emptied in time")


def early_fermentation(acc: Account, n: Numbers) -> Reading:
    """Yeast at work between lock-in and shaping, as a share of a full proof."""
    wanted = max((s.step.dose_s for s in acc.steps if s.step.kind == plans.PROOF), default=0)
    locks, shapes = acc.of_kind(plans.LOCK_IN), acc.of_kind(plans.SHAPE)
    if not wanted:
        return Reading("none", "the plan has no proof")
    if not locks or not shapes or locks[0].from_s is None or shapes[-1].from_s is None:
        return unknown("lock-in or shaping was not logged")
    part = acc.batch.samples.between(locks[0].from_s, shapes[-1].from_s)
    gathered = traces.gathered_s(acc.batch.plan, part.at_s.astype(float), part.probe_c)
    if math.isnan(gathered):
        return unknown("the pâton was read too little between lock-in and shaping")
    rank = grade(gathered / wanted, n.evidence["early-fermentation"]["dose_share"])
    if not rank:
        return Reading("none", "little fermentation before shaping")
    return Reading(LEVELS[rank], f"the yeast had done {gathered / wanted * 100:.0f} % of a full proof before shaping",
                   shapes[0])  # fmt: skip


def missed_item(acc: Account, n: Numbers) -> Reading:
    """A tick (salt, egg wash, fold) passed over on purpose."""
    missed = [(s, text) for s in acc.steps if s.state == states.DONE for text, on in s.ticks if not on]
    if not missed:
        return Reading("none", "everything to be ticked was ticked")
    step, text = missed[0]
    return Reading("strong", f"{step.title} was ended with “{text}” not ticked", step)
