"""What the batches teach: fridge, freezer, bench, mixer, proof, butter. Fitted anew from all logs, never from itself.

`study` reads the logbook and proposes; `learn` writes what it proposes. Each proposal names its batches, carries a
90 % band and the forecast's error before and after; what the logs cannot tell is refused with a sentence.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student

from shared_schedule import plan as plans
from shared_schedule.units import NO_CDEG
from shared_schedule.window import shift_window
from tourier.craft.butter import PROFILES
from tourier.craft.water import MIXING_RISE_K
from tourier.logbook import ledger
from tourier.logbook.account import Account, account
from tourier.logbook.bends import edges
from tourier.logbook.kitchen import cold_spells, nights, spell
from tourier.logbook.ledger import Learned
from tourier.logbook.model import Batch
from tourier.logbook.slabfit import AIR_SPREAD_C, Fit, Spell, core_curve, fit_bench, fit_cold
from tourier.logbook.store import Logbook

_AIR_KNOWN_C, _AIR_TRUSTED_C = 0.5, 0.1  # half width of a band worth learning; how far a setting is else trusted
_SHELF_C = 0.5  # how well a piece out of the fridge tells its shelf: another shelf, a minute on the way. Judgement
_RECENT = 20  # batches looked back on: a fridge or a butter of years ago is another one


@dataclass(frozen=True)
class Refusal:
    """One quantity the logs cannot tell, and why."""

    quantity: str
    subject: str
    sentence: str


@dataclass(frozen=True)
class Study:
    """What a reading of the logbook proposes and refuses."""

    proposals: tuple[Learned, ...]
    refusals: tuple[Refusal, ...]


def subjects(batch: Batch) -> tuple[str, str]:
    """Return (kitchen, butter) a batch was made in and with, from its batch file."""
    try:
        table = tomllib.loads(batch.batch_text)
    except (tomllib.TOMLDecodeError, RecursionError):
        table = {}
    kitchen, butter = table.get("kitchen"), table.get("butter")
    name = kitchen.get("name") if isinstance(kitchen, dict) else None
    profile = butter.get("profile") if isinstance(butter, dict) else None
    return str(name or "kitchen")[:60], str(profile or "butter")[:60]


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


def study(book: Logbook) -> Study:
    """Read the last batches of the logbook and say what they teach."""
    accounts = [account(book.load(item.id)) for item in reversed(book.batches()[:_RECENT])]
    proposals: list[Learned] = []
    refusals: list[Refusal] = []
    by_kitchen: dict[str, list[Account]] = {}
    by_butter: dict[str, list[Account]] = {}
    for acc in accounts:
        kitchen, butter = subjects(acc.batch)
        by_kitchen.setdefault(kitchen, []).append(acc)
        by_butter.setdefault(butter, []).append(acc)

    def take(found: list[Learned] | Refusal) -> None:
        if isinstance(found, Refusal):
            refusals.append(found)
        else:
            proposals.extend(found)

    for kitchen, group in by_kitchen.items():
        take(_cold(kitchen, group, plans.FRIDGE))
        take(_cold(kitchen, group, plans.FREEZER))
        take(_bench(kitchen, group))
        take(_mixing(book, kitchen, group))
        take(_proof(kitchen, group))
    for butter, group in by_butter.items():
        take(_butter(book, butter, group))
    return Study(tuple(proposals), tuple(refusals))


def learn(book: Logbook) -> Study:
    """Study the logbook and put the proposals in force."""
    found = study(book)
    ledger.write(book, list(found.proposals))
    return found


def _batches(spells: list[Spell]) -> tuple[int, ...]:
    return tuple(dict.fromkeys(s.batch_id for s in spells))


def _cold(kitchen: str, group: list[Account], place: int) -> list[Learned] | Refusal:
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
    middle, low, high = _mean_band(values, _SHELF_C)
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


def _bench(kitchen: str, group: list[Account]) -> list[Learned] | Refusal:
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


def _mean_band(values: list[float], floor: float) -> tuple[float, float, float]:
    """Return (median, low, high): a 90 % t band of the mean around the median, never narrower than floor each way."""
    middle = float(np.median(values))
    if len(values) < 2:
        return middle, -math.inf, math.inf
    half = float(student.ppf(0.95, len(values) - 1)) * float(np.std(values, ddof=1)) / math.sqrt(len(values))
    half = max(half, floor)
    return middle, middle - half, middle + half


def _known_then(book: Logbook, acc: Account, subject: str) -> dict[str, float]:
    """Return the learned values that were in force when a batch was planned."""
    return {v.quantity: v.value for v in ledger.in_force(book, acc.batch.plan.made_at_s) if v.subject == subject}


def _mixing(book: Logbook, kitchen: str, group: list[Account]) -> list[Learned] | Refusal:
    """Warming by mixing: what was assumed, plus how much warmer the dough came off than wanted."""
    from tourier import quantities

    found, used, errors = [], [], []
    for acc in group:
        try:
            table = tomllib.loads(acc.batch.batch_text)
            wanted = quantities.temperature_c(table["dough_temperature"])
            mixing = table.get("kitchen", {}).get("mixing", {})
            assumed = quantities.difference_k(mixing["friction"]) if "friction" in mixing else None
            by = mixing.get("by", "hand")
        except (tomllib.TOMLDecodeError, KeyError, ValueError, TypeError, AttributeError):
            continue
        if assumed is None:
            assumed = MIXING_RISE_K["hand" if by == "hand" else "stand mixer"]
        assumed = _known_then(book, acc, kitchen).get("mixing_rise_k", assumed)
        for step in acc.of_kind(plans.BULK)[:1]:
            if not math.isnan(step.probe.at_start_c):
                found.append(assumed + step.probe.start_c - wanted)
                errors.append(step.probe.start_c - wanted)
                used.append(acc.batch.id)
    if len(found) < 2:
        return Refusal("mixing_rise_k", kitchen, "fewer than two batches had the dough's temperature read after mixing")
    middle, low, high = _mean_band(found, 0.3)
    if high - low > 6.0:
        return Refusal("mixing_rise_k", kitchen, f"mixing warmed the dough by anything from {low:.1f} to {high:.1f} K")
    held = float(np.median(found[:-1]))
    return [Learned("mixing_rise_k", kitchen, middle, low, high, "K", f"median of {len(found)} batches", tuple(used),
                    abs(errors[-1]), abs(found[-1] - held), "°C, dough off the mixer")]  # fmt: skip


def _proof(kitchen: str, group: list[Account]) -> list[Learned] | Refusal:
    """Proof dose of the batches the cook was content with, in seconds at the plan's reference temperature."""
    doses, planned, used = [], [], []
    for acc in group:
        outcome = acc.batch.outcome
        if outcome is None or (outcome.rating or 0) < 4 or {"flat", "dense", "hollow", "leak"} & set(outcome.symptoms):
            continue
        for step in acc.of_kind(plans.PROOF)[:1]:
            if step.step.dose_s and not math.isnan(step.dose_s):
                doses.append(step.dose_s)
                planned.append(float(step.step.dose_s))
                used.append(acc.batch.id)
    if len(doses) < 2:
        return Refusal("proof_dose_s", kitchen, "fewer than two proofs of well-rated batches (4 or 5) were read")
    middle, low, high = _mean_band(doses, 0.03 * float(np.median(doses)))
    if high - low > 0.8 * middle:
        return Refusal("proof_dose_s", kitchen, f"good batches proofed for anything from {low / 60:.0f} to "
                       f"{high / 60:.0f} min at the reference temperature")  # fmt: skip
    held = float(np.median(doses[:-1]))
    return [Learned("proof_dose_s", kitchen, middle, low, high, "s at the reference temperature",
                    f"median of {len(doses)} well-rated batches", tuple(used), abs(doses[-1] - planned[-1]) / 60,
                    abs(doses[-1] - held) / 60, "min of proof at the reference temperature")]  # fmt: skip


