"""Evidence of butter, bench, folds and rests in the account of a batch; see `marks` for what a Reading is.

Thresholds come from findings.toml, weak to strong. Proof, oven and the rest: `evidence_late`.
"""

from __future__ import annotations

import math

import numpy as np

from shared_schedule import plan as plans
from shared_schedule.units import NO_CDEG
from tourier.logbook.account import kitchen
from tourier.logbook.account.steps import Account, StepAccount
from tourier.logbook.findings.marks import Reading, best, degrees, grade, unknown
from tourier.logbook.findings.numbers import Numbers
from tourier.voice import span

# --- butter and dough at lock-in ----------------------------------------------------------------------------------


def butter_too_cold(acc: Account, n: Numbers) -> Reading:
    """Butter under its window when it was enclosed: end of tempering, start of lock-in."""
    limits = n.evidence["butter-too-cold"]
    low = degrees(acc.batch.plan.butter_low_cdeg)
    tempers, locks = acc.of_kind(plans.TEMPER), acc.of_kind(plans.LOCK_IN)
    if not tempers and not locks:
        return unknown("neither tempering nor lock-in was logged")
    found = []
    looked = False
    for step in tempers + locks:
        reading = step.probe.at_end_c if step.step.kind == plans.TEMPER else step.probe.at_start_c
        if math.isnan(reading) or math.isnan(low):
            continue
        looked = True
        rank = grade(low - reading, limits["below_window_c"])
        if rank:
            when = "at the end of" if step.step.kind == plans.TEMPER else "at the start of"
            found.append((rank, low - reading, step,
                          f"butter {acc.deg(reading)} {when} {step.title}; window from {acc.deg(low)}"))  # fmt: skip
    for step in tempers:
        rank = 0 if math.isnan(step.ratio) else grade(step.ratio, limits["temper_share"])
        if rank and not step.probe.known:
            looked = True
            found.append((min(rank, 2), 0.0, step,
                          f"{step.title} took {span(step.lasted_s)} of {span(step.step.planned_for_s)} "
                          "and nothing was read"))  # fmt: skip
    if not looked:
        return unknown("the probe gave no reading in the butter before lock-in")
    return best(found, "the butter was in its window when it was enclosed")


def butter_too_warm(acc: Account, n: Numbers) -> Reading:
    """Butter over its window when it was enclosed: end of tempering, start of lock-in."""
    limits = n.evidence["butter-too-warm"]["above_window_c"]
    high = degrees(acc.batch.plan.butter_high_cdeg)
    found = []
    looked = False
    for step in acc.of_kind(plans.TEMPER, plans.LOCK_IN):
        tempering = step.step.kind == plans.TEMPER
        reading = step.probe.at_end_c if tempering else step.probe.at_start_c
        if math.isnan(reading) or math.isnan(high):
            continue
        looked = True
        rank = grade(reading - high, limits)
        if rank:
            when = "at the end of" if tempering else "at the start of"
            text = f"butter {acc.deg(reading)} {when} {step.title}; window to {acc.deg(high)}"
            if tempering and step.ratio > 1.5:
                text += f" (it took {span(step.lasted_s)} of {span(step.step.planned_for_s)})"
            found.append((rank, reading - high, step, text))
    if not looked:
        return unknown("the probe gave no reading in the butter before lock-in")
    return best(found, "the butter was no warmer than its window when it was enclosed")


def dough_too_cold(acc: Account, n: Numbers) -> Reading:
    """Butter tempered well, but the pâton under the window at lock-in or in the first fold: the dough chilled it."""
    steps = n.evidence["dough-too-cold"]["below_window_c"]
    firsts = [s for s in acc.of_kind(plans.LOCK_IN, plans.FOLD) if s.step.kind == plans.LOCK_IN or s.step.fold_n == 1]
    readable = [s for s in firsts if not math.isnan(s.probe.min_c) and not math.isnan(s.low_c)]
    if not readable:
        return unknown("the probe gave no reading at lock-in and in the first fold")
    found = []
    for step in readable:
        deficit = step.low_c - step.probe.min_c
        rank = grade(deficit, steps)
        if rank:
            # What the cold dough does shows in the first fold: that is where the butter breaks.
            fold = next((s for s in firsts if s.step.fold_n == 1 and s.step.paton == step.step.paton), step)
            found.append((rank, deficit, fold,
                          f"the pâton fell to {acc.deg(step.probe.min_c)} at {step.title}, under {acc.deg(step.low_c)}"
                          ": colder dough re-hardens tempered butter"))  # fmt: skip
    reading = best(found, "the pâton was in the window at lock-in and in the first fold")
    if reading.rank and butter_too_cold(acc, n).rank >= 2:
        return Reading("weak", "the pâton was cold in the first fold, but so was the butter before it", reading.step)
    return reading


# --- bench and folds ----------------------------------------------------------------------------------------------


