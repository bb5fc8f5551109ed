"""What chills and warm-ups teach: fridge, freezer, bench. Each judged on the batch held out; see `learn`.

Errors of a forecast are RMS in °C of the core at the end of a rest or fold, from its first reading.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.stats import t as student

from shared_schedule import plan as plans
from shared_schedule.units import NO_CDEG
from tourier.known import Learned
from tourier.logbook.account.kitchen import cold_spells, nights, spell
from tourier.logbook.account.slabfit import AIR_SPREAD_C, Fit, Spell, core_curve, fit_bench, fit_cold
from tourier.logbook.account.steps import Account
from tourier.logbook.learning.ledger import Refusal

_AIR_KNOWN_C, _AIR_TRUSTED_C = 0.5, 0.1  # half width of a band worth learning; how far a setting is else trusted
_SHELF_C = 0.5  # how well a piece out of the fridge tells its shelf: another shelf, a minute on the way. Judgement


def bench_spells(acc: Account) -> list[Spell]:
    """Return the warm-ups on the bench that the probe read, with the bench's temperature at their start.

    Folds only: at lock-in the dough chills the butter from both sides, which tells nothing of the bench.
    """
    plan = acc.batch.plan
    out = []
    for step in acc.of_kind(plans.FOLD):
        _at, bench_c = acc.readings(step, bench=True)
        if not step.step.thickness_um or not len(bench_c) or plan.room_cdeg == NO_CDEG:
            continue
        found = spell(acc, step, plan.room_cdeg / 100, float(np.median(bench_c[:6])), plan.bench_um * 1e-6)
        if found is not None:
            out.append(found)
    return out


def forecast_error_c(spells: list[Spell], film: float, air_c: float) -> float:
    """Return the RMS error in °C of the core at the end of each chill, forecast from its first reading."""
    errors = [core_curve(s, float(s.c[0]), film, air_c)[-1] - s.c[-1] for s in spells]
    return float(np.sqrt(np.mean(np.square(errors)))) if errors else math.nan


def _batches(spells: list[Spell]) -> tuple[int, ...]:
    return tuple(dict.fromkeys(s.batch_id for s in spells))


def cold(kitchen: str, group: list[Account], place: int) -> list[Learned] | Refusal:
    word = "fridge" if place == plans.FRIDGE else "freezer"
    spells = [s for acc in group for s in cold_spells(acc, place)]
    slept = _shelf(kitchen, group) if place == plans.FRIDGE else []
    film_found = _film(kitchen, group, place, word, spells, slept[0].value if slept else math.nan)
    if isinstance(film_found, Refusal):
        return slept or film_found
    return [v for v in film_found if not slept or v.quantity != "fridge_c"] + slept


def _shelf(kitchen: str, group: list[Account]) -> list[Learned]:
    """Air of the fridge's shelf, from what pieces read that lay there for hours; [] when none were."""
    found = [(acc.batch.id, night.c, acc.batch.plan.fridge_cdeg / 100)
             for acc in group for night in nights(acc)[-1:] if acc.batch.plan.fridge_cdeg != NO_CDEG]  # fmt: skip
    if not found:
        return []
    values = [c for _id, c, _believed in found]
    middle, low, high = mean_band(values, _SHELF_C)
    if len(values) < 2:
        low, high = middle - 2 * _SHELF_C, middle + 2 * _SHELF_C
    believed = found[-1][2]
    before = abs(values[-1] - believed)
    # With one night alone the value judges itself; with more, the last is forecast from those before it.
    after = abs(values[-1] - float(np.median(values[:-1]))) if len(values) > 1 else 0.0
    if before < _SHELF_C or after >= before:
        return []
    return [Learned("fridge_c", kitchen, middle, low, high, "°C", f"pieces read after {len(values)} nights in it",
                    tuple(n for n, _c, _b in found), before, after, "°C, pieces out of the fridge")]  # fmt: skip


