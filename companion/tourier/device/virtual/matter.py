"""What the virtual kitchen is made of and how heat moves in it: the truth behind a rehearsal.

One body = one profile through its thickness, lowest node first, with the share of butter in every node. Steps are fully
implicit; the enthalpy's bend is met by Newton; the bench column under a body is linear, so it is eliminated first and
leaves one conductance. Plain Python loops: a step costs tens of microseconds and two days a second or so.

Nothing here is shared with the forecasts but the solid fat points of the butter profiles, which are data.
"""

from __future__ import annotations

import math

from tourier.craft.butter import SFC_T_C

PATON_NODES = 24
BENCH_NODES = 10

#: (k W/(m K), rho kg/m3, c J/(kg K)): DIN EN 12524 / ASHRAE design values as tabulated in `ht.insulation`.
BENCHES = {
    "marble": (3.5, 2800.0, 1000.0),
    "granite": (2.8, 2600.0, 1000.0),
    "slate": (2.2, 2400.0, 1000.0),
    "steel": (17.0, 7900.0, 460.0),
    "glass": (1.0, 2500.0, 750.0),
    "maple": (0.165, 667.5, 1630.0),
    "oak": (0.17, 705.0, 1630.0),
}
# Benches a batch file may name in a broader word: the commonest of the kind (common practice, no source).
BENCHES |= {
    "stone": BENCHES["granite"], "stainless steel": BENCHES["steel"], "wood": BENCHES["maple"],
    "beech": BENCHES["maple"],
}  # fmt: skip

# A grid of half degrees, on which melting heat is tabulated once per kitchen.
_TABLE_LOW_C = -30.0
_TABLE_PER_C = 2.0
_TABLE_SIZE = 300


class Body:
    """One thing with a temperature profile: dough, butter block or laminate, bottom node first."""

    __slots__ = (
        "name",
        "where",
        "t",
        "phi",
        "thickness_m",
        "under",
        "owed_s",
        "roll_to_m",
        "roll_left_s",
        "condensed_kg_m2",
        "covered",
        "folds",
        "locked",
    )

    def __init__(self, name, t_c, phi, thickness_m, where):
        self.name = name
        self.where = where
        self.t = [float(t_c)] * PATON_NODES
        self.phi = [float(phi)] * PATON_NODES
        self.thickness_m = thickness_m
        self.under: list[float] | None = None  # bench column while it lies on the bench
        self.owed_s = 0.0
        self.roll_to_m = 0.0
        self.roll_left_s = 0.0
        self.condensed_kg_m2 = 0.0
        self.covered = False
        self.folds = 0
        self.locked = phi == 1.0


def _saturation_pa(t_c: float) -> float:
    """Vapour pressure over water, Magnus form of Alduchov & Eskridge 1996, from memory; -40..50 C."""
    return 610.94 * math.exp(17.625 * t_c / (243.04 + t_c))


