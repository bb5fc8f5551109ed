"""Where the usual films of tourier.craft.films come from: free convection and radiation, W/(m2 K).

Free convection over horizontal sheets: McAdams' correlations (upper side of a warm sheet or lower side of a cold one:
Nu = 0.54 Ra^1/4, 0.15 Ra^1/3 from 1e7; the other side: 0.27 Ra^1/4), as in Incropera.
"""

from __future__ import annotations

STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m2 K4)
GRAVITY = 9.80665
EMISSIVITY = 0.95  # dough, butter, most kitchen surfaces; bare metal is far lower


def air_properties(t_c: float, pressure_pa: float = 101_325.0) -> dict[str, float]:
    """Dry air at -40..60 C: ``rho`` kg/m3, ``mu`` Pa s, ``k`` W/(m K), ``c`` J/(kg K), ``nu`` m2/s, ``pr``.

    Ideal gas; Sutherland's law for viscosity and its form for conductivity (constants from memory: 1.716e-5 Pa s,
    110.4 K; 0.02436 W/(m K), 194 K at 273.15 K). Within 0.8 % of CoolProp, see the table of outside checks.
    """
    if not -40.0 <= t_c <= 60.0:
        raise ValueError(f"{t_c} C is outside -40 to 60 C, the range of the air properties")
    t = t_c + 273.15
    rho = pressure_pa / (287.055 * t)
    mu = 1.716e-5 * (t / 273.15) ** 1.5 * (273.15 + 110.4) / (t + 110.4)
    k = 0.02436 * (t / 273.15) ** 1.5 * (273.15 + 194.0) / (t + 194.0)
    c = 1006.0
    return {"rho": rho, "mu": mu, "k": k, "c": c, "nu": mu / rho, "pr": mu * c / k}


def rayleigh(surface_c: float, air_c: float, length_m: float, pressure_pa: float = 101_325.0) -> float:
    """Rayleigh number on ``length_m`` (area over perimeter for a sheet), film temperature properties."""
    mean = 0.5 * (surface_c + air_c)
    a = air_properties(mean, pressure_pa)
    return GRAVITY * abs(surface_c - air_c) * length_m**3 / ((mean + 273.15) * a["nu"] ** 2) * a["pr"]


def free_convection(surface_c: float, air_c: float, length_m: float, facing: str = "up") -> float:
    """W/(m2 K) of free convection on one side of a horizontal sheet; ``facing`` 'up' or 'down'."""
    if facing not in ("up", "down"):
        raise ValueError(f"a horizontal face looks 'up' or 'down', not {facing!r}")
    ra = rayleigh(surface_c, air_c, length_m)
    rises = (surface_c >= air_c) == (facing == "up")
    nu = (0.54 * ra**0.25 if ra < 1e7 else 0.15 * ra ** (1 / 3)) if rises else 0.27 * ra**0.25
    return nu * air_properties(0.5 * (surface_c + air_c))["k"] / length_m


def radiation(surface_c: float, surroundings_c: float, emissivity: float = EMISSIVITY) -> float:
    """W/(m2 K), linearised exactly: e sigma (Ts + Ta)(Ts^2 + Ta^2), kelvin inside."""
    a, b = surface_c + 273.15, surroundings_c + 273.15
    return emissivity * STEFAN_BOLTZMANN * (a + b) * (a * a + b * b)


def still_film(surface_c: float, air_c: float, length_m: float = 0.0857, facing: str = "up") -> float:
    """Free convection plus radiation, W/(m2 K); the default length is a sheet of 0.4 x 0.3 m (area over perimeter)."""
    return free_convection(surface_c, air_c, length_m, facing) + radiation(surface_c, air_c)