def warm_bench(acc: Account, n: Numbers) -> Reading:
    """Bench warmer than the plan believed, or dough warming fast in most folds."""
    limits = n.evidence["warm-bench"]
    folds = acc.of_kind(plans.LOCK_IN, plans.FOLD, plans.SHEET)
    room = degrees(acc.batch.plan.room_cdeg)
    bench = [s for s in folds if not math.isnan(s.bench.mean_c)]
    rates = [s.probe.rate_c_min for s in folds if not math.isnan(s.probe.rate_c_min)]
    if not bench and len(rates) < 2:
        return unknown("neither the bench nor the pâton was read while rolling")
    found = []
    if bench and not math.isnan(room):
        # A bench that was to be iced has to be colder than the room at lock-in; later it is on its way back.
        first = min(bench, key=lambda s: s.from_s or 0)
        iced = any(s.step.kind == plans.ICE and s.step.start_at_s <= first.planned_from_s for s in acc.steps)
        judged = [first] if iced else bench
        believed = room - limits["ice_lowers_c"] if iced else room
        worst = max(judged, key=lambda s: s.bench.mean_c)
        middle = float(np.median([s.bench.mean_c for s in judged]))
        rank = grade(middle - believed, limits["above_believed_c"])
        if rank:
            what = "an iced bench" if iced else "a bench at room temperature,"
            found.append((rank, middle - believed, worst,
                          f"the bench stood at {acc.deg(middle)} at {worst.title}; the plan counted on {what} of at "
                          f"most {acc.deg(believed)}"))  # fmt: skip
    if len(rates) >= 2:
        usual = float(np.median(rates))
        rank = min(2, grade(usual, limits["rate_c_min"]))  # a warm room alone warms the dough too
        if rank:
            fastest = max((s for s in folds if not math.isnan(s.probe.rate_c_min)), key=lambda s: s.probe.rate_c_min)
            found.append((rank, usual, fastest,
                          f"the pâton warmed by {acc.said.difference(usual)} a minute in most folds"))  # fmt: skip
    return best(found, "the bench was as the plan believed and the pâton warmed slowly")


def slow_fold(acc: Account, n: Numbers) -> Reading:
    """One fold on the bench far longer than planned, and the pâton warm at its end."""
    limits = n.evidence["slow-fold"]
    folds = [s for s in acc.of_kind(plans.LOCK_IN, plans.FOLD) if not math.isnan(s.lasted_s)]
    if not folds:
        return unknown("no fold was logged from start to end")
    found = []
    for step in folds:
        longer = step.lasted_s - step.step.planned_for_s
        rank = min(grade(step.ratio, limits["times_planned"]), grade(longer, limits["longer_s"]))
        if not rank:
            continue
        text = f"{step.title} took {span(step.lasted_s)} instead of {span(step.step.planned_for_s)}"
        if step.probe.known and not math.isnan(step.high_c):
            if step.probe.end_c < step.probe.start_c - 1.0:
                # It lay in the cold in between, as the timer asks when it is too warm.
                rank = 1
                start = acc.said.degrees(step.probe.start_c)
                text += f", but the pâton was chilled meanwhile ({start} to {acc.deg(step.probe.end_c)})"
            elif step.probe.max_c > step.high_c:
                text += f" and the pâton reached {acc.deg(step.probe.max_c)} (window to {acc.deg(step.high_c)})"
            else:
                # Slow, but the butter kept its window: hardly a cause.
                rank = min(rank, 2 if step.probe.max_c > step.high_c - 1.0 else 1)
                text += f", though the pâton stayed at or under {acc.deg(step.probe.max_c)}"
        found.append((rank, longer, step, text))
    return best(found, "no fold took much longer than planned")


def short_rest(acc: Account, n: Numbers) -> Reading:
    """A rest between folds ended well before its time and before the core was there."""
    limits = n.evidence["short-rest"]
    rests = [s for s in acc.of_kind(plans.REST) if not math.isnan(s.lasted_s)]
    if not rests:
        return unknown("no rest was logged from start to end")
    found = []
    for step in rests:
        if step.ready_s is not None:
            continue  # its time, or its core and its minimum time, had been reached when it was ended
        target = degrees(step.step.core_cdeg)
        end = step.probe.at_end_c
        reached = not math.isnan(target) and not math.isnan(end) and end <= target + 0.5
        whole = step.step.planned_for_s
        share = step.lasted_s / whole if whole else math.nan
        rank = 0 if math.isnan(share) else grade(share, limits["share_of_planned"])
        if not rank:
            continue
        text = f"{step.title} lasted {span(step.lasted_s)} instead of {span(step.step.planned_for_s)}"
        if not math.isnan(target) and not math.isnan(end):
            if end > target + limits["core_above_target_c"]:
                text += f" and the core was still at {acc.deg(end)} (target {acc.deg(target)})"
            elif reached:
                rank = min(rank, 2)
        found.append((rank, 1.0 - share, step, text))
    return best(found, "every rest had its time")


