"""The boiling point as a fixed point for the probe. Temperatures C, pressure Pa, altitude m."""

from __future__ import annotations

import math


def pressure_at_altitude_pa(altitude_m: float) -> float:
    """Standard atmosphere, -500..11000 m: 101325 (1 - 2.25577e-5 z)^5.25588. Weather moves it by +-3 kPa."""
    if not -500.0 <= altitude_m <= 11_000.0:
        raise ValueError(f"an altitude of {altitude_m:g} m is outside -500 to 11000 m")
    return 101_325.0 * (1.0 - 2.25577e-5 * altitude_m) ** 5.25588


# IAPWS-IF97, region 4 backward equation; coefficients of the release.
_N = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)


def boiling_point_c(pressure_pa: float) -> float:
    """Boiling point of water, C, at a local (station, not sea-level) pressure; IAPWS-IF97, 700 Pa .. 1 MPa.

    Slope about 0.28 K per kPa: a pressure beats an altitude, since weather is worth +-0.8 K.
    """
    if not 700.0 <= pressure_pa <= 1e6:
        raise ValueError(f"a pressure of {pressure_pa:g} Pa is outside 700 Pa to 1 MPa; give it in pascal")
    b = (pressure_pa * 1e-6) ** 0.25
    e = b * b + _N[2] * b + _N[5]
    f = _N[0] * b * b + _N[3] * b + _N[6]
    g = _N[1] * b * b + _N[4] * b + _N[7]
    d = 2.0 * g / (-f - math.sqrt(f * f - 4.0 * e * g))
    return 0.5 * (_N[9] + d - math.sqrt((_N[9] + d) ** 2 - 4.0 * (_N[8] + _N[9] * d))) - 273.15
