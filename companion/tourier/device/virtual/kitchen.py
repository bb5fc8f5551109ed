"""The virtual kitchen: air, bench, butter and dough that a scripted cook works in, for the firmware to be tried on.

It is the truth of a rehearsal, so it shares no code with either forecast: a fine one-dimensional grid per pâton with
its own bench column under it, fully implicit steps solved by Newton on the enthalpy (own loop, plain Python so that a
5 s step costs tens of microseconds), and material values drawn around their published figures by the seed. Solid fat
curves come from :mod:`tourier.craft.butter`, because they are data, not a model.

How a cook drives it::

    kitchen = PlayedKitchen(KitchenConfig(room_c=24.0), seed=7)
    kitchen.add_dough(t_c=5.0, thickness_um=12_000, where="fridge")     # one side of the envelope
    kitchen.add_butter(t_c=14.0, thickness_um=8_000, where="room")
    kitchen.set_ice(900)                        # ice bags on the bench for the next 900 s
    kitchen.advance(900)
    kitchen.lock_in()                           # dough, butter, dough; on the bench
    kitchen.probe_in()
    kitchen.work("roll", thickness_um=8_000, seconds=150)
    kitchen.advance(150)
    kitchen.fold(4)
    kitchen.place("fridge")
    kitchen.advance(5)
    kitchen.probe_c, kitchen.bench_c, kitchen.air_c    # what sensors would read; None = open or shorted

Left out on purpose: water freezing (below about -2 C a freezer spell is only roughly right), fermentation heat, heat
flow along the sheet, evaporation.

Units: degrees C, seconds, micrometres in the actions; SI inside.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

from shared_schedule.channels import DOUGH, Channel
from tourier.craft.butter import profile
from tourier.device.virtual.matter import BENCH_NODES, BENCHES, PATON_NODES, Body, Matter

PLACES = ("bench", "fridge", "freezer", "proof", "oven", "room")
_PLACES = {1: "bench", 2: "fridge", 3: "freezer", 4: "room", 5: "proof", 6: "oven"}  # by the plan's numbers


@dataclass
class KitchenConfig:
    """What the plan believes about the kitchen; the seed moves the truth away from it."""

    room_c: float = 22.0
    humidity: float = 0.55
    room_swing_c: float = 0.8  # half of the daily swing, warmest at 16:00
    fridge_c: float = 4.0
    freezer_c: float = -18.0
    proof_c: float = 26.0
    proof_humidity: float = 0.75
    oven_c: float = 190.0
    bench: str = "marble"
    bench_mm: float = 20.0
    fan_fridge: bool = False
    butter: str = "standard-82"
    second_of_day: int = 8 * 3600  # wall clock at t = 0, for the daily swing
    probe_offset_c: float = 0.0  # calibration error of the needle probe
    spread: float = 1.0  # 0 = the truth is exactly what the plan believes


class PlayedKitchen(Matter):
    """A kitchen with one bench, a fridge, a freezer, a proof space, an oven, and several pâtons.

    ``seed`` fixes everything random: film coefficients (+-20 %), bench contact, material values (+-6 %), the room's
    drift, sensor noise. Two kitchens with equal config and seed give equal histories for equal calls.
    """

    def __init__(self, config: KitchenConfig | None = None, seed: int = 0) -> None:
        self.config = config or KitchenConfig()
        c = self.config
        if c.bench not in BENCHES:
            raise ValueError(f"no bench of {c.bench!r}; known: {', '.join(BENCHES)}")
        self.seed = seed
        self._draw = random.Random(f"kitchen-{seed}")
        self._noise = random.Random(f"noise-{seed}")

        def around(value: float, share: float) -> float:
            return value * math.exp(c.spread * share * max(-2.0, min(2.0, self._draw.gauss(0.0, 1.0))))

        # Films include radiation. Static fridge 6-10, fan 10-20, freezer 7-11 W/(m2 K): usual defaults, no one source.
        self.film = {
            "room": around(7.7, 0.12),
            "bench": around(7.7, 0.12),
            "fridge": around(14.0 if c.fan_fridge else 8.0, 0.20),
            "freezer": around(9.0, 0.20),
            "proof": around(8.0, 0.15),
            "oven": around(28.0, 0.15),
        }
        self.tray_share = around(0.75, 0.10)  # film below a tray, as a share of the film above
        k, rho, cp = BENCHES[c.bench]
        self.bench_k = around(k, 0.08)
        self.bench_rc = around(rho * cp, 0.05)
        self.bench_m = c.bench_mm * 1e-3
        self.contact = around(700.0, 0.30)  # W/(m2 K) through flour and trapped air; a guess, no source
        self.dough_k = around(0.385, 0.06)
        self.dough_rc = around(1200.0 * 2600.0, 0.04)
        self.butter_k = around(0.22, 0.06)
        self.butter_rc = around(936.0 * 2386.0, 0.03)
        self.butter_rho = 936.0
        fat = profile(c.butter)
        self._melt_j_m3 = self._melting_table(fat, around(fat.latent_j_kg, 0.06))
        self._room_bias = c.spread * max(-1.5, min(1.5, self._draw.gauss(0.0, 0.5)))
        self._fridge_bias = c.spread * max(-1.5, min(1.5, self._draw.gauss(0.0, 0.4)))
        self._fridge_phase = self._draw.uniform(0.0, 1500.0)
        self._roll_heat_k = around(0.35, 0.25)  # warming by one thickness ratio of 2; a guess, no source

        self.t_s = 0.0
        self._wander = 0.0
        self._wander_due = 0.0
        self._door_c = {"fridge": 0.0, "freezer": 0.0, "proof": 0.0}
        self._room_offset = 0.0
        self.humidity = c.humidity
        self.proof_humidity = c.proof_humidity
        self.air = {"room": 0.0, "bench": 0.0, "fridge": 0.0, "freezer": 0.0, "proof": 0.0, "oven": c.oven_c}
        self._set = {"fridge": c.fridge_c, "freezer": c.freezer_c, "proof": c.proof_c, "oven": c.oven_c}
        self._update_air(0.0)
        self._bench = [self.air["room"]] * BENCH_NODES  # top node first
        self._bench_owed = 0.0
        self._ice_left_s = 0.0
        self.bench_condensed_kg_m2 = 0.0
        self.bodies: dict[str, Body] = {}

        self._probe_body: str | None = None
        self._probe_hangs = "room"
        self._probe_depth = 0.5
        self._probe_fault: str | None = None
        self._bench_fault: str | None = None
        self._probe_t = self.air["room"]
        self._bench_t = self._bench[0]
        self._probe_noise = 0.0
        self._bench_noise = 0.0

    # --- what sensors read -------------------------------------------------------------------------------------

    @property
    def probe_c(self) -> float | None:
        """Needle probe, degrees C with lag, offset and noise; None when the circuit is open or shorted."""
        if self._probe_fault:
            return None
        return self._probe_t + self.config.probe_offset_c + self._probe_noise

    @property
    def probe_fault_kind(self) -> str | None:
        """'open', 'short' or None: which way the probe's circuit is broken."""
        return self._probe_fault

    @property
    def bench_c(self) -> float | None:
        """Plate sensor on the bare bench, degrees C; None when faulty."""
        if self._bench_fault:
            return None
        return self._bench_t + self._bench_noise

    @property
    def bench_fault_kind(self) -> str | None:
        """'open', 'short' or None for the bench sensor."""
        return self._bench_fault

    @property
    def air_c(self) -> float:
        """True room air by the bench timer, degrees C."""
        return self.air["room"]

    def felt_c(self, channel: Channel) -> float:
        """What a further sensor feels, degrees C: the middle of its pâton once that is there, else its place's air."""
        if channel.kind == DOUGH and f"dough{channel.paton}" in self.bodies:
            return self.truth(channel.paton)["core_c"]
        return self.air[_PLACES.get(channel.place, "room")]

    @property
    def air_humidity(self) -> float:
        """Relative humidity of the room, 0..1."""
        return self.humidity

    @property
    def probe_place(self) -> str:
        """'dough' when the probe is in a body, else where it hangs."""
        return "dough" if self._probe_body else self._probe_hangs

    # --- actions of the cook -----------------------------------------------------------------------------------

    def add_dough(self, t_c: float, thickness_um: int, where: str = "fridge", paton: int = 1) -> None:
        """A détrempe for pâton ``paton``; thickness of the sheet as it lies there."""
        self._add(f"dough{paton}", t_c, 0.0, thickness_um, where)

    def add_butter(self, t_c: float, thickness_um: int, where: str = "room", paton: int = 1) -> None:
        """The butter block of pâton ``paton``."""
        self._add(f"butter{paton}", t_c, 1.0, thickness_um, where)

    def lock_in(self, paton: int = 1, dough_side_um: int | None = None) -> None:
        """Enclose the block: dough, butter, dough, laid on the bench. Each body brings the temperatures it has.

        ``dough_side_um`` is the thickness of each dough side, half the détrempe's sheet when not given (the volume is
        the cook's business; here only the thickness matters).
        """
        dough, butter = self._body(f"dough{paton}"), self._body(f"butter{paton}")
        self._settle(dough)
        self._settle(butter)
        side = dough.thickness_m / 2 if dough_side_um is None else dough_side_um * 1e-6
        parts = [
            (dough.t, dough.phi, side),
            (butter.t, butter.phi, butter.thickness_m),
            (dough.t[::-1], dough.phi, side),
        ]
        t, phi = self._restack(parts)
        self._leave_bench(dough)
        self._leave_bench(butter)
        dough.t, dough.phi = t, phi
        dough.thickness_m = 2 * side + butter.thickness_m
        dough.locked = True
        del self.bodies[butter.name]
        if self._probe_body == butter.name:
            self._probe_body = dough.name
        dough.where = ""
        self.place("bench", paton=paton)

    def place(self, where: str, paton: int = 1, what: str = "dough", covered: bool = False) -> None:
        """Put pâton ``paton`` (or its block with ``what='butter'``) at one of PLACES; opens doors on the way."""
        if where not in PLACES:
            raise ValueError(f"no place called {where!r}; known: {', '.join(PLACES)}")
        body = self._body(f"{what}{paton}")
        self._settle(body)
        for door in (body.where, where):
            if door in self._door_c:
                swing = 6.0 if door == "freezer" else 2.5
                if door == "proof":
                    swing = -1.5
                self._door_c[door] = swing
        if where != body.where:
            self._leave_bench(body)
            if where == "bench":
                body.under = list(self._bench)
        body.where = where
        body.covered = covered

    def remove(self, paton: int = 1, what: str = "dough") -> None:
        """Take a body out of the kitchen (eaten, sold, thrown away); a probe in it hangs in the room again."""
        body = self._body(f"{what}{paton}")
        self._leave_bench(body)
        if self._probe_body == body.name:
            self.probe_out()
        del self.bodies[body.name]

    def work(self, kind: str, thickness_um: int, seconds: float, paton: int = 1, what: str = "dough") -> None:
        """Start work on the bench: 'roll' or 'sheet' goes to ``thickness_um`` over the next ``seconds`` of advance.

        'beat' does the same to a butter block; 'shape' and 'cut' set the piece's thickness at once and even out its
        temperature a little, as handling does.
        """
        body = self._body(f"{what}{paton}")
        self._settle(body)
        if kind in ("roll", "sheet", "beat"):
            body.roll_to_m = thickness_um * 1e-6
            body.roll_left_s = max(1.0, seconds)
        elif kind in ("shape", "cut"):
            mean = sum(body.t) / len(body.t)
            body.t = [0.5 * (v + mean) + 0.3 for v in body.t]
            body.thickness_m = thickness_um * 1e-6
        else:
            raise ValueError(f"no work called {kind!r}; known: roll, sheet, beat, shape, cut")

    def fold(self, n: int, paton: int = 1) -> None:
        """Fold into ``n`` (2, 3 or 4), which multiplies the thickness by n; every other layer lies upside down."""
        if n not in (2, 3, 4):
            raise ValueError(f"a fold is in 2, 3 or 4, not {n}")
        body = self._body(f"dough{paton}")
        self._settle(body)
        flip_t, flip_phi = body.t[::-1], body.phi[::-1]
        parts = [(body.t, body.phi, 1.0) if i % 2 == 0 else (flip_t, flip_phi, 1.0) for i in range(n)]
        body.t, body.phi = self._restack(parts)
        body.thickness_m *= n
        body.folds += 1

    def set_ice(self, seconds: float) -> None:
        """Ice bags on the bare bench for the next ``seconds``; then it is wiped dry."""
        self._ice_left_s = float(seconds)

    def set_bench(self, t_c: float) -> None:
        """Make the whole bench ``t_c`` (a slab out of the fridge, or one the sun has stood on)."""
        self._bench = [float(t_c)] * BENCH_NODES

    def set_place(self, where: str, t_c: float) -> None:
        """Turn the knob of 'fridge', 'freezer', 'proof' or 'oven'."""
        if where not in self._set:
            raise ValueError(f"{where!r} has no knob; known: {', '.join(self._set)}")
        self._set[where] = float(t_c)

    def probe_in(self, paton: int = 1, what: str = "dough") -> None:
        """Stick the needle into a body at mid height, as near as a hand manages."""
        self._probe_body = self._body(f"{what}{paton}").name
        self._probe_depth = 0.5 + self._noise.uniform(-0.08, 0.08) * min(1.0, self.config.spread)

    def probe_out(self, where: str = "room") -> None:
        """Pull the needle out and hang it in the air of a place."""
        self._probe_body = None
        self._probe_hangs = where

    def probe_fault(self, kind: str | None) -> None:
        """Break the probe's circuit: 'open', 'short', or None to mend it."""
        if kind not in (None, "open", "short"):
            raise ValueError(f"a probe fault is 'open', 'short' or None, not {kind!r}")
        self._probe_fault = kind

    def bench_fault(self, kind: str | None) -> None:
        """Break the bench sensor's circuit in the same way."""
        if kind not in (None, "open", "short"):
            raise ValueError(f"a sensor fault is 'open', 'short' or None, not {kind!r}")
        self._bench_fault = kind

    # --- truth, for tests and reports --------------------------------------------------------------------------

    def truth(self, paton: int = 1, what: str = "dough") -> dict:
        """What no sensor sees: place, thickness, core and surface temperature, coldest and warmest butter."""
        body = self._body(f"{what}{paton}")
        self._settle(body)
        fat = [t for t, p in zip(body.t, body.phi, strict=True) if p > 0.2]
        mid = PATON_NODES // 2
        return {
            "where": body.where,
            "thickness_um": round(body.thickness_m * 1e6),
            "core_c": 0.5 * (body.t[mid - 1] + body.t[mid]),
            "mean_c": sum(body.t) / PATON_NODES,
            "surface_c": body.t[-1],
            "butter_min_c": min(fat) if fat else None,
            "butter_max_c": max(fat) if fat else None,
            "condensed_g_m2": body.condensed_kg_m2 * 1e3,
            "folds": body.folds,
        }

    def dew_point_c(self, where: str = "room") -> float:
        """Dew point of a place's air, degrees C (Magnus form)."""
        rh = self.proof_humidity if where == "proof" else self.humidity
        g = math.log(rh) + 17.625 * self.air[where] / (243.04 + self.air[where])
        return 243.04 * g / (17.625 - g)

    # --- time --------------------------------------------------------------------------------------------------

    def advance(self, dt_s: float) -> None:
        """Let ``dt_s`` seconds pass. Long spells are split; short ones are saved up until a step is worth making."""
        left = float(dt_s)
        while left > 1e-9:
            step = min(left, 60.0)
            left -= step
            self._tick(step)

    def _tick(self, dt: float) -> None:
        self.t_s += dt
        self._update_air(dt)
        self._bench_owed += dt
        if self._bench_owed >= 10.0 or self._ice_left_s > 0.0:
            self._step_bench(self._bench_owed)
            self._bench_owed = 0.0
        for body in self.bodies.values():
            body.owed_s += dt
            if body.owed_s >= self._patience(body):
                self._settle(body)
        self._read_sensors(dt)

    def _patience(self, body: Body) -> float:
        """How long a body may wait for its next step: short while it is worked, long while it lies calm."""
        if body.roll_left_s > 0.0 or body.where == "bench":
            return 5.0
        if abs(body.t[0] - self.air[body.where]) + abs(body.t[PATON_NODES // 2] - self.air[body.where]) < 1.5:
            return 60.0
        return 20.0

    def _update_air(self, dt: float) -> None:
        c = self.config
        if self.t_s >= self._wander_due:  # slow wandering of the room, correlation time an hour
            self._wander_due = self.t_s + 60.0
            keep = math.exp(-60.0 / 3600.0)
            shock = math.sqrt(1.0 - keep * keep) * 0.35 * c.spread
            self._wander = self._wander * keep + shock * self._noise.gauss(0.0, 1.0)
        day = 2.0 * math.pi * ((c.second_of_day + self.t_s) / 86400.0 - 16.0 / 24.0)
        room = c.room_c + self._room_offset + self._room_bias + c.room_swing_c * math.cos(day) + self._wander
        for door, tau in (("fridge", 480.0), ("freezer", 400.0), ("proof", 600.0)):
            self._door_c[door] *= math.exp(-dt / tau)
        air = self.air
        air["room"] = air["bench"] = room
        cycle = 0.8 * math.sin(2.0 * math.pi * (self.t_s + self._fridge_phase) / 1500.0)
        air["fridge"] = self._set["fridge"] + self._fridge_bias + cycle + self._door_c["fridge"]
        air["freezer"] = self._set["freezer"] + self._fridge_bias + cycle + self._door_c["freezer"]
        air["proof"] = self._set["proof"] + 0.4 * cycle + self._door_c["proof"]
        air["oven"] = self._set["oven"]

    def _read_sensors(self, dt: float) -> None:
        if self._probe_body:
            body = self.bodies[self._probe_body]
            x = min(max(self._probe_depth * PATON_NODES - 0.5, 0.0), PATON_NODES - 1.0)
            i = min(int(x), PATON_NODES - 2)
            target = body.t[i] + (x - i) * (body.t[i + 1] - body.t[i])
            tau = 5.0
        else:
            target, tau = self.air[self._probe_hangs], 25.0
        self._probe_t += (target - self._probe_t) * (1.0 - math.exp(-dt / tau))
        self._bench_t += (self._bench[0] - self._bench_t) * (1.0 - math.exp(-dt / 15.0))
        self._probe_noise = self._noise.gauss(0.0, 0.025)
        self._bench_noise = self._noise.gauss(0.0, 0.025)

    # --- bookkeeping -------------------------------------------------------------------------------------------

    def _add(self, name: str, t_c: float, phi: float, thickness_um: int, where: str) -> None:
        if where not in PLACES:
            raise ValueError(f"no place called {where!r}; known: {', '.join(PLACES)}")
        if thickness_um <= 0:
            raise ValueError(f"{name} needs a thickness above zero, not {thickness_um} um")
        body = Body(name, t_c, phi, thickness_um * 1e-6, where)
        if where == "bench":
            body.under = list(self._bench)
        self.bodies[name] = body

    def _body(self, name: str) -> Body:
        try:
            return self.bodies[name]
        except KeyError:
            known = ", ".join(self.bodies) or "nothing"
            raise KeyError(f"there is no {name} in this kitchen; there is {known}") from None

    def _leave_bench(self, body: Body) -> None:
        """What the body did to its patch of bench spreads into the whole bench: about a quarter of it."""
        if body.under is not None:
            self._bench = [0.75 * b + 0.25 * u for b, u in zip(self._bench, body.under, strict=True)]
            body.under = None
