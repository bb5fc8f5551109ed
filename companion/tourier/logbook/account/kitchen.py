"""What a log says of the kitchen itself, whether or not a fold suffered: fridge, room, moisture against the plan.

Two readings tell of a fridge. Pieces that lay in it overnight are as cold as its shelf: the first reading of the
proof is its air. Rests between folds tell how fast it chills: the share of the cooling that the plan counted on.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from shared_schedule import journal as J
from shared_schedule import plan as plans
from shared_schedule.units import NO_CDEG
from tourier.logbook.account.slabfit import Spell, core_curve, thin
from tourier.logbook.account.steps import Account, StepAccount
from tourier.logbook.record.model import Floats
from tourier.voice import span

_NIGHT_S = 5 * 3600  # ten times the time constant of shaped pieces: nothing of the warmth they went in with is left
_SOON_S = 600  # between fridge and needle
_SETTLE_S = 120.0  # from the needle's move until it reads the dough's core and rolling's warm spots have evened out
_FASTEST_C_S = 0.025  # a thin pâton in a freezer cools by 1.5 °C a minute at the most
_SPELL_S = 480.0
_ENOUGH_C = 2.0  # of cooling that the plan counted on, over all rests: less tells nothing
_TELLS_C = 0.25  # and in one rest: a probe's noise is a tenth of it
_WARMER_C = 0.4  # dough in the cold does not warm: a needle that climbs was moved to another, or the dough taken out

# Beyond this the kitchen is told to be another than the plan's: more than thermometers and weather differ. Judgement.
_FRIDGE_OFF_C, _SHARE, _ROOM_OFF_C, _MOIST_OFF_PCT = 1.5, (0.65, 1.5), 2.5, 15.0


class Night(NamedTuple):
    """Pieces that lay in the fridge for hours, and what they read when they came out."""

    step: StepAccount
    lay_s: float
    c: float


def nights(acc: Account) -> list[Night]:
    """Return the long holds in the fridge whose pieces were read right after."""
    out = []
    for hold in acc.of_kind(plans.HOLD):
        if hold.step.place != plans.FRIDGE or math.isnan(hold.lasted_s) or hold.lasted_s < _NIGHT_S:
            continue
        for proof in acc.of_kind(plans.PROOF):
            soon = 0 <= (proof.from_s or 0) - (hold.to_s or 0) <= _SOON_S
            if soon and proof.step.paton in (0, hold.step.paton) and not math.isnan(proof.probe.at_start_c):
                out.append(Night(hold, hold.lasted_s, proof.probe.at_start_c))
                break
    return out


def cold_spells(acc: Account, place: int) -> list[Spell]:
    """Return the chills of pâtons in fridge or freezer that the probe read (the bare dough is another material)."""
    plan = acc.batch.plan
    believed = plan.fridge_cdeg if place == plans.FRIDGE else plan.freezer_cdeg
    out = []
    for step in acc.of_kind(plans.REST, plans.HOLD):
        if step.step.place != place or not step.step.thickness_um or believed == NO_CDEG:
            continue
        found = spell(acc, step, believed / 100)
        if found is not None:
            out.append(found)
    return out


def spell(acc: Account, step: StepAccount, air_c: float, bench_c: float = math.nan,
          bench_m: float = 0.0) -> Spell | None:  # fmt: skip
    """Return what the needle read of one step from when it settled, or None when that is too little to fit."""
    at_s, c = acc.readings(step)
    settled = at_s >= (step.from_s or 0) + (_SETTLE_S if math.isnan(bench_c) else 45.0)
    at_s, c = at_s[settled], c[settled]
    if len(at_s) < 12:
        return None
    t_s, c = thin(at_s - at_s[0], c)
    # A needle that was moved unasked reads other dough: what follows a jump no pâton can make is not this spell.
    jumps = np.flatnonzero(np.abs(np.diff(c)) > 0.8 + _FASTEST_C_S * np.diff(t_s))
    if len(jumps):
        t_s, c = t_s[: jumps[0] + 1], c[: jumps[0] + 1]
    if math.isnan(bench_c) and air_c < c[0]:
        t_s, c = _while_it_cools(t_s, c)
    plan = acc.batch.plan
    if len(t_s) < 4 or not plan.laminate_k_mw or not plan.laminate_rc:
        return None
    return Spell(acc.batch.id, step.title, t_s, c, step.step.thickness_um * 1e-6, plan.laminate_k_mw / 1000,
                 plan.laminate_rc * 1000.0, air_c, bench_c, bench_m)  # fmt: skip


def _while_it_cools(t_s: Floats, c: Floats) -> tuple[Floats, Floats]:
    """Return the readings up to the last low before they climb; a climb at the start is the warmth of rolling that
    reaches the core, and is left in."""
    from_top = int(np.argmax(c))
    low = np.minimum.accumulate(c[from_top:])
    back = np.flatnonzero(c[from_top:] > low + _WARMER_C)
    if not len(back):
        return t_s, c
    end = from_top + int(np.argmin(c[from_top : from_top + back[0]])) + 1
    return t_s[:end], c[:end]


def chill_share(acc: Account) -> tuple[float, int]:
    """Return (cooling read over cooling the plan counted on, number of rests); NaN when they tell too little.

    It is the middle of the rests' own shares: one rest whose needle stood in other dough says nothing of the fridge.
    """
    film = acc.batch.plan.film_fridge_mw / 1000
    found = [s for s in cold_spells(acc, plans.FRIDGE) if s.t_s[-1] >= _SPELL_S] if film else []
    counted = [float(s.c[0] - core_curve(s, float(s.c[0]), film, s.air_c)[-1]) for s in found]
    if len(found) < 2 or sum(counted) < _ENOUGH_C:
        return math.nan, len(found)
    shares = [float(s.c[0] - s.c[-1]) / want for s, want in zip(found, counted, strict=True) if want >= _TELLS_C]
    # Of an even number the middle one that blames the fridge less: with two rests either may be the odd one.
    middle = sorted(shares)[(len(shares) - 1) // 2 : len(shares) // 2 + 1]
    return (min(middle, key=lambda share: abs(share - 1)) if len(shares) > 1 else math.nan), len(shares)


def facts(acc: Account) -> tuple[str, ...]:
    """Return sentences about a kitchen that was another than the plan believed; none when it was as believed."""
    plan = acc.batch.plan
    out = []
    slept = nights(acc)
    if slept and plan.fridge_cdeg != NO_CDEG:
        believed = plan.fridge_cdeg / 100
        worst = max(slept, key=lambda n: abs(n.c - believed))
        if abs(worst.c - believed) >= _FRIDGE_OFF_C:
            out.append(
                f"The fridge stood near {acc.deg(worst.c)}: that is what the pieces read after "
                f"{span(worst.lay_s)} in it. The plan believed in {acc.deg(believed)}."
            )
    share, rests = chill_share(acc)
    if not _SHARE[0] <= share <= _SHARE[1] and not math.isnan(share):
        times = f"only {share * 100:.0f} % as much" if share < 1 else f"{share:.1f} times as much"
        out.append(f"Over {rests} rests the fridge chilled the pâton {times} as the plan counted on"
                   + (": it is warmer, or its air is stiller, than believed." if share < 1 else
                      ": it is colder, or moves more air, than believed."))  # fmt: skip
    records = acc.batch.records
    air = np.array([(r.body[0] / 100, r.body[1]) for r in records if r.type == J.AIR and r.body[0] != NO_CDEG])
    if len(air) >= 10:
        room, moist = (float(v) for v in np.median(air, axis=0))
        if plan.room_cdeg != NO_CDEG and abs(room - plan.room_cdeg / 100) >= _ROOM_OFF_C:
            out.append(f"The room was mostly at {acc.deg(room)}; the plan believed in {acc.deg(plan.room_cdeg / 100)}.")
        if plan.room_rh_pct and abs(moist - plan.room_rh_pct) >= _MOIST_OFF_PCT:
            out.append(f"The air's humidity was mostly {moist:.0f} %; the plan believed in {plan.room_rh_pct} %.")
    return tuple(out)
