"""The knowledge table: symptom, cause, how the log shows it, where that is said, what to change.

It is meant to be read and argued with. Causes with no evidence function are those a log cannot show; they are named
as rivals so that nobody is certain for the wrong reason. Probabilities and thresholds stand in findings.toml.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from tourier.logbook.account.steps import Account
from tourier.logbook.findings import evidence, evidence_late
from tourier.logbook.findings.marks import Reading
from tourier.logbook.findings.numbers import Numbers

_CP = "common practice, no source"
_IREKS_PROOF = "upper limit for the proof of butter goods: IREKS compendium 11.5"
_IREKS_REST = "rest lets the dough relax and keeps it from shrinking: IREKS compendium 11.3"
_MACIAS = "Macias Rodriguez & Marangoni 2018, Physics Today 71(1):70"
_SOFT = f"fat that is too soft is absorbed and the crumb turns bready: {_MACIAS}"
_HARD = f"fat that is too hard breaks into pieces: {_MACIAS}"
_LONG = "a long, hot proof leads to compressed layers and partial collapse: common practice, no source"
_PHYSICS = "physics: a surface below the dew point wets"

SYMPTOMS: dict[str, str] = {
    "leak": "butter ran out in the proof or the oven",
    "bready": "bready crumb, few layers",
    "shattered-butter": "butter in flakes or marbled through the sheet",
    "hollow": "hollow inside, one big hole",
    "flat": "flat, spread out",
    "dense": "dense, small, heavy base",
    "uneven": "layers uneven, wild lift",
    "torn-skin": "skin torn, butter showing",
    "shrinks": "sprang back while rolling, pieces thick",
    "dry-skin": "dry, split skin in the proof",
    "sticky": "sticky surface, layers merged",
    "sour": "coarse, sour, blown layers",
    "dark": "too dark, dry",
    "pale": "pale or raw inside",
    "bland": "tastes flat, salt or wash missing",
}


@dataclass(frozen=True)
class Cause:
    """One cause. `change` is the one thing to try, {step} is filled in. `evidence` None: no log shows it."""

    key: str
    title: str
    change: str
    source: str
    evidence: Callable[[Account, Numbers], Reading] | None = None
    about_fold: bool = False  # whether a fold or rest is to be named


CAUSES: tuple[Cause, ...] = (
    Cause("butter-too-cold", "butter too cold at lock-in",
          "Temper the block until the probe reads inside its window before you enclose it; bend a corner first.",
          _HARD, evidence.butter_too_cold),
    Cause("butter-too-warm", "butter too warm at lock-in",
          "Put the block back into the fridge until the probe reads inside its window; only then enclose it.",
          _SOFT, evidence.butter_too_warm),
    Cause("dough-too-cold", "dough too cold, so that it hardened the butter again",
          "Let the dough stand until it is no more than a few degrees colder than the butter, and roll at once after "
          "lock-in.", f"{_HARD}; equal consistency of dough and fat: IREKS compendium 11.3",
          evidence.dough_too_cold, about_fold=True),
    Cause("warm-bench", "bench too warm for the whole lamination",
          "Ice the bench before lock-in and before each fold, or work in a cooler hour; change nothing else.",
          _SOFT, evidence.warm_bench),
    Cause("slow-fold", "one fold stayed on the bench too long",
          "At {step}, stop after the minutes in the plan: wrap the pâton, chill it and finish the fold later.",
          _SOFT, evidence.slow_fold, about_fold=True),
    Cause("short-rest", "a rest was cut short",
          "Give {step} its full time, or until the core is at its target; plan a later ready time if it does not fit.",
          _IREKS_REST, evidence.short_rest, about_fold=True),
    Cause("long-rest", "a rest was overdone, so that the butter was hard",
          "After a rest as long as {step}, let the pâton stand until the probe is in the window before you roll.",
          _HARD, evidence.long_rest, about_fold=True),
    Cause("hot-proof", "proof too warm for the butter",
          "Proof two or three degrees cooler and longer; keep the air under the butter's cap.",
          _IREKS_PROOF, evidence_late.hot_proof),
    Cause("short-proof", "proof too short",
          "Bake when the proof is full and the pieces wobble, not by the clock.",
          f"{_CP} (under-proofed pieces leak and tunnel)", evidence_late.short_proof),
    Cause("long-proof", "proof too long",
          "Bake as soon as the pieces wobble; put them in the fridge if the oven is not free.",
          _LONG, evidence_late.long_proof),
    Cause("condensation", "condensation on a cold bench or pâton",
          "Do not chill the bench below the dew point: ice it shorter and wipe it dry, or dry the room's air.",
          _PHYSICS, evidence_late.condensation),
    Cause("probe-fault", "the probe gave no reading when it mattered",
          "Check plug and probe in ice slush before the next batch; until then this log cannot tell.",
          _CP, evidence_late.probe_fault, about_fold=True),
    Cause("late-oven", "the oven was emptied late",
          "Look at the first tray five minutes before its time, and take the alarm with you.", _CP,
          evidence_late.late_oven),
    Cause("warm-fridge", "the fridge is warmer than the plan believes",
          "Put a thermometer on the fridge shelf overnight; let the plan learn it, or rest in the freezer's coldest "
          "minutes.", f"a 30-minute fridge rest does not re-chill a 20 mm book: conduction, own computation; {_CP}",
          evidence.warm_fridge),
    Cause("warm-shaping", "sheet or pieces too warm while sheeting, cutting and shaping",
          "Chill the sheet ten minutes before cutting and shape in two halves.", _SOFT, evidence.warm_shaping),
    Cause("early-fermentation", "the dough fermented during lamination",
          "Keep the pâton colder between the folds, or take less yeast.", _CP, evidence_late.early_fermentation),
    Cause("dry-proof", "dry air in the proof",
          "Cover the pieces or put a tray of warm, not steaming, water below them.",
          "75-80 % humidity: IREKS compendium 11.5", evidence_late.dry_proof),
    Cause("missed-item", "an item was passed over", "Tick it on the timer when it is done, not when it is due.",
          _CP, evidence_late.missed_item),
    # What no log shows.
    Cause("cool-oven", "oven cooler than its dial", "Put an oven thermometer beside the tray.", _CP),
    Cause("hot-oven", "oven hotter than its dial", "Put an oven thermometer beside the tray.", _CP),
    Cause("much-yeast", "more yeast than the hours need", "Take a fifth less yeast.", _CP),
    Cause("torn-seams", "seams torn or badly closed in shaping", "Chill cut pieces before stretching them.", _CP),
    Cause("tight-roll", "pieces rolled too tightly", "Roll the next tray looser and compare.", _CP),
    Cause("dusting-flour", "dusting flour left between the folds", "Brush the flour off before every fold.", _CP),
    Cause("overmixed", "dough mixed too long, or flour too strong", "Mix two minutes less.", _IREKS_REST),
    Cause("uneven-rolling", "uneven rolling", "Roll from the middle outwards and turn the pâton a quarter each time.",
          "equal layers need equal reduction: IREKS compendium 11.3"),
    Cause("weak-yeast", "old or too little yeast", "Prove a pinch in warm water before mixing.", _CP),
    Cause("butter-brand", "another butter than before", "Note the brand with the batch; make a bend test.",
          "4 of 14 commercial butters gave low croissants: Waite-Cusic et al., ADSA 2020 abstract"),
)  # fmt: skip

# Causes no log shows, by the symptom they also explain.
UNSEEN: dict[str, tuple[str, ...]] = {
    "leak": ("cool-oven", "torn-seams", "butter-brand"),
    "bready": ("overmixed", "butter-brand"),
    "shattered-butter": ("uneven-rolling", "butter-brand"),
    "hollow": ("tight-roll", "dusting-flour"),
    "flat": ("weak-yeast",),
    "dense": ("weak-yeast", "cool-oven"),
    "uneven": ("uneven-rolling", "dusting-flour"),
    "torn-skin": ("overmixed", "uneven-rolling"),
    "shrinks": ("overmixed",),
    "dry-skin": (),
    "sticky": ("dusting-flour",),
    "sour": ("much-yeast",),
    "dark": ("hot-oven",),
    "pale": ("cool-oven",),
    "bland": (),
}

BY_KEY: dict[str, Cause] = {cause.key: cause for cause in CAUSES}


def table() -> list[dict[str, str]]:
    """Return the knowledge table as rows (symptom, cause, evidence, source) for printing."""
    from tourier.logbook.findings.numbers import builtin

    rows = []
    for name, words in SYMPTOMS.items():
        for key in [k for k in builtin().symptom.get(name, {}) if k != "otherwise"] + list(UNSEEN.get(name, ())):
            cause = BY_KEY[key]
            shown = (cause.evidence.__doc__ or "").split("\n")[0] if cause.evidence else "the log cannot show it"
            rows.append({"symptom": words, "cause": cause.title, "evidence": shown, "source": cause.source})
    return rows
