"""What the batches teach: fridge, freezer, bench, mixer, proof, butter. Fitted anew from all logs, never from itself.

`study` reads the logbook and proposes; `learn` writes what it proposes. Each proposal names its batches, carries a
90 % band and the forecast's error before and after; what the logs cannot tell is refused with a sentence.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass

import numpy as np

from shared_schedule import plan as plans
from shared_schedule.units import NO_CDEG
from shared_schedule.window import shift_window
from tourier.craft.butter import PROFILES, now_called
from tourier.craft.water import MIXING_RISE_K
from tourier.known import Learned, possible
from tourier.logbook.account.steps import Account, account
from tourier.logbook.learning import heat, ledger
from tourier.logbook.learning.bends import edges
from tourier.logbook.learning.heat import mean_band
from tourier.logbook.learning.ledger import Refusal
from tourier.logbook.record.model import Batch
from tourier.logbook.record.store import Logbook

_RECENT = 20  # batches looked back on: a fridge or a butter of years ago is another one


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
    return str(name or "kitchen")[:60], now_called(str(profile or "butter"))[:60]


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
            taken, refused = sifted(found)
            proposals.extend(taken)
            refusals.extend(refused)

    for kitchen, group in by_kitchen.items():
        take(heat.cold(kitchen, group, plans.FRIDGE))
        take(heat.cold(kitchen, group, plans.FREEZER))
        take(heat.bench(kitchen, group))
        take(_mixing(book, kitchen, group))
        take(_proof(kitchen, group))
    for butter, group in by_butter.items():
        take(_butter(book, butter, group))
    return Study(tuple(proposals), tuple(refusals))


def sifted(found: list[Learned]) -> tuple[list[Learned], list[Refusal]]:
    """Part what can be true from what a plan would refuse."""
    taken = [value for value in found if possible(value.quantity, value.value)]
    return taken, [Refusal(value.quantity, value.subject, "the logs lead to a value that no kitchen and butter has")
                   for value in found if value not in taken]  # fmt: skip


def learn(book: Logbook) -> Study:
    """Study the logbook and put the proposals in force."""
    found = study(book)
    ledger.write(book, list(found.proposals))
    return found


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
    middle, low, high = mean_band(found, 0.3)
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
    middle, low, high = mean_band(doses, 0.03 * float(np.median(doses)))
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