class Matter:
    """Material values, films and air of one kitchen (set by it), and the steps in time of bench and bodies."""

    film: dict[str, float]  # W/(m2 K) by place, radiation included
    air: dict[str, float]  # C by place
    tray_share: float
    bench_k: float
    bench_rc: float
    bench_m: float
    contact: float
    dough_k: float
    dough_rc: float
    butter_k: float
    butter_rc: float
    butter_rho: float
    humidity: float
    proof_humidity: float
    bench_condensed_kg_m2: float
    _melt_j_m3: list[float]
    _roll_heat_k: float
    _bench: list[float]
    _ice_left_s: float

    @staticmethod
    def _melting_table(fat, latent_j_kg: float) -> list[float]:
        """Melting heat per m3 of butter on the half-degree grid, from straight lines between the profile's points."""
        scale = 936.0 * fat.fat * latent_j_kg / 100.0
        out = []
        for i in range(_TABLE_SIZE):
            t = min(max(_TABLE_LOW_C + i / _TABLE_PER_C, SFC_T_C[0]), SFC_T_C[-1])
            j = 0
            while j < len(SFC_T_C) - 2 and t > SFC_T_C[j + 1]:
                j += 1
            w = (t - SFC_T_C[j]) / (SFC_T_C[j + 1] - SFC_T_C[j])
            sfc = fat.sfc_percent[j] + w * (fat.sfc_percent[j + 1] - fat.sfc_percent[j])
            out.append(scale * (fat.sfc_percent[0] - sfc))
        return out

    def _heat(self, t: float, phi: float) -> tuple[float, float]:
        """Enthalpy J/m3 above 0 C and its slope J/(m3 K) of dough with a butter volume share ``phi``."""
        base = (1.0 - phi) * self.dough_rc + phi * self.butter_rc
        if phi == 0.0:
            return base * t, base
        x = (t - _TABLE_LOW_C) * _TABLE_PER_C
        i = int(x)
        if x < 0.0 or i >= _TABLE_SIZE - 1:
            i = 0 if x < 0.0 else _TABLE_SIZE - 2
        low = self._melt_j_m3[i]
        slope = self._melt_j_m3[i + 1] - low
        return base * t + phi * (low + slope * (x - i)), base + phi * slope * _TABLE_PER_C

    def _restack(self, parts) -> tuple[list[float], list[float]]:
        """Stack (temperatures, butter shares, thickness) parts and average them onto the grid, keeping the heat."""
        edges, cells = [0.0], []
        for t, phi, thick in parts:
            dz = thick / len(t)
            for a, p in zip(t, phi, strict=True):
                edges.append(edges[-1] + dz)
                cells.append((self._heat(a, p)[0], p))
        width = edges[-1] / PATON_NODES
        new_t, new_phi = [], []
        j = 0
        for i in range(PATON_NODES):
            low, high = i * width, (i + 1) * width
            heat = fat = 0.0
            while True:
                share = min(high, edges[j + 1]) - max(low, edges[j])
                if share > 0.0:
                    heat += share * cells[j][0]
                    fat += share * cells[j][1]
                if edges[j + 1] >= high - 1e-15 or j == len(cells) - 1:
                    break
                j += 1
            phi = min(1.0, fat / width)
            new_phi.append(phi)
            new_t.append(self._temperature(heat / width, phi))
        return new_t, new_phi

    def _temperature(self, heat: float, phi: float) -> float:
        t = heat / ((1.0 - phi) * self.dough_rc + phi * self.butter_rc)
        for _ in range(40):
            h, c = self._heat(t, phi)
            if abs(h - heat) < 1.0:
                break
            t -= (h - heat) / c
        return t

    def _settle(self, body: Body) -> None:
        """Bring a body up to the kitchen's time."""
        while body.owed_s > 0.0:
            dt = min(body.owed_s, 60.0)
            if body.roll_left_s > 0.0:
                dt = min(dt, 5.0, body.roll_left_s)
                self._roll(body, dt)
            self._step_body(body, dt)
            body.owed_s -= dt
            if body.owed_s < 1e-9:
                body.owed_s = 0.0

    def _roll(self, body: Body, dt: float) -> None:
        ratio = (body.roll_to_m / body.thickness_m) ** (dt / body.roll_left_s)
        body.roll_left_s -= dt
        body.thickness_m *= ratio
        if ratio < 1.0:
            warm = -math.log(ratio) / math.log(2.0) * self._roll_heat_k
            body.t = [t + warm for t in body.t]
            if body.under is not None:  # a growing sheet meets bare bench
                body.under = [ratio * u + (1.0 - ratio) * b for u, b in zip(body.under, self._bench, strict=True)]
        if body.roll_left_s <= 1e-9:
            body.roll_left_s = 0.0

    def _step_bench(self, dt: float) -> None:
        """One implicit step of the bare bench: air below, air or ice above."""
        n = BENCH_NODES
        dz = self.bench_m / n
        g = self.bench_k / dz
        cap = self.bench_rc * dz / dt
        below = 1.0 / (1.0 / 6.0 + dz / (2 * self.bench_k))
        if self._ice_left_s > 0.0:
            top, air = 1.0 / (1.0 / 90.0 + dz / (2 * self.bench_k)), 0.5  # bags of ice and melt water; a guess
            self._ice_left_s = max(0.0, self._ice_left_s - dt)
        else:
            top, air = 1.0 / (1.0 / self.film["bench"] + dz / (2 * self.bench_k)), self.air["room"]
        t = self._bench
        diag = [cap + 2 * g] * n
        diag[0] = cap + g + top
        diag[-1] = cap + g + below
        rhs = [cap * v for v in t]
        rhs[0] += top * air
        rhs[-1] += below * self.air["room"]
        for i in range(1, n):
            w = g / diag[i - 1]
            diag[i] -= w * g
            rhs[i] += w * rhs[i - 1]
        t[-1] = rhs[-1] / diag[-1]
        for i in range(n - 2, -1, -1):
            t[i] = (rhs[i] + g * t[i + 1]) / diag[i]
        self.bench_condensed_kg_m2 = self._condense(self.bench_condensed_kg_m2, t[0], "room", dt)

    def _condense(self, film_kg_m2: float, surface_c: float, where: str, dt: float) -> float:
        """Dew on a surface (kg/m2), by the Lewis analogy with 3.5 W/(m2 K) of convection; never below nothing."""
        rh = self.proof_humidity if where == "proof" else self.humidity
        air_c = self.air[where]
        excess = rh * _saturation_pa(air_c) - _saturation_pa(surface_c)
        rate = 3.5 / (1.2 * 1006.0) * excess / (461.5 * (273.15 + air_c))
        return max(0.0, film_kg_m2 + rate * dt)

    def _eliminate_bench(self, under: list[float], dt: float, half_dough: float):
        """Eliminate the bench column from below: (conductance, source temperature, diagonal, right side, joint, link).

        The bench is linear, so for the body above it is one conductance to one temperature.
        """
        m = BENCH_NODES
        dz = self.bench_m / m
        link = self.bench_k / dz
        cap = self.bench_rc * dz / dt
        below = 1.0 / (1.0 / 6.0 + dz / (2 * self.bench_k))
        diag = [cap + 2 * link] * m
        diag[-1] = cap + link + below
        rhs = [cap * v for v in under]
        rhs[-1] += below * self.air["room"]
        for i in range(m - 2, 0, -1):
            w = link / diag[i + 1]
            diag[i] -= w * link
            rhs[i] += w * rhs[i + 1]
        joint = 1.0 / (dz / (2 * self.bench_k) + 1.0 / self.contact + half_dough)
        w = link / diag[1]
        diag[0] = cap + link + joint - w * link
        rhs[0] += w * rhs[1]
        g_low = joint * (1.0 - joint / diag[0])
        return g_low, joint * rhs[0] / diag[0] / g_low, diag, rhs, joint, link

    def _step_body(self, body: Body, dt: float) -> None:
        """One implicit step of a body, with its bench column below when it lies on the bench."""
        n = PATON_NODES
        dz = body.thickness_m / n
        where = body.where
        h_top = self.film[where]
        if body.covered:
            h_top *= 0.65  # film or box: 30-50 % less, common practice, no source
        air = self.air[where]
        ks = [1.0 / ((1.0 - p) / self.dough_k + p / self.butter_k) for p in body.phi]
        g = [2.0 / (dz / ks[i] + dz / ks[i + 1]) for i in range(n - 1)]  # between i and i+1, bottom first
        g_top = 1.0 / (1.0 / h_top + dz / (2 * ks[-1]))
        old = [self._heat(body.t[i], body.phi[i])[0] for i in range(n)]
        inv = dz / dt
        under = body.under
        column = None
        if under is None:
            h_low = h_top * self.tray_share
            g_low, low = 1.0 / (1.0 / h_low + dz / (2 * ks[0])), air
        else:
            column = self._eliminate_bench(under, dt, dz / (2 * ks[0]))
            g_low, low = column[:2]
        t = body.t[:]
        for _ in range(3):
            diag = [0.0] * n
            res = [0.0] * n
            for i in range(n):
                h, c = self._heat(t[i], body.phi[i])
                flow = 0.0
                d = 0.0
                if i:
                    flow += g[i - 1] * (t[i - 1] - t[i])
                    d += g[i - 1]
                else:
                    flow += g_low * (low - t[0])
                    d += g_low
                if i < n - 1:
                    flow += g[i] * (t[i + 1] - t[i])
                    d += g[i]
                else:
                    flow += g_top * (air - t[i])
                    d += g_top
                res[i] = flow - inv * (h - old[i])
                diag[i] = inv * c + d
            for i in range(1, n):
                w = g[i - 1] / diag[i - 1]
                diag[i] -= w * g[i - 1]
                res[i] += w * res[i - 1]
            step = res[-1] / diag[-1]
            worst = abs(step)
            t[-1] += step
            for i in range(n - 2, -1, -1):
                step = (res[i] + g[i] * step) / diag[i]
                t[i] += step
                if abs(step) > worst:
                    worst = abs(step)
            if worst < 1e-3:
                break
        if under is not None and column is not None:
            _, _, diag, rhs, touch, gb = column
            under[0] = (rhs[0] + touch * t[0]) / diag[0]
            for i in range(1, BENCH_NODES):
                under[i] = (rhs[i] + gb * under[i - 1]) / diag[i]
        if where == "oven":
            t = [min(v, 99.0) for v in t]  # crumb does not pass the boiling point; no baking model here
        body.t = t
        if where in ("bench", "room", "proof"):
            body.condensed_kg_m2 = self._condense(
                body.condensed_kg_m2, t[-1], "room" if where == "bench" else where, dt
            )
