"""Plans that the checks share: a two-day batch laid out by hand, with as many pâtons as wanted.

Durations are common practice for a home batch (no source): rest of an hour in the fridge after each fold, a quarter of
an hour in the freezer before the last sheet, proof of about three hours.
"""

from shared_schedule import plan as P

DAY_1 = 217400400  # an arbitrary Saturday's morning; no test depends on the weekday
HOUR = 3600


class Builder:
    """Lays steps one after the other; `add` returns the id."""

    def __init__(self, at_s):
        self.steps = []
        self.at_s = at_s

    def add(self, kind, minutes, after=(), at_s=None, **more):
        step_id = len(self.steps) + 1
        for_s = minutes * 60
        start = self.at_s if at_s is None else at_s
        if more.get("ends_by", P.BY_COOK) == P.BY_COOK:
            more.setdefault("attended_s", for_s)
            limits = (for_s, for_s, for_s)
        else:
            limits = (more.pop("min_s", for_s), more.pop("ideal_s", for_s), more.pop("max_s", for_s * 4))
        more.setdefault("name", "%s %d" % (P.KIND_WORDS[kind], step_id))
        self.steps.append(
            P.Step(
                step_id=step_id, kind=kind, after=tuple(after), start_at_s=start, planned_for_s=for_s,
                min_s=limits[0], ideal_s=limits[1], max_s=limits[2], **more,
            )  # fmt: skip
        )
        self.at_s = start + for_s
        return step_id


def rest(build, kind, minutes, after, least, place=P.FRIDGE, **more):
    """Add a rest that ends by time: minimum `least` minutes, maximum four times its length."""
    more.setdefault("ends_by", P.BY_TIME)
    return build.add(kind, minutes, after, place=place, min_s=least * 60, **more)


def two_days(patons=1, folds=(4, 3, 3)):
    """Return a valid plan: dough in the evening, lamination, proof and bake the next day."""
    build = Builder(DAY_1)
    mix = build.add(P.MIX, 20, place=P.BENCH, ticks=("salt is in",))
    bulk = rest(build, P.BULK, 60, (mix,), 40, P.ROOM)
    flat = build.add(P.FLATTEN, 10, (bulk,), place=P.BENCH)
    block = build.add(P.BLOCK, 15, (mix,), place=P.BENCH)
    night = rest(build, P.HOLD, 600, (flat, block), 480, max_s=60 * 60 * 16)
    starts = build.at_s
    chains = []
    for paton in range(1, patons + 1):
        build.at_s = starts + (paton - 1) * 25 * 60
        last = build.add(P.LOCK_IN, 10, (night,), place=P.BENCH, paton=paton, low_cdeg=1300, high_cdeg=1700)
        for number in range(len(folds)):
            last = build.add(
                P.FOLD, 10, (last,), place=P.BENCH, paton=paton, fold=folds[number], fold_n=number + 1,
                fold_of=len(folds), spine=P.SPINE_LEFT, quarter=1, low_cdeg=1300, high_cdeg=1700,
            )  # fmt: skip
            last = rest(build, P.REST, 60, (last,), 30, paton=paton)
        chains.append(last)
    shaped = []
    for paton in range(1, patons + 1):
        sheet = build.add(P.SHEET, 15, (chains[paton - 1],), place=P.BENCH, paton=paton)
        cut = build.add(P.CUT, 10, (sheet,), place=P.BENCH, paton=paton)
        shaped.append(build.add(P.SHAPE, 20, (cut,), place=P.BENCH, paton=paton))
    proof = build.add(
        P.PROOF, 180, shaped, place=P.ROOM, ends_by=P.BY_DOSE, dose_s=10800, min_s=7200, max_s=18000,
        flags=P.SAVES_BATCH,
    )  # fmt: skip
    wash = build.add(P.WASH, 10, (proof,), place=P.BENCH, ticks=("pinch of salt", "thin coat"))
    heat = build.add(
        P.PREHEAT, 30, (), at_s=build.at_s - 40 * 60, place=P.OVEN, ends_by=P.BY_TIME, attended_s=60,
        flags=P.ASK_OVEN_EMPTY, max_s=7200,
    )  # fmt: skip
    build.at_s += 10 * 60
    bake = build.add(
        P.BAKE, 18, (wash, heat), place=P.OVEN, ends_by=P.BY_TIME, attended_s=120, min_s=900, max_s=1500,
        flags=P.SAVES_BATCH,
    )  # fmt: skip
    rest(build, P.COOL, 20, (bake,), 10, P.ROOM)
    steps = _in_order(build.steps)
    return P.validate(
        P.Plan(
            steps, name="two days", made_at_s=DAY_1 - HOUR, ready_at_s=build.at_s, offset_min=60,
            quiet=((DAY_1 + 4 * HOUR, DAY_1 + 11 * HOUR),), butter_low_cdeg=1300, butter_high_cdeg=1700,
        )  # fmt: skip
    )


def _in_order(steps):
    """Sort by planned start without losing the order of steps that begin together, and keep `after` satisfied."""
    order = sorted([(steps[place].start_at_s, place) for place in range(len(steps))])
    found = []
    seen = set()
    todo = [steps[place] for _start, place in order]
    while todo:
        for step in todo:
            if all([before in seen for before in step.after]):
                found.append(step)
                seen.add(step.step_id)
                todo.remove(step)
                break
    return found


def chain(*parts):
    """Return a small plan: each part is (kind, minutes, more) and follows the one before."""
    build = Builder(DAY_1)
    last = ()
    for kind, minutes, more in parts:
        last = (build.add(kind, minutes, last, **more),)
    return P.validate(P.Plan(build.steps, name="chain", made_at_s=DAY_1, ready_at_s=build.at_s))
