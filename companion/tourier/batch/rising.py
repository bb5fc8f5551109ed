"""What each load has risen by when it goes into the oven, on planned or real times: bulk, lamination, nights, proof.

All in shares of a whole proof, which is what the pieces want from tray in to oven. Bulk, lamination and nights come
before and are pressed out or stay in the state "the pieces then have"; the proof, cold waits and the wait for the oven
are a load's dose.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from shared_schedule import plan as ss
from tourier.batch.kitchenheat import KitchenHeat
from tourier.batch.limits import HOUR
from tourier.batch.model import ProcessStep
from tourier.craft.rising import BOWL_S, Stay, gathered, tau_s

#: Outside the first a load is warned of, outside the second refused: common practice, no source.
USUAL_DOSE, POSSIBLE_DOSE = (0.85, 1.2), (0.7, 1.4)
NIGHT_S = 4 * HOUR
_NO_DOUGH = (ss.BLOCK, ss.TEMPER, ss.ICE, ss.PREHEAT, ss.BAKE, ss.COOL)
_WORKED = (ss.LOCK_IN, ss.FOLD, ss.SHEET)
_PIECES = (ss.SHAPE, ss.THAW, ss.PROOF, ss.WASH)

Share = tuple[float, float, float]
Times = Mapping[str, tuple[float, float]]


@dataclass(frozen=True)
class LoadRise:
    """One load: its dose, and what it is made of, in shares of a whole proof (least, usual, most for the cold).

    `least` and `most` are the doses of the heaviest and the lightest piece; `wait_s` from the end of the proof.
    """

    key: str
    name: str
    bulk: Share
    lamination: Share
    nights: Share
    cold: float
    proof: float
    wait: float
    least: float
    most: float
    wait_s: float
    night_s: float

    @property
    def dose(self) -> float:
        """Dose of the heaviest piece beside what it wants."""
        return self.cold + self.proof + self.wait


class Rising:
    """The account of one batch; `loads` asks it for the times of a plan."""

    def __init__(self, heat: KitchenHeat) -> None:
        self._heat = heat

    @cached_property
    def _air_c(self) -> dict[int, float]:
        k, heat = self._heat.kitchen, self._heat
        air = min(heat.proof_air_c, heat.proof_cap_c)
        return {ss.FRIDGE: k.fridge_c, ss.FREEZER: k.freezer_c, ss.PROOF_SPACE: air, ss.OVEN: air}

    @cached_property
    def _taus_s(self) -> dict[str, float]:
        heat, block = self._heat, self._heat.geometry.patons[0].block
        packet_m = heat.geometry.patons[0].stages[-2].thickness_m
        film = heat.place.film("fridge")
        return {
            "dough": tau_s(heat.dough_m, block.dough_thickness_m, film),
            "paton": tau_s(heat.laminate_m, packet_m, film),
            "pieces": tau_s(heat.laminate_m, heat.piece_plate_m, film),
        }

    def loads(self, steps: tuple[ProcessStep, ...], times: Times) -> tuple[LoadRise, ...]:
        """Return every load that is baked, in order; `times` gives start and end of every step by key, s."""
        by_key = {step.key: step for step in steps}
        if self._heat.spec.kind != "leavened":
            return ()
        return tuple(self._load(step, by_key, times) for step in steps if step.kind == ss.BAKE)

    def _load(self, bake: ProcessStep, by_key: dict[str, ProcessStep], times: Times) -> LoadRise:
        path = _path(bake, by_key)
        proofed = next(step for step in path if step.kind == ss.PROOF)
        before = path[: path.index(proofed)]
        thawed = before[0].kind == ss.THAW
        start_c = self._heat.kitchen.freezer_c if thawed else self._heat.spec.dough_temp_c
        sums, in_c = gathered(start_c, self._stays(before, proofed, times))
        whole = self._heat.whole_dose_s
        shares = {part: (d[0] / whole, d[1] / whole, d[2] / whole) for part, d in sums.items()}
        lasted_s = times[proofed.key][1] - times[proofed.key][0]
        wait_s = times[bake.key][0] - times[proofed.key][1]
        # "From the state the pieces then have": only what waited cold for its turn comes colder than the usual proof's.
        start_c = in_c if "cold" in sums else self._heat.to_proof_c(thawed)
        rose = [self._heat.proofed_s(lasted_s, start_c, light) / whole for light in (False, True)]
        cold, wait = shares.get("cold", _NONE)[1], self._heat.late_share(wait_s)
        nights = [step for step in before if _night(step, times)]
        return LoadRise(
            bake.key, bake.name, shares.get("bulk", _NONE), shares.get("lamination", _NONE),
            shares.get("nights", _NONE), cold, rose[0], wait, cold + wait + min(rose), cold + wait + max(rose),
            wait_s, sum(times[step.key][1] - times[step.key][0] for step in nights),
        )  # fmt: skip

    def _stays(self, before: list[ProcessStep], proofed: ProcessStep, times: Times) -> list[Stay]:
        """Where the dough lay from the end of mixing to the proof; between two steps it stays in the room."""
        room_c, taus, out = self._heat.kitchen.room_c, self._taus_s, []
        body, shaped = "dough", False
        following = [*before[1:], proofed]
        for step, after in zip(before, following, strict=True):
            begin, end = times[step.key]
            body = "paton" if step.kind in _WORKED else "pieces" if step.kind in _PIECES else body
            tau = BOWL_S if step.kind in (ss.MIX, ss.BULK) else taus[body]
            part = "bulk" if step.kind in (ss.MIX, ss.BULK) else "lamination"
            if _night(step, times):
                part = "nights"
            elif shaped and step.kind == ss.HOLD:
                part = "cold"
            shaped = shaped or step.kind in _PIECES
            if step.kind != ss.MIX:
                within = self._heat.work_window_c if step.kind in _WORKED else None
                out.append(Stay(part, end - begin, self._air_c.get(step.place, room_c), tau, within))
            out.append(Stay("lamination", max(0.0, times[after.key][0] - end), room_c, tau))
        return out


_NONE: Share = (0.0, 0.0, 0.0)


def _night(step: ProcessStep, times: Times) -> bool:
    return step.place == ss.FRIDGE and times[step.key][1] - times[step.key][0] >= NIGHT_S


def _path(bake: ProcessStep, by_key: dict[str, ProcessStep]) -> list[ProcessStep]:
    """The steps one load's dough goes through, mixing or thawing first, egg wash last."""
    found: list[ProcessStep] = []
    step = bake
    while True:
        froms = [by_key[key] for key in step.after if by_key[key].kind not in _NO_DOUGH]
        # A later load of the same proof only follows the one before it in the oven.
        froms = froms or [by_key[key] for key in step.after if by_key[key].kind == ss.BAKE]
        if not froms:
            return [each for each in found[::-1] if each.kind != ss.BAKE]
        # Pieces of several pâtons: those of the first have waited longest.
        step = froms[0]
        found.append(step)