def _film(kitchen: str, group: list[Account], place: int, word: str, spells: list[Spell],
          shelf_c: float) -> list[Learned] | Refusal:  # fmt: skip
    """Film of fridge or freezer (and its air, when the chills tell it) from chills; `shelf_c` NaN: air not known."""
    if not spells:
        return Refusal(f"film_{word}", kitchen, f"no rest in the {word} was read by the probe")
    plan = group[-1].batch.plan
    film = (plan.film_fridge_mw if place == plans.FRIDGE else plan.film_freezer_mw) / 1000 or 8.0
    air_c = spells[-1].air_c if math.isnan(shelf_c) else shelf_c
    fit = fit_cold(spells, film, air_c, AIR_SPREAD_C if math.isnan(shelf_c) else _SHELF_C)
    known = not fit.refused and fit.get("air_c").high - fit.get("air_c").low <= 2 * _AIR_KNOWN_C
    spread_c = AIR_SPREAD_C if known else _AIR_TRUSTED_C
    if not known:
        # Rests this short trade air against film: the thermostat is trusted then, and only the film learned.
        fit = fit_cold(spells, film, air_c, spread_c)
    if fit.refused:
        return Refusal(f"film_{word}", kitchen, fit.refused)
    before, after = _held_out(spells, fit, film, air_c, spread_c)
    if not after < before:
        return Refusal(f"film_{word}", kitchen, "the fitted figures forecast no better than the believed ones")
    method = f"robust least squares on {len(spells)} chills, {fit.readings} readings, residual {fit.residual_c:.2f} °C"
    out = []
    names = (("film", f"film_{word}", "W/m²K"), ("air_c", f"{word}_c", "°C"))
    for name, quantity, unit in names if known else names[:1]:
        v = fit.get(name)
        out.append(Learned(quantity, kitchen, v.value, v.low, v.high, unit, method, _batches(spells), before, after,
                           "°C, core at the end of a rest"))  # fmt: skip
    return out


def _held_out(spells: list[Spell], fit: Fit, film: float, air_c: float, spread_c: float) -> tuple[float, float]:
    """Return the forecast's error with the plan's figures and with fitted ones, on rests the fit has not seen.

    The last batch is held out and the fit made on those before it; with one batch alone the fit judges itself.
    """
    last = spells[-1].batch_id
    seen, unseen = [s for s in spells if s.batch_id != last], [s for s in spells if s.batch_id == last]
    judged = fit_cold(seen, film, air_c, spread_c) if seen else fit
    if judged.refused:
        judged = fit
    before = float(np.sqrt(np.mean([forecast_error_c([s], film, s.air_c) ** 2 for s in unseen])))
    return before, forecast_error_c(unseen, judged.get("film").value, judged.get("air_c").value)


def bench(kitchen: str, group: list[Account]) -> list[Learned] | Refusal:
    spells = [s for acc in group for s in bench_spells(acc)]
    plan = group[-1].batch.plan
    if not spells or not plan.bench_effusivity:
        return Refusal("bench_effusivity", kitchen, "no fold on the bench was read by the probe")
    film = plan.film_room_mw / 1000 or 7.7
    fit = fit_bench(spells, float(plan.bench_effusivity), film)
    if fit.refused:
        return Refusal("bench_effusivity", kitchen, fit.refused)
    v = fit.get("effusivity")
    believed = float(plan.bench_effusivity)
    last = spells[-1].batch_id
    seen, unseen = [s for s in spells if s.batch_id != last], [s for s in spells if s.batch_id == last]
    # As with the fridge: the last batch is forecast from those before it; one batch alone judges itself.
    judged = fit_bench(seen, believed, film) if seen else fit
    if judged.refused:
        judged = fit
    before = _end_error_c(unseen, believed, film)
    after = _end_error_c(unseen, judged.get("effusivity").value, film)
    if after > 0.8 * before:
        return Refusal("bench_effusivity", kitchen, f"the fitted bench forecasts the end of a fold to {after:.1f} °C, "
                       f"the believed one to {before:.1f} °C: hardly better")  # fmt: skip
    method = f"robust least squares on {len(spells)} folds, residual {fit.residual_c:.2f} °C"
    return [Learned("bench_effusivity", kitchen, v.value, v.low, v.high, "J/m²K√s", method, _batches(spells), before,
                    after, "°C, core at the end of a fold")]  # fmt: skip


def _end_error_c(spells: list[Spell], effusivity: float, film: float) -> float:
    """Return the RMS error in °C of the core at the end of each fold, forecast from its first reading."""
    ends = [core_curve(s, float(s.c[0]), film, s.air_c, effusivity)[-1] - s.c[-1] for s in spells]
    return float(np.sqrt(np.mean(np.square(ends))))


def mean_band(values: list[float], floor: float) -> tuple[float, float, float]:
    """Return (median, low, high): a 90 % t band of the mean around the median, never narrower than floor each way."""
    middle = float(np.median(values))
    if len(values) < 2:
        return middle, -math.inf, math.inf
    half = float(student.ppf(0.95, len(values) - 1)) * float(np.std(values, ddof=1)) / math.sqrt(len(values))
    half = max(half, floor)
    return middle, middle - half, middle + half
