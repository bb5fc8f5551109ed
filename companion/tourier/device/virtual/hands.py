"""The scripted cook's hands: what each kind of step means for dough, butter, bench and probe in the virtual kitchen."""

from __future__ import annotations

from collections.abc import Sequence

from shared_schedule import plan as P
from shared_schedule.states import asks_probe
from tourier.device.virtual.scenarios import Scenario

PLACES = {P.BENCH: "bench", P.FRIDGE: "fridge", P.FREEZER: "freezer", P.ROOM: "room", P.PROOF_SPACE: "proof",
          P.OVEN: "oven", P.ANYWHERE: "room"}  # fmt: skip

_DOUGH_OFF_MIXER_C = 24.0
_BUTTER_POUNDED_C = 9.0  # pounded cold, and put back into the fridge
_BULK_UM = 60000  # a ball of dough in its bowl
_FLAT_UM = 20000
_BLOCK_UM = 8000
# A rolled piece 32 mm thick is a cylinder, which warms as fast as a plate of half its thickness.
_PIECE_UM = 16000


class Hands:
    """Moves things in a PlayedKitchen as steps begin and end. `begun` and `late` hold step ids."""

    def __init__(self, plan: P.Plan, scenario: Scenario, log) -> None:
        self.plan = plan
        self.scenario = scenario
        self.log = log
        self.begun: set[int] = set()
        self.finished: set[int] = set()
        self.late: set[int] = set()
        self.patons = max([step.paton for step in plan.steps] + [1])
        self._locked: set[int] = set()
        self._working: set[int] = set()  # steps in hand that hold the needle
        self._faulty = False

    # --- bodies ---------------------------------------------------------------------------------------------------

    def _patons_of(self, step: P.Step) -> Sequence[int]:
        """Return the pâtons a step is about; a load of the oven has those of the steps it comes after."""
        if step.paton:
            return (step.paton,)
        named, asked, seen = set(), list(step.after), set()
        while asked:
            before = self.plan.steps[self.plan.index_of(asked.pop())]
            if before.paton:
                named.add(before.paton)
            elif before.step_id not in seen:
                seen.add(before.step_id)
                asked += before.after
        return sorted(named) or range(1, self.patons + 1)

    def _dough(self, kitchen, paton: int, where: str = "fridge") -> None:
        if f"dough{paton}" not in kitchen.bodies:
            kitchen.add_dough(_DOUGH_OFF_MIXER_C if where == "room" else 5.0, _FLAT_UM, where, paton)

    def _butter(self, kitchen, paton: int, where: str = "fridge") -> None:
        if f"butter{paton}" not in kitchen.bodies and paton not in self._locked:
            kitchen.add_butter(_BUTTER_POUNDED_C, _BLOCK_UM, where, paton)

    def _is_butter(self, step: P.Step) -> bool:
        """True for rests of the butter block: what they follow made or tempered it."""
        if step.kind in (P.BLOCK, P.TEMPER):
            return True
        if step.kind in (P.LOCK_IN, P.MIX, P.FLATTEN):
            return False
        for before in step.after:
            earlier = self.plan.steps[self.plan.index_of(before)]
            if earlier.kind == P.BLOCK:
                return True
        return False

    # --- steps ----------------------------------------------------------------------------------------------------

    def begin(self, step: P.Step, now_s: int, kitchen, work_s: int) -> None:
        """The step has begun: put things where it wants them and start the work, spread over `work_s`."""
        self.begun.add(step.step_id)
        slip = self.scenario.slip(step.kind, step.fold_n)
        if kitchen is None:
            return
        if slip.probe:
            kitchen.probe_fault(slip.probe)
            self._faulty = True
            self.log.add(now_s, f"{step.name}: the probe works loose")
        elif self._faulty and step.kind == P.FOLD:
            kitchen.probe_fault(None)
            self._faulty = False
            self.log.add(now_s, f"{step.name}: the probe's plug is found and pushed home")
        if slip.bench_c is not None:
            kitchen.set_bench(slip.bench_c)
        if slip.air_c is not None:
            kitchen.set_place("proof", slip.air_c)
        if step.kind == P.ICE:
            if slip.skip:
                self.log.add(now_s, f"{step.name}: forgotten")
            else:
                kitchen.set_ice(work_s)
            return
        if step.kind in (P.MIX, P.PREHEAT):
            return
        if step.kind == P.BLOCK:
            return
        self._place(step, kitchen, slip)
        if step.kind in (P.LOCK_IN, P.FOLD, P.SHEET, P.CUT, P.SHAPE):
            self._work(step, kitchen, slip, work_s)
        elif step.kind == P.FLATTEN:
            for paton in self._patons_of(step):
                kitchen.work("roll", step.thickness_um or _FLAT_UM, work_s, paton)
        elif step.kind in (P.WASH, P.BAKE):
            kitchen.probe_out()
        elif step.kind in (P.CHILL, P.FREEZE, P.REST, P.HOLD, P.PROOF, P.THAW, P.BULK, P.TEMPER):
            if self._working or not asks_probe(step):
                return  # one needle: it stays in what hands work on, and goes where the timer asks for it
            what = "butter" if self._is_butter(step) else "dough"
            for paton in self._patons_of(step):
                if f"{what}{paton}" in kitchen.bodies:
                    kitchen.probe_in(paton, what)
                    break

    def _place(self, step: P.Step, kitchen, slip) -> None:
        where = slip.where or PLACES[step.place]
        for paton in self._patons_of(step):
            if self._is_butter(step):
                self._butter(kitchen, paton, where)
                if f"butter{paton}" in kitchen.bodies:
                    kitchen.place(where, paton, "butter")
                continue
            self._dough(kitchen, paton, "room" if step.kind == P.BULK else "fridge")
            if step.kind == P.LOCK_IN:
                self._lock_in(step, kitchen, paton, slip)
            else:
                kitchen.place(where, paton)

    def _lock_in(self, step: P.Step, kitchen, paton: int, slip) -> None:
        if paton in self._locked:
            return
        self._butter(kitchen, paton)
        if slip.start_c is not None:
            thickness = round(kitchen.bodies[f"butter{paton}"].thickness_m * 1e6)
            kitchen.remove(paton, "butter")
            kitchen.add_butter(slip.start_c, thickness, "room", paton)
        kitchen.lock_in(paton)
        self._locked.add(paton)

    def _work(self, step: P.Step, kitchen, slip, work_s: int) -> None:
        for paton in self._patons_of(step):
            if slip.start_c is not None and step.kind == P.CHILL:
                continue
            if step.kind in (P.CUT, P.SHAPE):
                thickness = step.thickness_um or (_PIECE_UM if step.kind == P.SHAPE else 0)
                if thickness:
                    kitchen.work("shape" if step.kind == P.SHAPE else "cut", thickness, work_s, paton)
            elif step.thickness_um:
                kind = "sheet" if step.kind == P.SHEET else "roll"
                kitchen.work(kind, step.thickness_um, max(20, work_s * 0.7), paton)
        if asks_probe(step):
            self._working.add(step.step_id)
            kitchen.probe_in(self._patons_of(step)[0])

    def finish(self, step: P.Step, now_s: int, kitchen) -> None:
        """The work is done: fold, make, put away."""
        if step.step_id in self.finished:
            return
        self.finished.add(step.step_id)
        self._working.discard(step.step_id)
        if kitchen is None:
            return
        patons = self._patons_of(step)
        if step.kind == P.MIX:
            for paton in range(1, self.patons + 1):
                if f"dough{paton}" not in kitchen.bodies:
                    kitchen.add_dough(_DOUGH_OFF_MIXER_C, _BULK_UM, "room", paton)
        elif step.kind == P.BLOCK:
            for paton in patons:
                if f"butter{paton}" not in kitchen.bodies and paton not in self._locked:
                    kitchen.add_butter(_BUTTER_POUNDED_C, step.thickness_um or _BLOCK_UM, "fridge", paton)
        elif step.kind == P.FOLD:
            for paton in patons:
                kitchen.fold(step.fold, paton)
        elif step.kind == P.BAKE:
            for paton in patons:
                kitchen.place("room", paton)
            return
        for follower in self.plan.steps:
            if step.step_id in follower.after and follower.kind in (
                P.BULK, P.CHILL, P.REST, P.HOLD, P.FREEZE, P.PROOF
            ):  # fmt: skip
                slip = self.scenario.slip(follower.kind, follower.fold_n)
                where = slip.where or PLACES[follower.place]
                what = "butter" if self._is_butter(follower) else "dough"
                for paton in self._patons_of(follower):
                    if (not step.paton or step.paton == paton) and f"{what}{paton}" in kitchen.bodies:
                        kitchen.place(where, paton, what)

    # --- what the screen asks for in between ----------------------------------------------------------------------

    def to_fridge(self, step: P.Step, kitchen) -> None:
        """Stop and chill."""
        if kitchen is not None:
            for paton in self._patons_of(step):
                kitchen.place("fridge", paton)

    def to_bench(self, step: P.Step, kitchen) -> None:
        """Back to the bench."""
        if kitchen is not None:
            for paton in self._patons_of(step):
                kitchen.place("bench", paton)
