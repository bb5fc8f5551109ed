"""Proof: ours beside published and usual times, tray in to oven."""

from tourier.craft import butter, proof, yeast
from tourier.craft.composition import REFERENCE_RECIPE, mixture
from tourier.craft.properties import butter_material, dough_material, laminate_material
from tourier.craft.scene import Ambient

_BUTTER = butter.profile("roll-in-84")
_LAMINATE = laminate_material(
    dough_material(mixture(REFERENCE_RECIPE), 12.0), butter_material(_BUTTER, 12.0), 28.0, 72.0
)


def _minutes(air_c: float, humidity: float, start_c: float = 15.0) -> float:
    kitchen = Ambient(proof_humidity=humidity)
    made = proof.warming(_LAMINATE, 60.0, start_c, air_c, kitchen)
    return made.when_s(proof.usual_dose_s(_LAMINATE, Ambient())) / 60.0


def _row(what, ours, theirs, tolerance, source, label, unit="min"):
    return {"what": what, "ours": ours, "theirs": theirs, "tolerance": tolerance, "unit": unit, "source": source,
            "label": label}  # fmt: skip


ROWS = [
    _row("proof of 60 g at 30 C, 80 % humidity", lambda: _minutes(30.0, 0.80), 90.0, 20.0,
         "Waite-Cusic et al. 2020, ADSA abstract (a study's own choice)", "published"),
    _row("proof of 60 g in a prover of 28 C, 78 %", lambda: _minutes(28.0, 0.78), 75.0, 40.0,
         "a training sheet, 60 to 90 min; temperature not printed, 28 C by IREKS compendium 11.5", "published"),
    _row("proof of 60 g at home, 26 C", lambda: _minutes(26.0, 0.75), 105.0, 20.0, "1.5 to 2 h at 25 to 27 C",
         "common practice"),
    _row("proof of 60 g from the fridge, 26 C", lambda: _minutes(26.0, 0.75, 5.0), 135.0, 45.0,
         "2 to 2.5 h after a night in the fridge", "common practice"),
    _row("osmotic pressure of the usual dough", lambda: yeast.osmotic_pressure_pa(yeast.USUAL) / 101_325.0, 67.5, 32.5,
         "35 to 100 atmospheres: buffalobrewingstl.com, info-hhr", "published", "atm"),
]  # fmt: skip