def _butter(book: Logbook, butter: str, group: list[Account]) -> list[Learned] | Refusal:
    """Pliable window from all bend tests of this butter, by the same rule as the timer's."""
    readings = [(cdeg, verdict) for acc in group for _at, cdeg, verdict in acc.bends]
    used = tuple(acc.batch.id for acc in group if acc.bends)
    low, high = _window_unlearned(book, butter, group)
    if NO_CDEG in (low, high):
        return Refusal("butter_low_c", butter, "the plan names no window to begin from")
    if len(readings) < 3:
        return Refusal("butter_low_c", butter, f"{len(readings)} bend tests; three are the least that tell something")
    new_low, new_high = shift_window(low, high, readings)
    before, after = _misjudged(low, high, readings), _misjudged(new_low, new_high, readings)
    out = []
    known = edges(low / 100, high / 100, readings)
    for quantity, cdeg, edge in (("butter_low_c", new_low, known[0]), ("butter_high_c", new_high, known[1])):
        value = cdeg / 100
        out.append(Learned(quantity, butter, value, min(value, edge.low_c), max(value, edge.high_c), "°C",
                           f"{len(readings)} bend tests, the timer's own rule", used, before, after,
                           "bend tests misjudged"))  # fmt: skip
    return out


def _window_unlearned(book: Logbook, butter: str, group: list[Account]) -> tuple[int, int]:
    """Return the window (0.01 °C) the tests are to move: a plan's own, not one that earlier tests have moved."""
    for acc in group:
        if "butter_low_c" not in _known_then(book, acc, butter):
            return acc.batch.plan.butter_low_cdeg, acc.batch.plan.butter_high_cdeg
    if butter in PROFILES:
        return round(100 * PROFILES[butter].window_low_c), round(100 * PROFILES[butter].window_high_c)
    return group[0].batch.plan.butter_low_cdeg, group[0].batch.plan.butter_high_cdeg


def _misjudged(low: int, high: int, readings: list[tuple[int, int]]) -> float:
    """Return how many bend tests a window judges otherwise than the cook did."""
    wrong = 0
    for cdeg, verdict in readings:
        judged = 1 if cdeg < low else 3 if cdeg > high else 2
        wrong += judged != verdict
    return float(wrong)
