"""The bench timer's circuit as plain data: parts, their pins, and the nets that join them.

Everything else here reads this file: the rule checks, the SKiDL netlist, the drawn schematic, the wiring table, the
board layout and the tests. GPIO numbers come from the firmware's pin module, so moving a pin there moves it here.

Pin kinds follow the usual electrical-rule words: passive, input, output, bidir, power_in, power_out, open (not joined).
"""

from __future__ import annotations

from dataclasses import dataclass, field

from hardware.firmware_pins import firmware_pins

# Pico and Pico 2 header, pin number -> printed name (the maker's pin-out; both boards are the same here).
PICO_HEADER = {
    1: "GP0", 2: "GP1", 3: "GND", 4: "GP2", 5: "GP3", 6: "GP4", 7: "GP5", 8: "GND", 9: "GP6", 10: "GP7",
    11: "GP8", 12: "GP9", 13: "GND", 14: "GP10", 15: "GP11", 16: "GP12", 17: "GP13", 18: "GND", 19: "GP14", 20: "GP15",
    21: "GP16", 22: "GP17", 23: "GND", 24: "GP18", 25: "GP19", 26: "GP20", 27: "GP21", 28: "GND", 29: "GP22", 30: "RUN",
    31: "GP26", 32: "GP27", 33: "AGND", 34: "GP28", 35: "ADC_VREF", 36: "3V3", 37: "3V3_EN", 38: "GND", 39: "VSYS",
    40: "VBUS",
}  # fmt: skip
GPIO_TO_HEADER = {int(name[2:]): number for number, name in PICO_HEADER.items() if name.startswith("GP")}


@dataclass(frozen=True)
class Part:
    """One part. `pins` maps pin number to (name, kind); `off_board` parts hang on a cable from a connector."""

    ref: str
    value: str
    job: str
    pins: dict[int, tuple[str, str]]
    off_board: bool = False
    optional: bool = False


@dataclass
class Circuit:
    parts: dict[str, Part] = field(default_factory=dict)
    nets: dict[str, list[tuple[str, int]]] = field(default_factory=dict)

    def net_of(self, ref: str, pin: int) -> str | None:
        """Name of the net that holds this pin, or None when it is left open."""
        return next((name for name, nodes in self.nets.items() if (ref, pin) in nodes), None)

    def neighbours(self, net: str) -> list[str]:
        """References of the parts on a net, each once, in order."""
        return list(dict.fromkeys(ref for ref, _ in self.nets[net]))


def _two(kind: str = "passive") -> dict[int, tuple[str, str]]:
    return {1: ("1", kind), 2: ("2", kind)}


def _row(*names: str) -> dict[int, tuple[str, str]]:
    return {number: (name, "passive") for number, name in enumerate(names, 1)}


def _pico_pins(pins: dict[str, int | str]) -> dict[int, tuple[str, str]]:
    outputs = {pins[n] for n in pins if n.startswith(("PIN_BUZZER", "PIN_LED"))} | {pins["PIN_OLED_RESET"]}
    inputs = {pins[n] for n in pins if n.startswith("PIN_BUTTON") or n.endswith("_NTC")}
    kinds = {}
    for number, name in PICO_HEADER.items():
        if name in ("3V3", "ADC_VREF", "VBUS"):
            kind = "power_out"
        elif name in ("GND", "AGND"):
            kind = "power_out"  # the board feeds everything, its ground included
        elif name.startswith("GP"):
            gpio = int(name[2:])
            kind = "output" if gpio in outputs else "input" if gpio in inputs else "bidir"
        else:
            kind = "open"
        kinds[number] = (name, kind)
    return kinds


