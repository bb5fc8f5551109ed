"""Evidence: for each cause one function that looks for its mark in the account of a batch.

Each returns a Reading: how strong the mark is, at which step, in a sentence with the measured figure and the limit.
"unknown" means that the log cannot tell; "none" that it was looked for, with data, and not there. Thresholds come
from findings.toml, weak to strong.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from shared_schedule import plan as plans
from shared_schedule.units import NO_CDEG
from tourier.logbook import dose
from tourier.logbook.account import Account, StepAccount, dew_point_c, fault_records
from tourier.logbook.model import AIR, minutes_text
from tourier.logbook.numbers import Numbers

LEVELS = ("none", "weak", "moderate", "strong")
UNKNOWN = "unknown"


@dataclass(frozen=True)
class Reading:
    """What one evidence function found."""

    level: str
    sentence: str
    step: StepAccount | None = None

    @property
    def rank(self) -> int:
        """0 none or unknown, 1 weak, 2 moderate, 3 strong."""
        return LEVELS.index(self.level) if self.level in LEVELS else 0


def _unknown(sentence: str) -> Reading:
    return Reading(UNKNOWN, sentence)


def _grade(value: float, steps: list[float]) -> int:
    """Return 0..3 by thresholds that rise (more is worse) or fall (less is worse)."""
    rising = steps[-1] >= steps[0]
    return sum(1 for s in steps if (value >= s if rising else value <= s))


def _best(found: list[tuple[int, float, StepAccount, str]], nothing: str) -> Reading:
    """Return the strongest of (rank, size, step, sentence), or "none"."""
    if not found:
        return Reading("none", nothing)
    rank, _size, step, sentence = max(found, key=lambda item: (item[0], item[1]))
    return Reading(LEVELS[rank], sentence, step)


def _c(cdeg: int) -> float:
    return math.nan if cdeg == NO_CDEG else cdeg / 100.0


# --- butter and dough at lock-in ----------------------------------------------------------------------------------


def butter_too_cold(acc: Account, n: Numbers) -> Reading:
    """Butter under its window when it was enclosed: end of tempering, start of lock-in."""
    limits = n.evidence["butter-too-cold"]
    low = _c(acc.batch.plan.butter_low_cdeg)
    tempers, locks = acc.of_kind(plans.TEMPER), acc.of_kind(plans.LOCK_IN)
    if not tempers and not locks:
        return _unknown("neither tempering nor lock-in was logged")
    found = []
    looked = False
    for step in tempers + locks:
        reading = step.probe.end_c if step.step.kind == plans.TEMPER else step.probe.start_c
        if math.isnan(reading) or math.isnan(low):
            continue
        looked = True
        rank = _grade(low - reading, limits["below_window_c"])
        if rank:
            when = "at the end of" if step.step.kind == plans.TEMPER else "at the start of"
            found.append((rank, low - reading, step,
                          f"butter {reading:.1f} °C {when} {step.title}; window from {low:.1f} °C"))  # fmt: skip
    for step in tempers:
        rank = 0 if math.isnan(step.ratio) else _grade(step.ratio, limits["temper_share"])
        if rank and not step.probe.known:
            looked = True
            found.append((min(rank, 2), 0.0, step,
                          f"{step.title} took {minutes_text(step.lasted_s)} of {minutes_text(step.step.planned_for_s)} "
                          "and nothing was read"))  # fmt: skip
    if not looked:
        return _unknown("the probe gave no reading in the butter before lock-in")
    return _best(found, "the butter was in its window when it was enclosed")


def dough_too_cold(acc: Account, n: Numbers) -> Reading:
    """Butter tempered well, but the pâton under the window at lock-in or in the first fold: the dough chilled it."""
    steps = n.evidence["dough-too-cold"]["below_window_c"]
    firsts = [s for s in acc.of_kind(plans.LOCK_IN, plans.FOLD) if s.step.kind == plans.LOCK_IN or s.step.fold_n == 1]
    readable = [s for s in firsts if not math.isnan(s.probe.min_c) and not math.isnan(s.low_c)]
    if not readable:
        return _unknown("the probe gave no reading at lock-in and in the first fold")
    found = []
    for step in readable:
        deficit = step.low_c - step.probe.min_c
        rank = _grade(deficit, steps)
        if rank:
            # What the cold dough does shows in the first fold: that is where the butter breaks.
            fold = next((s for s in firsts if s.step.fold_n == 1 and s.step.paton == step.step.paton), step)
            found.append((rank, deficit, fold,
                          f"the pâton fell to {step.probe.min_c:.1f} °C at {step.title}, under {step.low_c:.1f} °C: "
                          "colder dough re-hardens tempered butter"))  # fmt: skip
    reading = _best(found, "the pâton was in the window at lock-in and in the first fold")
    if reading.rank and butter_too_cold(acc, n).rank >= 2:
        return Reading("weak", "the pâton was cold in the first fold, but so was the butter before it", reading.step)
    return reading


# --- bench and folds ----------------------------------------------------------------------------------------------


def warm_bench(acc: Account, n: Numbers) -> Reading:
    """Bench warmer than the plan believed, or dough warming fast in most folds."""
    limits = n.evidence["warm-bench"]
    folds = acc.of_kind(plans.LOCK_IN, plans.FOLD, plans.SHEET)
    room = _c(acc.batch.plan.room_cdeg)
    bench = [s for s in folds if not math.isnan(s.bench.mean_c)]
    rates = [s.probe.rate_c_min for s in folds if not math.isnan(s.probe.rate_c_min)]
    if not bench and len(rates) < 2:
        return _unknown("neither the bench nor the pâton was read while rolling")
    found = []
    if bench and not math.isnan(room):
        # A bench that was to be iced has to be colder than the room at lock-in; later it is on its way back.
        first = min(bench, key=lambda s: s.from_s or 0)
        iced = any(s.step.kind == plans.ICE and s.step.start_at_s <= first.planned_from_s for s in acc.steps)
        judged = [first] if iced else bench
        believed = room - limits["ice_lowers_c"] if iced else room
        worst = max(judged, key=lambda s: s.bench.mean_c)
        middle = float(np.median([s.bench.mean_c for s in judged]))
        rank = _grade(middle - believed, limits["above_believed_c"])
        if rank:
            what = "an iced bench" if iced else "a bench at room temperature,"
            found.append((rank, middle - believed, worst,
                          f"the bench stood at {middle:.1f} °C at {worst.title}; the plan counted on {what} of at "
                          f"most {believed:.1f} °C"))  # fmt: skip
    if len(rates) >= 2:
        usual = float(np.median(rates))
        rank = min(2, _grade(usual, limits["rate_c_min"]))  # a warm room alone warms the dough too
        if rank:
            fastest = max((s for s in folds if not math.isnan(s.probe.rate_c_min)), key=lambda s: s.probe.rate_c_min)
            found.append((rank, usual, fastest, f"the pâton warmed by {usual:.1f} °C a minute in most folds"))
    return _best(found, "the bench was as the plan believed and the pâton warmed slowly")


def slow_fold(acc: Account, n: Numbers) -> Reading:
    """One fold on the bench far longer than planned, and the pâton warm at its end."""
    limits = n.evidence["slow-fold"]
    folds = [s for s in acc.of_kind(plans.LOCK_IN, plans.FOLD) if not math.isnan(s.lasted_s)]
    if not folds:
        return _unknown("no fold was logged from start to end")
    found = []
    for step in folds:
        longer = step.lasted_s - step.step.planned_for_s
        rank = min(_grade(step.ratio, limits["times_planned"]), _grade(longer, limits["longer_s"]))
        if not rank:
            continue
        text = f"{step.title} took {minutes_text(step.lasted_s)} instead of {minutes_text(step.step.planned_for_s)}"
        if step.probe.known and not math.isnan(step.high_c):
            if step.probe.end_c < step.probe.start_c - 1.0:
                # It lay in the cold in between, as the timer asks when it is too warm.
                rank = 1
                text += f", but the pâton was chilled meanwhile ({step.probe.start_c:.1f} to {step.probe.end_c:.1f} °C)"
            elif step.probe.max_c > step.high_c:
                text += f" and the pâton reached {step.probe.max_c:.1f} °C (window to {step.high_c:.1f} °C)"
            else:
                # Slow, but the butter kept its window: hardly a cause.
                rank = min(rank, 2 if step.probe.max_c > step.high_c - 1.0 else 1)
                text += f", though the pâton stayed at or under {step.probe.max_c:.1f} °C"
        found.append((rank, longer, step, text))
    return _best(found, "no fold took much longer than planned")


def short_rest(acc: Account, n: Numbers) -> Reading:
    """A rest between folds ended well before its time and before the core was there."""
    limits = n.evidence["short-rest"]
    rests = [s for s in acc.of_kind(plans.REST) if not math.isnan(s.lasted_s)]
    if not rests:
        return _unknown("no rest was logged from start to end")
    found = []
    for step in rests:
        if step.ready_s is not None:
            continue  # its time, or its core and its minimum time, had been reached when it was ended
        target = _c(step.step.core_cdeg)
        end = step.probe.end_c
        reached = not math.isnan(target) and not math.isnan(end) and end <= target + 0.5
        whole = step.step.planned_for_s
        share = step.lasted_s / whole if whole else math.nan
        rank = 0 if math.isnan(share) else _grade(share, limits["share_of_planned"])
        if not rank:
            continue
        text = f"{step.title} lasted {minutes_text(step.lasted_s)} instead of {minutes_text(step.step.planned_for_s)}"
        if not math.isnan(target) and not math.isnan(end):
            if end > target + limits["core_above_target_c"]:
                text += f" and the core was still at {end:.1f} °C (target {target:.1f} °C)"
            elif reached:
                rank = min(rank, 2)
        found.append((rank, 1.0 - share, step, text))
    return _best(found, "every rest had its time")


def long_rest(acc: Account, n: Numbers) -> Reading:
    """A rest far over its time, so that the butter was hard at the next fold."""
    steps = n.evidence["long-rest"]["times_longest"]
    rests = [s for s in acc.of_kind(plans.REST) if not math.isnan(s.lasted_s)]
    if not rests:
        return _unknown("no rest was logged from start to end")
    found = []
    low = _c(acc.batch.plan.butter_low_cdeg)
    for step in rests:
        longest = max(step.step.max_s, int(1.5 * step.step.planned_for_s))
        times = step.lasted_s / longest if longest else math.nan
        rank = 0 if math.isnan(times) else _grade(times, steps)
        if not rank:
            continue
        text = f"{step.title} lasted {minutes_text(step.lasted_s)} instead of {minutes_text(step.step.planned_for_s)}"
        after = next_on_bench(acc, step)
        if after is not None and not math.isnan(after.probe.start_c) and not math.isnan(low):
            text += f"; {after.title} began at {after.probe.start_c:.1f} °C (window from {low:.1f} °C)"
        found.append((rank, times, step, text))
    return _best(found, "no rest was overdone")


def next_on_bench(acc: Account, step: StepAccount) -> StepAccount | None:
    """Return the next fold or sheet of the same pâton after a step."""
    if step.to_s is None:
        return None
    later = [s for s in acc.of_kind(plans.FOLD, plans.SHEET)
             if s.from_s is not None and s.from_s >= step.to_s and s.step.paton == step.step.paton]  # fmt: skip
    return min(later, key=lambda s: s.from_s or 0, default=None)


def warm_fridge(acc: Account, n: Numbers) -> Reading:
    """Rests that had their time and still left the core above its target."""
    steps = n.evidence["warm-fridge"]["core_above_target_c"]
    usable = [
        s for s in acc.of_kind(plans.REST)
        if not math.isnan(s.ratio) and s.ratio >= 0.9 and not math.isnan(s.probe.end_c) and s.step.core_cdeg != NO_CDEG
    ]  # fmt: skip
    if not usable:
        return _unknown("no rest that had its time was read by the probe")
    over = [(s.probe.end_c - _c(s.step.core_cdeg), s) for s in usable]
    middle = float(np.median([o for o, _ in over]))
    rank = _grade(middle, steps)
    worst = max(over, key=lambda item: item[0])[1]
    if not rank:
        return Reading("none", "rests that had their time brought the core to its target")
    target = _c(worst.step.core_cdeg)
    text = (
        f"after full rests the core was {middle:.1f} °C over its target "
        f"({worst.title}: {worst.probe.end_c:.1f} °C instead of {target:.1f} °C)"
    )
    return Reading(LEVELS[rank], text, worst)


def warm_shaping(acc: Account, n: Numbers) -> Reading:
    """Sheet, cut or shape above the temperature at which butter is absorbed."""
    steps = n.evidence["warm-shaping"]["above_stop_degmin"]
    stop = _c(acc.batch.plan.butter_stop_cdeg)
    usable = [s for s in acc.of_kind(plans.SHEET, plans.CUT, plans.SHAPE) if s.probe.known]
    if not usable or math.isnan(stop):
        return _unknown("the probe gave no reading while sheeting, cutting and shaping")
    found = []
    for step in usable:
        at_s, c = acc.readings(step)
        over = np.maximum(0.0, c - stop)
        dt = np.minimum(np.diff(at_s, append=at_s[-1:]), 60)
        degmin = float(np.sum(over * dt)) / 60.0
        rank = _grade(degmin, steps)
        if rank:
            found.append((rank, degmin, step, f"{step.title}: up to {step.probe.max_c:.1f} °C, above {stop:.1f} °C "
                          "the butter goes into the dough"))  # fmt: skip
    return _best(found, "sheeting, cutting and shaping stayed under the limit")


# --- proof --------------------------------------------------------------------------------------------------------


def hot_proof(acc: Account, n: Numbers) -> Reading:
    """Proof above the butter's cap: pieces that were, pieces that were heading there, or air the timer stood in."""
    limits = n.evidence["hot-proof"]
    cap = _c(acc.batch.plan.proof_cap_cdeg)
    found = []
    looked = False
    for step in acc.of_kind(plans.PROOF):
        limit = _c(step.step.air_max_cdeg) if step.step.air_max_cdeg != NO_CDEG else cap
        if math.isnan(limit):
            continue
        at_s, c = acc.readings(step)
        if len(c) >= 3:
            looked = True
            level = _held_above(at_s, c, limits["for_s"])
            rank = _grade(level - limit, limits["above_cap_c"])
            if rank:
                found.append((rank, level - limit, step,
                              f"the pieces stood at {level:.1f} °C or more for five minutes; the butter's cap is "
                              f"{limit:.1f} °C"))  # fmt: skip
            heading = heading_c(at_s, c)
            rank = _grade(heading - limit, limits["heading_above_cap_c"]) if not math.isnan(heading) else 0
            if rank:
                found.append((rank, heading - limit, step,
                              f"the pieces were heading for {heading:.1f} °C, so the air was about that; the "
                              f"butter's cap is {limit:.1f} °C"))  # fmt: skip
        air = _air_here(acc, step)
        if len(air) >= 3:
            looked = True
            level = _held_above(air[:, 0], air[:, 1], limits["for_s"])
            rank = _grade(level - limit, limits["above_cap_c"])
            if rank:
                found.append((rank, level - limit, step,
                              f"the air stood at {level:.1f} °C; the butter's cap is {limit:.1f} °C"))  # fmt: skip
    if not looked:
        return _unknown("nothing was read in the proof")
    return _best(found, "the proof stayed under the butter's cap")


