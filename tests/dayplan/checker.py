"""An independent check of a timetable. It shares no code with the planner: it reads the finished steps and the wish,

works in seconds on sorted lists, and knows the rules from the words of the batch model alone.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

FRIDGE, FREEZER, PROOF_SPACE, OVEN, BENCH = 2, 3, 5, 6, 1
FREEZE, PROOF, PREHEAT, BAKE = 15, 17, 19, 20
ROUNDING_S = 59  # whole minutes: a fixed length may be rounded up by less than one


def _s(moment: datetime) -> float:
    return moment.timestamp()


def away_seconds(spec, first: datetime, last: datetime) -> list[tuple[float, float]]:
    """Away spans in Unix seconds, found minute by minute on the wall clock: slow, and sure when clocks change."""
    zone = ZoneInfo(spec.zone)
    spans: list[tuple[float, float]] = [(_s(a.from_at), _s(a.to_at)) for a in spec.away if a.from_at]
    daily = [(a.start, a.end) for a in spec.away if a.start]
    moment = first.astimezone(UTC).replace(second=0, microsecond=0)
    begin = None
    while moment <= last.astimezone(UTC) + timedelta(minutes=1):
        clock = moment.astimezone(zone).time()
        away = any((a <= clock < b) if a < b else (clock >= a or clock < b) for a, b in daily)
        if away and begin is None:
            begin = _s(moment)
        if not away and begin is not None:
            spans.append((begin, _s(moment)))
            begin = None
        moment += timedelta(minutes=1)
    if begin is not None:
        spans.append((begin, _s(moment)))
    return spans


def faults(plan, now: datetime, *, late_ok: bool = False) -> list[str]:
    """Every broken rule of a DayPlan, as text; an empty list when all hold."""
    found: list[str] = []
    by_key = {(s.job, s.process.key): s for s in plan.steps}
    wanted = sum(len(j.workup.process) for j in plan.jobs)
    if len(by_key) != wanted or len(plan.steps) != wanted:
        found.append(f"{len(plan.steps)} steps planned, {wanted} wanted")
    for number, job in enumerate(plan.jobs):
        for process in job.workup.process:
            if (number, process.key) not in by_key:
                found.append(f"{process.key} is missing")
    if found:
        return found
    spec = plan.jobs[0].spec
    spans = away_seconds(spec, min(s.start for s in plan.steps), max(s.end for s in plan.steps))
    for s in plan.steps:
        p, length = s.process, _s(s.end) - _s(s.start)
        if _s(s.start) < _s(now):
            found.append(f"{p.key} begins before now")
        if p.flexible:
            if not p.min_s <= length <= max(p.max_s, p.min_s + ROUNDING_S):
                found.append(f"{p.key} lasts {length} s, allowed {p.min_s} to {p.max_s}")
        elif not p.ideal_s <= length <= p.ideal_s + ROUNDING_S:
            found.append(f"{p.key} lasts {length} s, not {p.ideal_s}")
        for before in p.after:
            if _s(by_key[s.job, before].end) > _s(s.start):
                found.append(f"{p.key} begins before {before} ends")
        for before, most in p.after_max_s.items():
            if _s(s.start) - _s(by_key[s.job, before].end) > most:
                found.append(f"{p.key} waits too long after {before}")
        watched = length if p.kind in (PREHEAT, BAKE) and not p.flexible else float(p.attended_s)
        for a, b in spans:
            if watched and _s(s.start) < b and a < _s(s.start) + watched:
                found.append(f"{p.key} needs somebody in away hours")
    _one_at_a_time(
        "hands", [(_s(s.start), _s(s.start) + s.process.attended_s, s.process.key) for s in plan.steps], found
    )
    there = [s for s in plan.steps]
    kitchen = spec.kitchen
    _one_at_a_time("bench", [(_s(s.start), _s(s.end), s.process.key) for s in there if s.process.place == BENCH], found)
    _room("fridge", [s for s in there if s.process.place == FRIDGE], kitchen.fridge_shelves, found)
    baking = [s for s in there if s.process.place == OVEN and s.process.kind != PROOF]
    _room("oven", baking, kitchen.oven_trays, found, whole=PREHEAT)
    if kitchen.proof_place == "oven":
        for proof in (s for s in there if s.process.kind == PROOF):
            for hot in baking:
                if _s(proof.start) < _s(hot.end) and _s(hot.start) < _s(proof.end):
                    found.append(f"{hot.process.key} heats the oven with {proof.process.key} in it")
    for number, job in enumerate(plan.jobs):
        followed = {b for p in job.workup.process for b in p.after}
        ends = [
            _s(s.end) for s in there
            if s.job == number and s.process.key not in followed and s.process.kind != FREEZE
        ]  # fmt: skip
        if not late_ok and max(ends) > _s(job.spec.wished_at):
            found.append(f"{job.spec.name} is late by {max(ends) - _s(job.spec.wished_at)} s")
    return found


def _one_at_a_time(what: str, spans: list, found: list[str]) -> None:
    ordered = sorted(span for span in spans if span[1] > span[0])
    for (_, end, one), (begin, _, two) in zip(ordered, ordered[1:], strict=False):
        if begin < end:
            found.append(f"{what}: {one} and {two} at once")


def _room(what: str, steps: list, limit: int, found: list[str], whole: int | None = None) -> None:
    changes = []
    for s in steps:
        units = limit if s.process.kind == whole else s.process.units
        changes += [(_s(s.start), 1, units), (_s(s.end), 0, -units)]
    level = 0
    for at, _, units in sorted(changes):
        level += units
        if level > limit:
            found.append(f"{what}: {level} of {limit} places at {at}")
