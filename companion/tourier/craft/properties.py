"""Density, heat capacity and conductivity of foods from what they are made of (Choi and Okos 1986, ASHRAE form).

Polynomials as in ASHRAE Handbook Refrigeration 2006 ch. 9, valid -40..150 C (water 0..150 C; below 0 C it is the
same branch continued: water still liquid). No melting, no freezing: that of milk fat is added from the butter profile,
that of ice from :mod:`tourier.craft.ice`.
All functions take degrees C and return SI.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tourier.craft.butter import ButterProfile, melting_cp_j_kgk, melting_heat_j_kg
from tourier.craft.composition import COMPONENTS, REFERENCE_RECIPE, mixture
from tourier.craft.ice import Ice, butter_ice

LOW_C, HIGH_C = -40.0, 150.0

# value = a + b T + c T^2; density kg/m3, heat capacity kJ/(kg K), conductivity W/(m K).
_DENSITY = {
    "water": (997.18, 3.1439e-3, -3.7574e-3), "ice": (916.89, -0.13071, 0.0), "protein": (1329.9, -0.51840, 0.0),
    "fat": (925.59, -0.41757, 0.0), "carbohydrate": (1599.1, -0.31046, 0.0), "fibre": (1311.5, -0.36589, 0.0),
    "ash": (2423.8, -0.28063, 0.0),
}  # fmt: skip
_HEAT = {
    "water": (4.1289, -9.0864e-5, 5.4731e-6), "ice": (2.0623, 6.0769e-3, 0.0),
    "protein": (2.0082, 1.2089e-3, -1.3129e-6), "fat": (1.9842, 1.4733e-3, -4.8008e-6),
    "carbohydrate": (1.5488, 1.9625e-3, -5.9399e-6), "fibre": (1.8459, 1.8306e-3, -4.6509e-6),
    "ash": (1.0926, 1.8896e-3, -3.6817e-6),
}  # fmt: skip
_CONDUCTIVITY = {
    "water": (0.57109, 1.7625e-3, -6.7036e-6), "ice": (2.2196, -6.2489e-3, 1.0154e-4),
    "protein": (0.17881, 1.1958e-3, -2.7178e-6), "fat": (0.18071, -2.7604e-4, -1.7749e-7),
    "carbohydrate": (0.20141, 1.3874e-3, -4.3312e-6), "fibre": (0.18331, 1.2497e-3, -3.1683e-6),
    "ash": (0.32962, 1.4011e-3, -2.9069e-6),
}  # fmt: skip

Composition = Mapping[str, float]


def _value(table, component: str, t_c: float) -> float:
    if not LOW_C <= t_c <= HIGH_C:
        raise ValueError(f"{t_c} C is outside the range of the food property model, {LOW_C:.0f} to {HIGH_C:.0f} C")
    a, b, c = table[component]
    return a + b * t_c + c * t_c * t_c


def component_density(component: str, t_c: float) -> float:
    """kg/m3 of one component ('water', 'ice', 'protein', 'fat', 'carbohydrate', 'fibre', 'ash') at t_c, -40..150 C."""
    return _value(_DENSITY, component, t_c)


def component_heat(component: str, t_c: float) -> float:
    """J/(kg K) of one component."""
    return 1e3 * _value(_HEAT, component, t_c)


def component_conductivity(component: str, t_c: float) -> float:
    """W/(m K) of one component."""
    return _value(_CONDUCTIVITY, component, t_c)


def density(x: Composition, t_c: float, porosity: float = 0.0) -> float:
    """kg/m3: (1 - porosity) / sum(x_i / rho_i); porosity = gas share of the volume, 0 <= porosity < 1."""
    if not 0.0 <= porosity < 1.0:
        raise ValueError(f"a gas share of {porosity} is not between 0 and 1")
    return (1.0 - porosity) / sum(x[n] / component_density(n, t_c) for n in COMPONENTS)


def heat_capacity(x: Composition, t_c: float) -> float:
    """J/(kg K), unfrozen, without melting: sum(x_i c_i)."""
    return sum(x[n] * component_heat(n, t_c) for n in COMPONENTS)


def volume_fractions(x: Composition, t_c: float) -> dict[str, float]:
    """Volume shares of the components, gas-free."""
    volumes = {n: x[n] / component_density(n, t_c) for n in COMPONENTS}
    total = sum(volumes.values())
    return {n: v / total for n, v in volumes.items()}


def conductivity_parallel(x: Composition, t_c: float) -> float:
    """W/(m K), upper bound: components side by side."""
    return sum(v * component_conductivity(n, t_c) for n, v in volume_fractions(x, t_c).items())


def conductivity_series(x: Composition, t_c: float) -> float:
    """W/(m K), lower bound: components one behind the other."""
    return 1.0 / sum(v / component_conductivity(n, t_c) for n, v in volume_fractions(x, t_c).items())


def maxwell(k_continuous: float, k_dispersed: float, share: float) -> float:
    """Maxwell-Eucken: spheres of ``k_dispersed`` filling ``share`` of the volume in a continuous phase, W/(m K)."""
    kc, kd = k_continuous, k_dispersed
    return kc * (2 * kc + kd - 2 * share * (kc - kd)) / (2 * kc + kd + share * (kc - kd))


def conductivity_fat_continuous(x: Composition, t_c: float) -> float:
    """W/(m K) of butter and its like: everything else dispersed in the fat (the rest itself mixed in parallel)."""
    v = volume_fractions(x, t_c)
    rest = 1.0 - v["fat"]
    k_fat = component_conductivity("fat", t_c)
    if rest <= 0.0:
        return k_fat
    k_rest = sum(v[n] * component_conductivity(n, t_c) for n in COMPONENTS if n != "fat") / rest
    return maxwell(k_fat, k_rest, rest)


def conductivity_dough(x: Composition, t_c: float, porosity: float = 0.0) -> float:
    """W/(m K) of dough: parallel, the water phase being continuous; gas cells dispersed in it by Maxwell-Eucken.

    Gas is taken as still air, 0.025 W/(m K). Gas after mixing is about 8-10 % of the volume (from memory).
    """
    return maxwell(conductivity_parallel(x, t_c), 0.025, porosity)


def conductivity_frozen(x: Composition, t_c: float, ice: float) -> float:
    """W/(m K), parallel, with ``ice`` kg/kg of the water frozen; 0 <= ice <= water."""
    if not 0.0 <= ice <= x["water"]:
        raise ValueError(f"ice of {ice:g} kg/kg in food with {x['water']:g} kg/kg of water")
    shares = {**{n: x[n] for n in COMPONENTS}, "water": x["water"] - ice, "ice": ice}
    volumes = {n: v / component_density(n, t_c) for n, v in shares.items()}
    return sum(v * component_conductivity(n, t_c) for n, v in volumes.items()) / sum(volumes.values())


@dataclass(frozen=True)
class Material:
    """What conducts: ``k`` W/(m K), ``rho`` kg/m3, ``c`` J/(kg K), and what melts or freezes in it, if anything.

    ``fat`` is the butter profile whose melting goes into the enthalpy, ``butter_share`` the mass share it has; ``ices``
    what water can freeze. ``k`` and ``rho`` stay those of the unfrozen material (what that costs: DEVELOPERS.md).
    """

    name: str
    k: float
    rho: float
    c: float
    fat: ButterProfile | None = None
    butter_share: float = 0.0
    ices: tuple[Ice, ...] = ()

    def latent_j_kg(self, t_c):
        """Heat of melting butter from -20 C less that given away by ice, J per kg of the material; array in and out."""
        t = np.asarray(t_c, dtype=float)
        heat = np.zeros_like(t) if self.fat is None else self.butter_share * melting_heat_j_kg(self.fat, t)
        for ice in self.ices:
            heat = heat + ice.heat_j_kg(t)
        return heat

    def enthalpy_j_m3(self, t_c):
        """Volumetric enthalpy above 0 C, with :meth:`latent_j_kg`; array in, array out."""
        t = np.asarray(t_c, dtype=float)
        return self.rho * (self.c * t + self.latent_j_kg(t))

    def apparent_c(self, t_c):
        """J/(kg K) including melting and freezing at t_c."""
        extra = 0.0 if self.fat is None else self.butter_share * melting_cp_j_kgk(self.fat, t_c)
        return self.c + extra + sum(ice.apparent_c_j_kgk(t_c) for ice in self.ices)

    @property
    def diffusivity(self) -> float:
        """m2/s without melting."""
        return self.k / (self.rho * self.c)

    @property
    def effusivity(self) -> float:
        """J m-2 K-1 s-0.5 without melting."""
        return (self.k * self.rho * self.c) ** 0.5


def butter_material(fat: ButterProfile, t_c: float = 14.0, melting: bool = True) -> Material:
    """Butter block at about ``t_c``; fat continuous."""
    x = fat.composition
    return Material(
        fat.title,
        conductivity_fat_continuous(x, t_c),
        density(x, t_c),
        heat_capacity(x, t_c),
        fat if melting else None,
        1.0 if melting else 0.0,
        (butter_ice(x),),
    )


def dough_material(
    x: Composition, t_c: float = 10.0, porosity: float = 0.0, name: str = "dough", ice: Ice | None = None
) -> Material:
    """Détrempe of composition ``x``, gassy by ``porosity``; ``ice`` as :func:`tourier.craft.ice.dough_ice` gives it."""
    k, rho = conductivity_dough(x, t_c, porosity), density(x, t_c, porosity)
    return Material(name, k, rho, heat_capacity(x, t_c), ices=() if ice is None else (ice,))


def laminate_material(
    dough: Material, butter: Material, butter_mass: float, dough_mass: float, name: str = "laminate"
) -> Material:
    """Many thin layers as one material, heat flowing across them: conductivities in series, heat by mass.

    ``butter_mass`` and ``dough_mass`` in any one unit.
    """
    if butter_mass < 0.0 or dough_mass <= 0.0:
        raise ValueError("a laminate needs some dough and no less than no butter")
    total = butter_mass + dough_mass
    share = butter_mass / total
    volume_b, volume_d = butter_mass / butter.rho, dough_mass / dough.rho
    phi = volume_b / (volume_b + volume_d)
    return Material(
        name,
        1.0 / (phi / butter.k + (1.0 - phi) / dough.k),
        total / (volume_b + volume_d),
        share * butter.c + (1.0 - share) * dough.c,
        butter.fat,
        share * butter.butter_share,
        tuple(i.of(share) for i in butter.ices if share > 0.0) + tuple(i.of(1.0 - share) for i in dough.ices),
    )


#: Used wherever a batch has not said its own.
REFERENCE_DOUGH = mixture(REFERENCE_RECIPE)
