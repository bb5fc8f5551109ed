"""Electrical rules of this circuit: the general ones and the ones its parts ask for.

`check(circuit)` returns one sentence per broken rule. SKiDL's own rule check runs beside it in `skidl_check.py`; these
rules know things a general checker cannot: ratiometric dividers, the two-pin sounder, pull-up strength, LED current.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from hardware.electronics.circuit import PICO_HEADER, Circuit

SUPPLY_V = 3.3
I2C_SINK_A = 3e-3  # what every I2C part must be able to pull down (I2C bus specification, standard and fast mode)
I2C_LOW_V = 0.4
I2C_RISE_S = 300e-9  # fast mode limit
I2C_RISE_FACTOR = 0.8473  # 30 % to 70 % of an RC charge: ln(0.7/0.3)
BUS_PF = 150.0  # three modules and 0.3 m of cable, from memory
MODULE_PULLUPS_OHM = {"DS1": 10e3, "M1": 10e3, "M2": 4.7e3}  # typical, from memory; some modules have none
LED_DROP_V = {"R": (1.8, 2.2), "G": (2.8, 3.3), "B": (2.8, 3.3)}  # from memory, usual data-sheet ranges
GPIO_MAX_A = 12e-3  # strongest pad drive of RP2040 and RP2350
GPIO_SUM_A = 50e-3
BOARD_3V3_A = 300e-3  # what the Pico's 3V3 pin may feed (its data sheet, from memory)
LOADS_A = {"DS1": 200e-3, "M1": 5e-3, "M2": 1e-3}  # largest, display all white (from memory)


def value_ohm(text: str) -> float:
    """Resistance in ohm from a value such as '18 kohm 0.1 %'. ValueError when there is none."""
    match = re.match(r"([\d.]+) (k?)ohm", text)
    if not match:
        raise ValueError(f"no resistance in {text!r}")
    return float(match[1]) * (1000 if match[2] else 1)


def parallel_ohm(*values: float) -> float:
    return 1 / sum(1 / v for v in values)


def pull_up_range_ohm(c: Circuit) -> tuple[float, float]:
    """Strongest and weakest pull-up on the bus: every module with its own resistors, or none of them."""
    own = value_ohm(c.parts["R5"].value)
    return parallel_ohm(own, *MODULE_PULLUPS_OHM.values()), own


def led_current_a(c: Circuit, colour: str) -> tuple[float, float]:
    """Smallest and largest LED current in A over the usual spread of forward voltage."""
    ohm = value_ohm(c.parts[{"R": "R8", "G": "R9", "B": "R10"}[colour]].value)
    low_v, high_v = LED_DROP_V[colour]
    return max(0.0, SUPPLY_V - high_v) / ohm, (SUPPLY_V - low_v) / ohm


def supply_current_a(c: Circuit) -> float:
    """Largest current in A drawn from the 3V3 pin by the display, the modules and the pull-ups held low."""
    loads = sum(a for ref, a in LOADS_A.items() if ref in c.neighbours("3V3"))
    return loads + 2 * SUPPLY_V / pull_up_range_ohm(c)[0]


def _general(c: Circuit) -> Iterator[str]:
    for net, nodes in c.nets.items():
        if len(nodes) < 2:
            yield f"net {net} joins only {nodes[0][0]} pin {nodes[0][1]}: a wire with one end"
        kinds = [c.parts[ref].pins[pin][1] for ref, pin in nodes]
        drivers = [ref for (ref, _), kind in zip(nodes, kinds, strict=True) if kind == "output"]
        if len(drivers) > 1:
            yield f"net {net} has two outputs: {', '.join(drivers)}"
        if "power_in" in kinds and "power_out" not in kinds:
            yield f"net {net} feeds a part but nothing feeds the net"
        if kinds.count("input") and not (set(kinds) & {"output", "bidir", "passive", "power_out"}):
            yield f"net {net} has inputs and nothing that drives them"
    for part in c.parts.values():
        for pin, (name, kind) in part.pins.items():
            if part.ref != "U1" and kind != "open" and c.net_of(part.ref, pin) is None:
                yield f"{part.ref} pin {pin} ({name}) is not joined to anything"
    volts = {"3V3": "3V3", "ADC_VREF": "ADC_VREF", "VBUS": "VBUS", "GND": "GND", "AGND": "AGND", "VSYS": "VSYS"}
    for number, name in PICO_HEADER.items():
        net = c.net_of("U1", number)
        if net in volts and name != net:
            yield f"U1 pin {number} ({name}) sits on the supply net {net}"
        if name in ("VBUS", "VSYS", "RUN", "3V3_EN") and net:
            yield f"U1 pin {number} ({name}) must stay free, it is on {net}"


def _thermometers(c: Circuit) -> Iterator[str]:
    for n, word in ((1, "BENCH"), (2, "PROBE")):
        if c.net_of(f"R{n}", 1) != "ADC_VREF":
            yield f"R{n} must be fed from ADC_VREF: from 3V3 the {word.lower()} sensor reads about 0.5 K low"
        for ref, pin in ((f"RT{n}", 2), (f"C{n}", 2)):
            if c.net_of(ref, pin) != "AGND":
                yield f"{ref} pin {pin} must return to AGND, not {c.net_of(ref, pin)}"
        pins = [PICO_HEADER[pin] for ref, pin in c.nets.get(f"{word}_ADC", []) if ref == "U1"]
        if len(pins) != 1 or pins[0] not in ("GP26", "GP27", "GP28"):
            yield f"{word}_ADC must reach exactly one ADC pin (GP26, GP27 or GP28), it reaches {pins or 'none'}"
        if f"C{n}" not in c.neighbours(f"{word}_ADC"):
            yield f"{word}_ADC lacks its 100 nF: the ADC samples from 10 kohm and needs it"
    digital = [net for net in c.nets if net.startswith(("LED", "BUZZER", "BUTTON", "S"))]
    for net in digital:
        if any(PICO_HEADER[pin] == "AGND" for ref, pin in c.nets[net] if ref == "U1"):
            yield f"{net} returns through AGND"


def _bus(c: Circuit) -> Iterator[str]:
    strong, weak = pull_up_range_ohm(c)
    if supply_current_a(c) > BOARD_3V3_A:
        yield f"the 3V3 pin would feed {supply_current_a(c) * 1000:.0f} mA, more than 300 mA"
    if strong < (SUPPLY_V - I2C_LOW_V) / I2C_SINK_A:
        yield f"I2C pull-ups of {strong:.0f} ohm ask for more than 3 mA"
    rise_s = I2C_RISE_FACTOR * weak * BUS_PF * 1e-12
    if rise_s > I2C_RISE_S:
        yield f"I2C lines rise in {rise_s * 1e9:.0f} ns, more than 300 ns: pull-up too weak"
    for net, ref in (("SDA", "R5"), ("SCL", "R6")):
        if {c.net_of(ref, 1), c.net_of(ref, 2)} != {"3V3", net}:
            yield f"{ref} must join {net} to 3V3 (a pull-up to 5 V would damage the board)"


def _outputs(c: Circuit) -> Iterator[str]:
    def pico(net: str) -> int | None:
        return next((int(PICO_HEADER[p][2:]) for r, p in c.nets.get(net, []) if r == "U1"), None)

    a, b = pico("BUZZER_A"), pico("BUZZER_B")
    if a is None or b is None or a // 2 != b // 2 or a == b:
        yield f"the sounder's pins GP{a} and GP{b} are not the two halves of one PWM slice"
    for colour in "RGB":
        gpio = pico(f"LED_{colour}")
        if gpio is not None and a is not None and (gpio // 2) % 8 == (a // 2) % 8:
            yield f"LED_{colour} shares the sounder's PWM slice: the tone would change its brightness"
        if led_current_a(c, colour)[1] > GPIO_MAX_A:
            yield f"LED_{colour} may draw more than 12 mA from its pin"
    if sum(led_current_a(c, colour)[1] for colour in "RGB") > GPIO_SUM_A:
        yield "the light may draw more than 50 mA from all pins together"
    for side in ("LEFT", "MIDDLE", "RIGHT"):
        switch = next((r for r in c.neighbours(f"BUTTON_{side}") if r.startswith("SW")), None)
        if switch is None or "GND" not in (c.net_of(switch, 1), c.net_of(switch, 2)):
            yield f"button {side.lower()} must switch to GND"


def check(c: Circuit) -> list[str]:
    """All broken rules, one sentence each; an empty list is a pass."""
    return [*_general(c), *_thermometers(c), *_bus(c), *_outputs(c)]