def _air_here(acc: Account, step: StepAccount) -> np.ndarray:
    """Return (at_s, °C, humidity %) of the air during a step in the room the timer stands in; elsewhere none."""
    if step.step.place != plans.ROOM or step.from_s is None:
        return np.zeros((0, 3))
    until = step.to_s or acc.batch.last_at_s
    rows = [(r.at_s, r.body[0] / 100, r.body[1]) for r in acc.batch.records
            if r.type == AIR and step.from_s <= r.at_s <= until and r.body[0] != NO_CDEG]  # fmt: skip
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
            out.append((share, step, f"{step.title} gathered {share:.0%} of its dose ({minutes_text(step.lasted_s)} "
                        f"at {step.probe.mean_c:.1f} °C)"))  # fmt: skip
        elif not math.isnan(step.ratio):
            out.append((step.ratio, step, f"{step.title} took {minutes_text(step.lasted_s)} instead of "
                        f"{minutes_text(step.step.planned_for_s)}; the temperature is not known"))  # fmt: skip
    return out


def short_proof(acc: Account, n: Numbers) -> Reading:
    """Too little dose before the oven."""
    shares = _dose_share(acc)
    if not shares:
        return _unknown("no proof was logged from start to end")
    found = [(_grade(share, n.evidence["short-proof"]["share_of_dose"]), 1 - share, s, t) for share, s, t in shares]
    return _best([f for f in found if f[0]], "the proof had its dose")


