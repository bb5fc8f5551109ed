"""The forecast at the bench: minutes left in the window, minutes until a core is cold enough, dose of a proof.

Keeps one Slab, laid anew when the dough changes place or thickness. Nothing here raises: without readings there is no
forecast, and the answer is UNKNOWN.
"""

from shared_schedule import plan as P
from shared_schedule import window as W
from shared_schedule.ferment import Dose
from shared_schedule.slab import Slab
from shared_schedule.units import NO_CDEG

UNKNOWN = -1
FOREVER = W.FOREVER_S
LOOK_AHEAD_S = 3600  # a window that holds longer than an hour holds for this step
_FOLLOW_S = 600  # a profile not followed for longer is guessed anew
_MISSED_CDEG = 80  # a reading further from the model means that something else happened to the dough
_FAST_S = 120  # readings that rise so fast are believed without the model
_FALLBACK_UM = 12000  # a plan without a thickness: a pâton between folds


class Forecast:
    def __init__(self, plan):
        self.plan = plan
        self._slab = Slab()
        self._laid = None
        self._followed = None  # (step id, pâton) whose profile the slab has, and when it last had a reading
        self._followed_s = 0
        self.rate = W.Rate()
        self.side = 0  # which edge the window will be left over: -1 cold, +1 warm
        self.doses = {}  # by step id: those of all proofs going on, the probe may come back to one

    def _lay(self, step):
        """Describe the dough of a step to the heat model; return False when the plan does not say enough."""
        plan = self.plan
        um = step.thickness_um or _FALLBACK_UM
        on_bench = step.place == P.BENCH
        film = {P.FRIDGE: plan.film_fridge_mw, P.FREEZER: plan.film_freezer_mw}.get(step.place, plan.film_room_mw)
        laid = (um, on_bench, film)
        if laid == self._laid:
            return True
        if not (plan.laminate_k_mw and plan.laminate_rc and film):
            return False
        try:
            if on_bench and plan.bench_effusivity and plan.bench_um:
                self._slab.lay(um, plan.laminate_k_mw, plan.laminate_rc, film, plan.bench_effusivity, plan.bench_um)
            else:
                self._slab.lay(um, plan.laminate_k_mw, plan.laminate_rc, film)
        except ValueError:
            return False
        self._laid = laid
        return True

    def _begin(self, step, probe_cdeg, bench_cdeg, air, rested_in=NO_CDEG):
        """Bring the slab to this reading: followed from the last one, carried along from a place to the next, or begun.

        A profile that has been followed forecasts a rest far better than one reading does (tests/outside/SLAB.md).
        """
        rate = self.rate
        now_s = rate.at_s[rate.next - 1] if rate.count else 0
        for_s = now_s - self._followed_s
        known = self._followed
        self._followed = (step.step_id, step.paton)
        self._followed_s = now_s
        if now_s and known is not None and known[1] == step.paton and 0 < for_s <= _FOLLOW_S:
            if known[0] == step.step_id:
                self._slab.track(for_s, air, probe_cdeg)
                if -_MISSED_CDEG <= self._slab.missed <= _MISSED_CDEG:
                    return
            else:
                self._slab.resume(probe_cdeg, bench_cdeg)
                return
        self._slab.start(probe_cdeg, bench_cdeg, rested_in)

    def air_of(self, step, room_cdeg):
        """Return the air around a step, cdeg: measured for the room, the plan's belief for cold places."""
        plan = self.plan
        if step.place == P.FRIDGE:
            return plan.fridge_cdeg
        if step.place == P.FREEZER:
            return plan.freezer_cdeg
        if step.place == P.PROOF_SPACE and plan.proof_cdeg != NO_CDEG:
            return plan.proof_cdeg
        return room_cdeg if room_cdeg != NO_CDEG else plan.room_cdeg

    def window_left_s(self, step, low, high, probe_cdeg, bench_cdeg, room_cdeg):
        """Return seconds until the window is left; UNKNOWN without readings, FOREVER beyond an hour. Sets `side`."""
        self.side = 0
        if probe_cdeg == NO_CDEG:
            return UNKNOWN
        rate = self.rate.cdeg_per_min()
        by_rate = W.left_s(probe_cdeg, rate, low, high)
        air = self.air_of(step, room_cdeg)
        by_slab = None
        if bench_cdeg == NO_CDEG:
            bench_cdeg = air
        if air != NO_CDEG and self._lay(step):
            try:
                self._begin(step, probe_cdeg, bench_cdeg, air)
                by_slab = self._slab.seconds_until(low, high, air, LOOK_AHEAD_S)
                self.side = self._slab.side
                if by_slab < 0:
                    by_slab = FOREVER
            except ValueError:
                by_slab = None
        if by_slab is None:
            if by_rate is None:
                return UNKNOWN
            self.side = 0 if not rate else 1 if rate > 0 else -1
            return by_rate
        # The model knows bench and air; the last minute's readings know what it cannot: a hand, the sun, a thin sheet.
        if by_rate is not None and rate is not None and by_rate < by_slab and by_rate < 600:
            self.side = 1 if rate > 0 else -1
            if by_rate <= _FAST_S and rate > 0:
                return by_rate  # out of the cold onto a hot bench: the model learns of it when it is too late
            return (by_rate + min(by_slab, 1200)) // 2 if by_slab > by_rate * 2 else by_rate
        return by_slab

    def core_left_s(self, step, target_cdeg, probe_cdeg):
        """Return seconds until the core of resting dough reaches its mark, UNKNOWN when it never will."""
        air = self.air_of(step, NO_CDEG)
        if probe_cdeg == NO_CDEG or air == NO_CDEG or not self._lay(step):
            return UNKNOWN
        try:
            self._begin(step, probe_cdeg, air, air, air)
            return self._slab.core_seconds_until(target_cdeg, air)
        except ValueError:
            return UNKNOWN

    # --- proof ----------------------------------------------------------------------------------------------------

    def begin_dose(self, step_id, ms=0):
        """Count the dose of a step, from `ms` on."""
        plan = self.plan
        cardinals = (plan.yeast_min_cdeg, plan.yeast_opt_cdeg, plan.yeast_max_cdeg)
        try:
            if NO_CDEG in cardinals or plan.yeast_ref_cdeg == NO_CDEG:
                dose = Dose(ms=ms)
            else:
                dose = Dose(cardinals, plan.yeast_ref_cdeg, ms)
            dose.left_s(1, plan.yeast_ref_cdeg)  # a reference outside the cardinals shows here, not in the day
        except ValueError:
            dose = Dose(ms=ms)
        self.doses[step_id] = dose
        return dose