def long_rest(acc: Account, n: Numbers) -> Reading:
    """A rest far over its time, so that the butter was hard at the next fold."""
    steps = n.evidence["long-rest"]["times_longest"]
    rests = [s for s in acc.of_kind(plans.REST) if not math.isnan(s.lasted_s)]
    if not rests:
        return unknown("no rest was logged from start to end")
    found = []
    low = degrees(acc.batch.plan.butter_low_cdeg)
    for step in rests:
        longest = max(step.step.max_s, int(1.5 * step.step.planned_for_s))
        times = step.lasted_s / longest if longest else math.nan
        rank = 0 if math.isnan(times) else grade(times, steps)
        if not rank:
            continue
        text = f"{step.title} lasted {span(step.lasted_s)} instead of {span(step.step.planned_for_s)}"
        after = next_on_bench(acc, step)
        if after is not None and not math.isnan(after.probe.at_start_c) and not math.isnan(low):
            text += f"; {after.title} began at {acc.deg(after.probe.start_c)} (window from {acc.deg(low)})"
        found.append((rank, step.lasted_s - longest, step, text))  # of two, the one that cost more hours began it
    return best(found, "no rest was overdone")


def next_on_bench(acc: Account, step: StepAccount) -> StepAccount | None:
    """Return the next fold or sheet of the same pâton after a step."""
    if step.to_s is None:
        return None
    later = [s for s in acc.of_kind(plans.FOLD, plans.SHEET)
             if s.from_s is not None and s.from_s >= step.to_s and s.step.paton == step.step.paton]  # fmt: skip
    return min(later, key=lambda s: s.from_s or 0, default=None)


def warm_fridge(acc: Account, n: Numbers) -> Reading:
    """Pieces warm after a night in the fridge, rests that chilled too little, or full rests that missed their core."""
    limits = n.evidence["warm-fridge"]
    believed = degrees(acc.batch.plan.fridge_cdeg)
    found = []
    for night in kitchen.nights(acc):
        rank = grade(night.c - believed, limits["night_above_believed_c"])
        if rank:
            text = f"the pieces came out of {night.step.title} at {acc.deg(night.c)} after {span(night.lay_s)}"
            found.append((rank, night.c - believed, night.step, f"{text}; the plan believed in {acc.deg(believed)}"))
    share, rests = kitchen.chill_share(acc)
    rank = 0 if math.isnan(share) else min(2, grade(share, limits["chill_share"]))  # still air does the same
    if rank:
        first = acc.of_kind(plans.REST)[0]
        found.append((rank, 1.0 - share, first, f"over {rests} rests the fridge chilled the pâton only "
                      f"{share * 100:.0f} % as much as the plan counted on"))  # fmt: skip
    missed = _missed_core(acc, limits["core_above_target_c"])
    if missed is None and not found and math.isnan(share) and not kitchen.nights(acc):
        return unknown("no rest that had its time was read by the probe")
    return best(found + (missed or []), "the fridge chilled as the plan believed")


def _missed_core(acc: Account, steps: list[float]) -> list[tuple[int, float, StepAccount, str]] | None:
    """Full rests that left the core over its target, all together; None when no such rest was read."""
    usable = [
        s for s in acc.of_kind(plans.REST)
        if not math.isnan(s.ratio) and s.ratio >= 0.9 and s.step.core_cdeg != NO_CDEG
        and not math.isnan(s.probe.at_end_c)
    ]  # fmt: skip
    if not usable:
        return None
    over = [(s.probe.end_c - degrees(s.step.core_cdeg), s) for s in usable]
    middle = float(np.median([o for o, _ in over]))
    rank = grade(middle, steps)
    worst = max(over, key=lambda item: item[0])[1]
    if not rank:
        return []
    target = degrees(worst.step.core_cdeg)
    text = (
        f"after full rests the core was {acc.said.difference(middle)} over its target "
        f"({worst.title}: {acc.deg(worst.probe.end_c)} instead of {acc.deg(target)})"
    )
    return [(rank, middle, worst, text)]


def warm_shaping(acc: Account, n: Numbers) -> Reading:
    """Sheet, cut or shape above the temperature at which butter is absorbed."""
    steps = n.evidence["warm-shaping"]["above_stop_degmin"]
    stop = degrees(acc.batch.plan.butter_stop_cdeg)
    usable = [s for s in acc.of_kind(plans.SHEET, plans.CUT, plans.SHAPE) if s.probe.known]
    if not usable or math.isnan(stop):
        return unknown("the probe gave no reading while sheeting, cutting and shaping")
    found = []
    for step in usable:
        at_s, c = acc.readings(step)
        over = np.maximum(0.0, c - stop)
        dt = np.minimum(np.diff(at_s, append=at_s[-1:]), 60)
        degmin = float(np.sum(over * dt)) / 60.0
        rank = grade(degmin, steps)
        if rank:
            found.append((rank, degmin, step, f"{step.title}: up to {acc.deg(step.probe.max_c)}, above {acc.deg(stop)} "
                          "the butter goes into the dough"))  # fmt: skip
    return best(found, "sheeting, cutting and shaping stayed under the limit")