def long_proof(acc: Account, n: Numbers) -> Reading:
    """Too much dose; when heat alone made it so, the heat is the cause."""
    shares = _dose_share(acc)
    if not shares:
        return _unknown("no proof was logged from start to end")
    found = [(_grade(share, n.evidence["long-proof"]["times_dose"]), share, s, t) for share, s, t in shares]
    reading = _best([f for f in found if f[0]], "the proof did not go on too long")
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
        rank = _grade(middle, n.evidence["dry-proof"]["below_rh_pct"])
        if rank:
            found.append((rank, -middle, step, f"the air in {step.title} was at {middle:.0f} % humidity"))
    if not looked:
        return _unknown("humidity in the proof was not read")
    return _best(found, "the air in the proof was moist enough")


# --- the rest -----------------------------------------------------------------------------------------------------


def condensation(acc: Account, n: Numbers) -> Reading:
    """Bench or cold dough under the dew point while the dough was worked."""
    limits = n.evidence["condensation"]
    worked = acc.of_kind(plans.LOCK_IN, plans.FOLD, plans.SHEET, plans.CUT)
    if not worked or not len(acc.dew_c) or np.isnan(acc.dew_c).all():
        return _unknown("the room's humidity is not known")
    at_s = acc.batch.samples.at_s
    wet_s = 0.0
    found = []
    # What the plan's own room and ice already meant was known and wiped away; more moisture than that is the finding.
    more = float(np.nanmedian(acc.dew_c)) - _planned_dew_c(acc)
    excess = max(1, _grade(more, limits["dew_above_plan_c"]))
    for step in worked:
        low, high = np.searchsorted(at_s, [step.from_s or 0, (step.to_s or acc.batch.last_at_s) + 1])
        if high - low < 2:
            continue
        dt = np.minimum(np.diff(at_s[low:high], append=at_s[high - 1 : high]), 60)
        wet_s += float(np.sum(dt[acc.batch.samples.bench_c[low:high] < acc.dew_c[low:high]]))
        dew_c = float(np.nanmedian(acc.dew_c[low:high]))
        rank = min(excess, _grade(wet_s, limits["bench_wet_s"]))
        if rank:
            found.append((rank, wet_s, step, f"the bench was under the dew point ({dew_c:.1f} °C) for "
                          f"{minutes_text(wet_s)} while dough was worked"))  # fmt: skip
        if step.probe.known:
            under = dew_c - step.probe.mean_c
            rank = min(excess, _grade(under, limits["dough_below_dew_c"]))
            if rank:
                found.append((rank, under / 100, step, f"the pâton was {under:.1f} °C under the room's dew point in "
                              f"{step.title}: its surface wets"))  # fmt: skip
    return _best(found, "neither bench nor pâton was far under the dew point")


