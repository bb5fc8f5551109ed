"""Butter profiles: how solid, how warm, how far it bends. Data with sources, and the few functions that read it.

A profile is a starting point, never the truth about the butter on the bench: milk fat differs by season and maker by
several points of solid fat, and the windows are trade values good to about +-2 K. A bend test of the cook's own
butter replaces them (:func:`with_window`).

Temperatures in degrees C, fractions 0..1, energies in J per kg.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy.interpolate import PchipInterpolator

#: Temperatures of the solid fat tables, degrees C.
SFC_T_C = (-20.0, -10.0, 0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0)

# Milk fat, from memory, +-5 points (0..40 C, pNMR style). Below 0 C: an extension of ours towards the -40 C start of
# melting (Sherbon 1974, JAOCS 51:22-25), only so that a freezer spell has a slope; no published table was seen.
_MILK_FAT = (70.0, 65.0, 58.0, 51.0, 43.0, 31.0, 17.0, 10.0, 5.0, 1.0, 0.0)
# Roll-in butter with hard fractions: +5..+10 points at 20 C (from memory), spread over the neighbouring nodes.
_HARD = (71.0, 67.0, 61.0, 55.0, 48.0, 38.0, 25.0, 16.0, 9.0, 4.0, 0.0)
# 84 % roll-in: between standard and hard-fraction butter, a guess of ours (+3 points at 20 C).
_ROLL_IN = (70.0, 66.0, 59.0, 52.0, 45.0, 34.0, 20.0, 12.5, 6.5, 2.0, 0.0)
# Plant-fat block: blends differ too much for one curve; this flat curve is a guess, and the profile says so.
_PLANT = (68.0, 64.0, 58.0, 53.0, 46.0, 36.0, 25.0, 15.0, 8.0, 3.0, 0.0)

#: J per kg of fat melted. Anhydrous milk fat 80.8 J/g: Abd El-Rahman et al. 1998, Milchwissenschaft 53:77-81.
MILK_FAT_LATENT_J_KG = 80_800.0

_S_SFC = "solid fat curve from memory, +-5 points"
_S_LATENT = "heat of fusion 80.8 J/g: Abd El-Rahman et al. 1998, Milchwissenschaft 53:77-81"
_S_WINDOW = "pliable window and limits: common practice, no source"
_S_MELT = "butter melts at 28-32 C, roll-in butters higher: INBP trainer quoted in La Toque"
_S_LEGAL = "fat and water: Codex / EU Reg. 1308/2013"


@dataclass(frozen=True)
class ButterProfile:
    """One butter.

    ``window_low_c .. window_high_c`` is where it bends without cracking or smearing; below ``stop_low_c`` it shatters,
    above ``stop_high_c`` it is absorbed; between stop and window lies caution. ``melting_point_c`` is the trade's
    melting point, from which the proof cap is taken. ``sfc_percent`` belongs to :data:`SFC_T_C`.
    """

    name: str
    title: str
    fat: float
    water: float
    protein: float
    carbohydrate: float
    ash: float
    sfc_percent: tuple[float, ...]
    latent_j_kg: float
    melting_point_c: float
    stop_low_c: float
    window_low_c: float
    window_high_c: float
    stop_high_c: float
    calibrated: bool
    sources: tuple[str, ...]

    @property
    def caution(self) -> str:
        """A sentence for the plan when the profile is not to be trusted, else an empty string."""
        if self.calibrated:
            return ""
        return (
            f"{self.title} is uncalibrated: no trustworthy figures are published for it; "
            "make a bend test and enter your own window before relying on warnings."
        )

    @property
    def composition(self) -> dict[str, float]:
        """Mass fractions by component, as :mod:`tourier.craft.properties` wants them."""
        return {
            "water": self.water,
            "protein": self.protein,
            "fat": self.fat,
            "carbohydrate": self.carbohydrate,
            "fibre": 0.0,
            "ash": self.ash,
        }


_BUTTER_82 = ButterProfile(
    name="standard-82",
    title="Butter, 82 % fat",
    fat=0.82,
    water=0.160,
    protein=0.008,
    carbohydrate=0.010,
    ash=0.002,
    sfc_percent=_MILK_FAT,
    latent_j_kg=MILK_FAT_LATENT_J_KG,
    melting_point_c=32.0,
    stop_low_c=10.0,
    window_low_c=13.0,
    window_high_c=16.0,
    stop_high_c=20.0,
    calibrated=True,
    sources=(_S_LEGAL, _S_SFC, _S_LATENT, _S_MELT, _S_WINDOW),
)

#: The others say only in what they differ from butter of 82 %.
PROFILES: dict[str, ButterProfile] = {
    p.name: p
    for p in (
        replace(
            _BUTTER_82, name="standard-80", title="Butter, 80 % fat", melting_point_c=31.0,
            fat=0.811, water=0.1794, protein=0.0085, carbohydrate=0.0006, ash=0.0004,
            sources=("composition: USDA SR 01145 butter, unsalted (81.1 % fat)", *_BUTTER_82.sources[1:]),
        ),
        _BUTTER_82,
        replace(
            _BUTTER_82, name="roll-in-84", title="Roll-in butter, 84 % fat", melting_point_c=34.0, window_high_c=18.0,
            fat=0.84, water=0.145, protein=0.007, carbohydrate=0.006, sfc_percent=_ROLL_IN,
            sources=(
                "composition of 84 % butter: common practice, no source (trade pages 82-86 % fat, 14-16 % water)",
                *_BUTTER_82.sources[1:],
            ),
        ),
        replace(
            _BUTTER_82, name="hard-fraction", title="Roll-in butter with hard fractions, 82 % fat",
            sfc_percent=_HARD, latent_j_kg=85_000.0, melting_point_c=37.0,
            stop_low_c=11.0, window_low_c=14.0, window_high_c=19.0, stop_high_c=22.0,
            sources=(
                "melting point up to 38 C, 82 % fat: iba trade fair",
                _S_SFC,
                "heat of fusion between whole milk fat 80.8 and very-high-melting fraction 110.5 J/g: "
                "Abd El-Rahman et al. 1998",
                _S_WINDOW,
            ),
        ),
        replace(
            _BUTTER_82, name="cultured-82", title="Cultured butter, 82 % fat",
            sources=(
                *_BUTTER_82.sources[:-1],
                "same window as sweet-cream butter of the same fat: common practice, no source",
            ),
        ),
        replace(
            _BUTTER_82, name="plant-block", title="Plant-fat block", calibrated=False,
            fat=0.79, water=0.195, protein=0.002, ash=0.003,
            sfc_percent=_PLANT, latent_j_kg=90_000.0, melting_point_c=30.0,
            stop_low_c=8.0, window_low_c=12.0, window_high_c=15.0, stop_high_c=18.0,
            sources=("composition, solid fat curve, heat of fusion and window: guesses, no source; narrow on purpose",),
        ),
    )
}  # fmt: skip


OLD_NAMES = {"vegan-block": "plant-block"}


def now_called(name: str) -> str:
    """Return a profile's name of today: files and logbooks keep the names they were written with."""
    return OLD_NAMES.get(name, name)


