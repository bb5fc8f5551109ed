"""Checks of history: what was lived is what the journal tells, to the timer and to a replay of another make."""

import plans
import streams

from shared_schedule import day as D
from shared_schedule import history as H
from shared_schedule import journal as J
from shared_schedule import plan as P

SEEDS = 24
TURNS = 120


def check_what_was_lived_is_what_the_journal_tells():
    seen = {}
    for seed in range(1, SEEDS + 1):
        life = streams.Life(seed)
        for turn in range(TURNS):
            life.turn()
            if turn % 8 == 7:
                records = list(J.read(bytes(life.octets)))
                assert len(records) == life.seq
                past = H.replay(life.plan, records)
                assert past.same_as(life.state), (seed, turn)
                tale = streams.told(life.plan, records)
                for index in range(len(life.plan.steps)):
                    step_id = life.plan.steps[index].step_id
                    assert streams.row(life.plan, past, index) == tale[step_id], (seed, turn, step_id)
        for what in life.seen:
            seen[what] = seen.get(what, 0) + life.seen[what]
    # All of it befell, or the days showed nothing.
    for what in (D.BY_BUTTON, D.BY_LINK, D.BY_CLOCK, D.BY_UNDO, D.BY_EARLY, D.BY_OVERRIDE, "tick"):
        assert seen.get(what, 0) >= 20, (what, seen)
    for what in ("cut", "cut without a clock", "clock set"):
        assert seen.get(what, 0) >= 5, (what, seen)


def check_undo_leaves_the_instant_at_which_a_rest_was_ready():
    plan = plans.chain((P.PROOF, 10, {"ends_by": P.BY_DOSE, "dose_s": 60, "min_s": 0}), (P.WASH, 5, {}))
    t = plans.DAY_1
    records = [
        J.Record(J.STEP, 0, t, (1, D.WAITING, D.RUNNING, D.BY_BUTTON)),
        J.Record(J.STEP, 1, t + 600, (1, D.RUNNING, D.READY, D.BY_PROOF)),
        J.Record(J.STEP, 2, t + 900, (1, D.READY, D.DONE, D.BY_BUTTON)),
        J.Record(J.STEP, 3, t + 905, (1, D.DONE, D.READY, D.BY_UNDO)),
    ]
    past = H.replay(plan, records)
    assert streams.row(plan, past, 0) == [D.READY, t, t + 600, 0, D.BY_UNDO, 0]


def check_a_record_that_is_missing_leaves_the_others_standing():
    for seed in (3, 5):
        life = streams.Life(seed)
        for _ in range(TURNS):
            life.turn()
        records = list(J.read(bytes(life.octets)))
        whole = H.replay(life.plan, records)
        for lost in range(len(records)):
            if records[lost].type not in (J.STEP, J.TICK):
                continue
            past = H.replay(life.plan, records[:lost] + records[lost + 1 :])
            for index in range(len(life.plan.steps)):
                if life.plan.steps[index].step_id != records[lost].body[0]:
                    assert streams.row(life.plan, past, index) == streams.row(life.plan, whole, index)
                elif records[lost].type == J.STEP and [
                    r for r in records[lost + 1 :] if r.type == J.STEP and r.body[0] == records[lost].body[0]
                ]:
                    assert past.steps[index] == whole.steps[index]