def _planned_dew_c(acc: Account) -> float:
    """Dew point the plan believed in; far below everything when it names no humidity."""
    plan = acc.batch.plan
    if plan.room_cdeg == NO_CDEG or not plan.room_rh_pct:
        return -99.0
    return float(dew_point_c(plan.room_cdeg / 100, plan.room_rh_pct))


def probe_fault(acc: Account, n: Numbers) -> Reading:
    """The probe gave no reading in steps that need it."""
    steps = n.evidence["probe-fault"]["lost_s"]
    if not any(s.from_s is not None for s in acc.steps):
        return _unknown("no step was begun")
    if not len(acc.batch.samples):
        return Reading("strong", "the log holds no temperatures at all")
    needed = [s for s in acc.steps if s.from_s is not None and s.step.kind in
              (plans.TEMPER, plans.LOCK_IN, plans.FOLD, plans.REST, plans.SHEET, plans.SHAPE, plans.PROOF)]  # fmt: skip
    found = []
    for channel, from_s, to_s in acc.faults:
        for step in needed:
            shared = min(to_s, step.to_s or acc.batch.last_at_s) - max(from_s, step.from_s or 0)
            rank = _grade(shared, steps) if shared > 0 else 0
            if rank and channel == "probe":
                text = f"the probe gave no reading for {minutes_text(shared)} of {step.title}"
                found.append((rank, shared, step, text))
    if not found and fault_records(acc.batch):
        return Reading("weak", "the timer noted a sensor fault, but not while a reading was needed")
    return _best(found, "the probe read throughout")