def profile(name: str) -> ButterProfile:
    """The profile called ``name``, by an old name too; ``KeyError`` with the known names otherwise."""
    try:
        return PROFILES[now_called(name)]
    except KeyError:
        raise KeyError(f"no butter profile called {name!r}; known: {', '.join(PROFILES)}") from None


def with_window(butter: ButterProfile, low_c: float, high_c: float) -> ButterProfile:
    """The profile with the cook's own window (from a bend test), stop limits kept 3 K below and 4 K above it."""
    if not (0.0 <= low_c < high_c <= 30.0):
        raise ValueError(f"a pliable window of {low_c} to {high_c} C is not one of butter: 0 <= low < high <= 30 C")
    return replace(
        butter,
        window_low_c=low_c,
        window_high_c=high_c,
        stop_low_c=low_c - 3.0,
        stop_high_c=high_c + 4.0,
        calibrated=True,
    )


def seasonal(butter: ButterProfile, shift_points: float) -> ButterProfile:
    """The profile with its solid fat shifted by ``shift_points`` at 10 C (winter about +3, summer about -3).

    Calorimetry gives 59 % solid in summer and 65 % in winter butter at 10 C (J. Dairy Sci. abstract): half of that gap
    either way is the published span. The shift tapers to nothing at -20 and 40 C.
    """
    taper = np.interp(SFC_T_C, (-20.0, 10.0, 40.0), (0.0, 1.0, 0.0))
    shifted = tuple(
        float(np.clip(s + shift_points * w, 0.0, 100.0)) for s, w in zip(butter.sfc_percent, taper, strict=True)
    )
    return replace(butter, sfc_percent=shifted)


@lru_cache(maxsize=64)
def _curve(points: tuple[float, ...]) -> PchipInterpolator:
    return PchipInterpolator(SFC_T_C, np.asarray(points) / 100.0, extrapolate=False)


def solid_fraction(butter: ButterProfile, t_c):
    """Solid share of the fat, 0..1, at ``t_c`` (array or float), monotone cubic between the table's points."""
    t = np.clip(np.asarray(t_c, dtype=float), SFC_T_C[0], SFC_T_C[-1])
    return np.clip(_curve(butter.sfc_percent)(t), 0.0, 1.0)


def melting_heat_j_kg(butter: ButterProfile, t_c):
    """Heat taken up by melting from -20 C to ``t_c``, J per kg of butter (fat share and latent heat included)."""
    s0 = butter.sfc_percent[0] / 100.0
    return butter.fat * butter.latent_j_kg * (s0 - solid_fraction(butter, t_c))


def melting_cp_j_kgk(butter: ButterProfile, t_c):
    """The melting part of the apparent heat capacity, J/(kg K): x_fat L (-dSFC/dT); zero outside -20..40 C."""
    t = np.asarray(t_c, dtype=float)
    slope = _curve(butter.sfc_percent).derivative()(np.clip(t, SFC_T_C[0], SFC_T_C[-1]))
    return np.where((t < SFC_T_C[0]) | (t > SFC_T_C[-1]), 0.0, -butter.fat * butter.latent_j_kg * slope)


def proof_air_cap_c(butter: ButterProfile, margin_k: float = 4.0) -> float:
    """Warmest proof air, degrees C: min(28, melting point - margin).

    28 C for butter goods: IREKS compendium 11.5. Margin of about 4 K: common practice, no source.
    """
    return min(28.0, butter.melting_point_c - margin_k)