def build(pins: dict[str, int | str] | None = None) -> Circuit:
    """Return the whole circuit for the given (default: the firmware's) pin names."""
    pins = firmware_pins() if pins is None else pins
    ohm = {k: int(v) for k, v in pins.items() if k.startswith("R_FIXED")}
    c = Circuit()

    def add(ref: str, value: str, job: str, table: dict[int, tuple[str, str]], **more: bool) -> None:
        if ref in c.parts:
            raise ValueError(f"two parts are called {ref}")
        c.parts[ref] = Part(ref, value, job, table, **more)

    def join(net: str, *nodes: tuple[str, int]) -> None:
        for ref, pin in nodes:
            if pin not in c.parts[ref].pins:
                raise ValueError(f"{ref} has no pin {pin} (net {net})")
            if c.net_of(ref, pin):
                raise ValueError(f"{ref} pin {pin} is already on {c.net_of(ref, pin)}, cannot join {net}")
            c.nets.setdefault(net, []).append((ref, pin))

    def gpio(name: str) -> tuple[str, int]:
        return ("U1", GPIO_TO_HEADER[int(pins[name])])

    add("U1", "Raspberry Pi Pico or Pico 2", "runs everything", _pico_pins(pins))
    supply = {1: ("GND", "power_in"), 2: ("VCC", "power_in")}
    add("J3", "5-way", "to the display", _row("GND", "3V3", "SCL", "SDA", "RES"))
    add(
        "DS1", "2.42 inch OLED, SSD1309, I2C", "display",
        {**supply, 3: ("SCL", "input"), 4: ("SDA", "bidir"), 5: ("RES", "input")}, off_board=True,
    )  # fmt: skip

    # The two thermometers. Cable side -> 1 kohm -> pin side with 100 nF: the pair damps sparks and noise, and the
    # capacitor lets the ADC sample from 10 kohm without a droop.
    for n, (word, key) in enumerate((("BENCH", "PIN_BENCH_NTC"), ("PROBE", "PIN_PROBE_NTC")), 1):
        add(f"J{n}", "2-way", f"to the {word.lower()} sensor", _row(word, "AGND"))
        add(f"RT{n}", "NTC 10 kohm, 103AT curve, 1 %", f"{word.lower()} sensor", _two(), off_board=True)
        add(f"R{n}", f"{ohm[f'R_FIXED_{word}_OHM'] / 1000:g} kohm 0.1 % 25 ppm/K", f"{word.lower()} divider", _two())
        add(f"R{n + 2}", "1 kohm", f"{word.lower()} input guard", _two())
        add(f"C{n}", "100 nF", f"{word.lower()} input filter", _two())
        join("ADC_VREF", (f"R{n}", 1))
        join(f"{word}_CABLE", (f"R{n}", 2), (f"J{n}", 1), (f"RT{n}", 1), (f"R{n + 2}", 1))
        join(f"{word}_ADC", (f"R{n + 2}", 2), (f"C{n}", 1), gpio(key))
        join("AGND", (f"J{n}", 2), (f"RT{n}", 2), (f"C{n}", 2))
    join("ADC_VREF", ("U1", 35))
    join("AGND", ("U1", 33))

    # I2C: 2.2 kohm reaches 400 kHz alone on 160 pF, and still leaves 2.5 mA when every module brings pull-ups too.
    add("R5", "2.2 kohm", "I2C pull-up, data", _two())
    add("R6", "2.2 kohm", "I2C pull-up, clock", _two())
    add("C3", "10 uF", "display supply reservoir", _two())
    add("J7", "4-way", "to the air sensor", _row("GND", "3V3", "SCL", "SDA"), optional=True)
    add("J8", "4-way", "to the clock", _row("GND", "3V3", "SCL", "SDA"), optional=True)
    bus = {**supply, 3: ("SCL", "input"), 4: ("SDA", "bidir")}
    add("M1", "SHT40 or SHT41 module", "air temperature and humidity", bus, off_board=True, optional=True)
    add("M2", "DS3231 module", "clock that survives a power cut", bus, off_board=True, optional=True)
    join("SCL", gpio("PIN_I2C_SCL"), ("R6", 2), ("J3", 3), ("DS1", 3), ("J7", 3), ("M1", 3), ("J8", 3), ("M2", 3))
    join("SDA", gpio("PIN_I2C_SDA"), ("R5", 2), ("J3", 4), ("DS1", 4), ("J7", 4), ("M1", 4), ("J8", 4), ("M2", 4))
    join("OLED_RESET", gpio("PIN_OLED_RESET"), ("J3", 5), ("DS1", 5))
    join("3V3", ("U1", 36), ("R5", 1), ("R6", 1), ("C3", 1))
    join("3V3", ("J3", 2), ("DS1", 2), ("J7", 2), ("M1", 2), ("J8", 2), ("M2", 2))
    join("GND", ("U1", 3), ("U1", 8), ("U1", 13), ("U1", 18), ("U1", 23), ("U1", 28), ("U1", 38), ("C3", 2))
    join("GND", ("J3", 1), ("DS1", 1), ("J7", 1), ("M1", 1), ("J8", 1), ("M2", 1))

    # Sound: the disc between two pins swings 6.6 V; 220 ohm keeps the charging edge of a 20 nF disc below 30 mA.
    add("R7", "220 ohm", "sound edge limit", _two())
    add("J6", "2-way", "to the sounder", _row("A", "B"))
    add("BZ1", "passive piezo sounder", "sound", _two(), off_board=True)
    join("BUZZER_A", gpio("PIN_BUZZER_A"), ("R7", 1))
    join("BUZZER_OUT", ("R7", 2), ("J6", 1), ("BZ1", 1))
    join("BUZZER_B", gpio("PIN_BUZZER_B"), ("J6", 2), ("BZ1", 2))

    # Light: red drops 2.0 V, green and blue 2.8 to 3.2 V, hence the unequal resistors.
    add("J5", "4-way", "to the light", _row("R", "G", "B", "GND"))
    add("D1", "RGB LED 10 mm diffused, common cathode", "light", _row("R", "G", "B", "K"), off_board=True)
    for n, (colour, value) in enumerate((("R", "330 ohm"), ("G", "68 ohm"), ("B", "68 ohm")), 1):
        add(f"R{n + 7}", value, f"light, {dict(R='red', G='green', B='blue')[colour]}", _two())
        join(f"LED_{colour}", gpio(f"PIN_LED_{colour}"), (f"R{n + 7}", 1))
        join(f"LED_{colour}_OUT", (f"R{n + 7}", 2), ("J5", n), ("D1", n))
    join("GND", ("J5", 4), ("D1", 4))

    add("J4", "4-way", "to the buttons", _row("GND", "RIGHT", "MIDDLE", "LEFT"))
    join("GND", ("J4", 1))
    for n, side in enumerate(("LEFT", "MIDDLE", "RIGHT"), 1):
        add(f"SW{n}", "push button, normally open", f"{side.lower()} button", _two(), off_board=True)
        join(f"BUTTON_{side}", gpio(f"PIN_BUTTON_{side}"), ("J4", 5 - n), (f"SW{n}", 1))
        join("GND", (f"SW{n}", 2))
    return c