def late_oven(acc: Account, n: Numbers) -> Reading:
    """The oven emptied late: bake far over its time."""
    limits = n.evidence["late-oven"]
    bakes = [s for s in acc.of_kind(plans.BAKE) if not math.isnan(s.lasted_s)]
    if not bakes:
        return _unknown("no bake was logged from start to end")
    found = []
    for step in bakes:
        longer = step.lasted_s - step.step.planned_for_s
        rank = min(_grade(step.ratio, limits["times_planned"]), _grade(longer, limits["longer_s"]))
        if rank:
            found.append((rank, longer, step, f"{step.title} took {minutes_text(step.lasted_s)} instead of "
                          f"{minutes_text(step.step.planned_for_s)}"))  # fmt: skip
    return _best(found, "the oven was emptied in time")


def early_fermentation(acc: Account, n: Numbers) -> Reading:
    """Yeast at work between lock-in and shaping: dose gathered before the proof."""
    wanted = max((s.step.dose_s for s in acc.steps if s.step.kind == plans.PROOF), default=0)
    locks, shapes = acc.of_kind(plans.LOCK_IN), acc.of_kind(plans.SHAPE)
    if not wanted:
        return Reading("none", "the plan has no proof")
    if not locks or not shapes or locks[0].from_s is None or shapes[-1].from_s is None:
        return _unknown("lock-in or shaping was not logged")
    part = acc.batch.samples.between(locks[0].from_s, shapes[-1].from_s)
    gathered = dose.gathered_s(acc.batch.plan, part.at_s.astype(float), part.probe_c)
    if math.isnan(gathered):
        return _unknown("the pâton was read too little between lock-in and shaping")
    rank = _grade(gathered / wanted, n.evidence["early-fermentation"]["dose_share"])
    if not rank:
        return Reading("none", "little fermentation before shaping")
    return Reading(LEVELS[rank], f"{gathered / wanted:.0%} of a proof's dose was gathered before shaping", shapes[0])


def missed_item(acc: Account, n: Numbers) -> Reading:
    """A tick (salt, egg wash, fold) passed over on purpose."""
    missed = [(s, text) for s in acc.steps if s.state == 2 for text, on in s.ticks if not on]
    if not missed:
        return Reading("none", "everything to be ticked was ticked")
    step, text = missed[0]
    return Reading("strong", f"{step.title} was ended with “{text}” not ticked", step)
