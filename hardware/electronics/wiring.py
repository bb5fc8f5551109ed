"""Wiring table (Markdown) and wiring picture (SVG) for the perfboard build, both from `circuit.py`."""

from __future__ import annotations

from html import escape

from hardware.electronics.circuit import PICO_HEADER, Circuit
from hardware.svg import tag

# Wire colours for cables from plug to part. Words as well as colour: the table prints the name.
COLOURS = {
    "GND": ("black", "#222222"), "AGND": ("black", "#222222"), "3V3": ("red", "#c62828"), "SCL": ("yellow", "#b8860b"),
    "SDA": ("blue", "#1565c0"), "OLED_RESET": ("white", "#8d99a6"), "BENCH_CABLE": ("green", "#2e7d32"),
    "PROBE_CABLE": ("orange", "#d1671a"), "BUZZER_OUT": ("violet", "#7b1fa2"), "BUZZER_B": ("grey", "#607d8b"),
    "LED_R_OUT": ("red", "#c62828"), "LED_G_OUT": ("green", "#2e7d32"), "LED_B_OUT": ("blue", "#1565c0"),
    "BUTTON_LEFT": ("yellow", "#b8860b"), "BUTTON_MIDDLE": ("white", "#8d99a6"), "BUTTON_RIGHT": ("green", "#2e7d32"),
}  # fmt: skip
PLUGS = ("J1", "J2", "J3", "J4", "J5", "J6", "J7", "J8")


def _far_end(c: Circuit, plug: str, pin: int) -> str:
    """Where the wire from a plug's pin ends, in words."""
    net = c.net_of(plug, pin)
    hangs_on = {"J1": "RT1", "J2": "RT2", "J3": "DS1", "J4": "SW", "J5": "D1", "J6": "BZ1", "J7": "M1", "J8": "M2"}[
        plug
    ]
    ends = [(r, n) for r, n in c.nets[net or ""] if r.startswith(hangs_on)]
    return ", ".join(f"{r} {c.parts[r].pins[n][0]}" for r, n in ends)


def board_rows(c: Circuit) -> list[tuple[int, str, str, str]]:
    """(header pin, printed name, net, what else is on that net on the board) for every used Pico pin."""
    rows = []
    for number, name in PICO_HEADER.items():
        net = c.net_of("U1", number)
        if net is None:
            continue
        others = [f"{r} pin {n}" for r, n in c.nets[net] if r != "U1" and not c.parts[r].off_board]
        rows.append((number, name, net, ", ".join(others)))
    return rows


def plug_rows(c: Circuit) -> list[tuple[str, int, str, str, str]]:
    """(plug, pin, net, wire colour, far end) for every cable wire."""
    rows = []
    for plug in PLUGS:
        for pin in c.parts[plug].pins:
            net = c.net_of(plug, pin) or ""
            rows.append((plug, pin, net, COLOURS[net][0], _far_end(c, plug, pin)))
    return rows


def table(c: Circuit) -> str:
    """The wiring table as Markdown."""
    out = [
        "# Wiring table", "",
        "Generated from the circuit and the firmware's pin module by `python hardware/make.py`; do not edit.", "",
        "## On the board: Pico header", "",
        "| pin | printed | net | goes to |", "|---:|---|---|---|",
    ]  # fmt: skip
    for number, name, net, others in board_rows(c):
        out.append(f"| {number} | {name} | {net} | {others or 'the same net on the other pins'} |")
    out += ["", "## On the board: small parts", "", "| part | value | from | to |", "|---|---|---|---|"]
    for ref, part in c.parts.items():
        if not part.off_board and ref[0] in "RC":
            out.append(f"| {ref} | {part.value} | {c.net_of(ref, 1)} | {c.net_of(ref, 2)} |")
    out += [
        "", "## Cables: plug to part", "",
        "Wire colours are a proposal: use what you have and write it down.", "",
        "| plug | pin | net | wire | far end |", "|---|---:|---|---|---|",
    ]  # fmt: skip
    for plug, pin, net, colour, far in plug_rows(c):
        out.append(f"| {plug} | {pin} | {net} | {colour} | {far} |")
    free = [f"{name} (pin {n})" for n, name in PICO_HEADER.items() if name[:2] == "GP" and c.net_of("U1", n) is None]
    out += ["", "Left free for your own ideas: " + ", ".join(free) + ".", ""]
    return "\n".join(out)


# --- picture -----------------------------------------------------------------------------------------------------

_W, _H = 1180, 900
_PICO_X, _PICO_Y, _PITCH = 520, 84, 31
_PICO_W = 166


def _text(
    x: float, y: float, text: str, size: int = 13, anchor: str = "start", bold: bool = False, fill: str = "#1d2733"
) -> str:
    weight = {"font_weight": "bold"} if bold else {}
    return tag("text", escape(text), x=float(x), y=float(y), font_size=size, text_anchor=anchor, fill=fill, **weight)


def _wire(points: list[tuple[float, float]], colour: str) -> str:
    path = " ".join(f"{x:g},{y:g}" for x, y in points)
    return (
        f'<polyline points="{path}" fill="none" stroke="#ffffff" stroke-width="6"/>'
        f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="2.6" stroke-linejoin="round"/>'
    )


def _part(x: float, y: float, ref: str, value: str) -> str:
    """A small part in a wire, as a labelled pill."""
    label = f"{ref} {value}"
    width = 7.2 * len(label) + 12
    return tag(
        "rect", x=x - width / 2, y=y - 10.0, width=width, height=20, rx=10, fill="#fff7e0", stroke="#8a6d1f"
    ) + _text(x, y + 4, label, 12, "middle")


def _flag(x: float, y: float, net: str, side: int) -> str:
    """A supply flag instead of a wire across the whole picture: the pin it goes to is written out."""
    pins = {"3V3": "3V3 (pin 36)", "GND": "GND (any GND pin)", "AGND": "AGND (pin 33)", "ADC_VREF": "ADC_VREF (pin 35)"}
    colour = {"3V3": "#c62828", "ADC_VREF": "#a0522d"}.get(net, "#222222")
    end = x + 26 * side
    return (
        f'<line x1="{x:g}" y1="{y:g}" x2="{end:g}" y2="{y:g}" stroke="{colour}" stroke-width="2.6"/>'
        f'<circle cx="{end:g}" cy="{y:g}" r="4" fill="{colour}"/>'
        + _text(end + 9 * side, y + 4, pins[net], 11, "start" if side > 0 else "end", fill=colour)
    )


def _value(c: Circuit, ref: str) -> str:
    return c.parts[ref].value.split(" 25")[0].replace(" kohm", " kΩ").replace(" ohm", " Ω").replace(" uF", " µF")


def _pin_y(header_pin: int) -> float:
    row = header_pin - 1 if header_pin <= 20 else 40 - header_pin
    return _PICO_Y + 24 + row * _PITCH


def _pico(c: Circuit) -> list[str]:
    height = 19 * _PITCH + 48
    out = [
        tag("rect", x=_PICO_X, y=_PICO_Y, width=_PICO_W, height=height, rx=8, fill="#e4f1e7", stroke="#3c6e4a"),
        f'<rect x="{_PICO_X + 58}" y="{_PICO_Y - 14}" width="50" height="26" rx="4" fill="#c3cbd3" stroke="#5d6b78"/>',
        _text(_PICO_X + 83, _PICO_Y - 22, "USB, seen from above", 12, "middle"),
    ]
    for number, name in PICO_HEADER.items():
        left = number <= 20
        y = _pin_y(number)
        used = c.net_of("U1", number) is not None
        x = _PICO_X if left else _PICO_X + _PICO_W
        fill = "#caa53d" if used else "#dfe5ea"
        out.append(f'<circle cx="{x}" cy="{y:g}" r="6" fill="{fill}" stroke="#5d6b78"/>')
        words = f"{number} {name}" if left else f"{name} {number}"
        side = (x + 12, "start") if left else (x - 12, "end")
        out.append(_text(side[0], y + 4, words, 11, side[1], bold=used, fill="#1d2733" if used else "#8894a0"))
    return out


def _module(x: float, y: float, w: float, h: float, title: str, sub: str) -> str:
    return (
        tag("rect", x=float(x), y=float(y), width=w, height=h, rx=8, fill="#eef3f8", stroke="#44617c", stroke_width=1.6)
        + _text(x + 12, y + 20, title, 14, bold=True) + _text(x + 12, y + 36, sub, 11, fill="#465666")
    )  # fmt: skip


def _pin_label(x: float, y: float, text: str, side: int) -> str:
    return f'<circle cx="{x:g}" cy="{y:g}" r="4.5" fill="#caa53d" stroke="#5d6b78"/>' + _text(
        x - 10 * side, y + 4, text, 11, "end" if side > 0 else "start"
    )


def picture(c: Circuit) -> str:
    """The wiring picture as SVG text; every wire end is looked up in the circuit."""
    out: list[str] = []
    pico_pin = {net: number for number in PICO_HEADER if (net := c.net_of("U1", number)) and net not in ("GND",)}

    def plug_pins(plug: str, x: float, y: float, side: int, step: float = 24) -> dict[str, tuple[float, float]]:
        at = {}
        for k, (pin, (name, _)) in enumerate(c.parts[plug].pins.items()):
            spot = (x, y + step * k)
            out.append(_pin_label(*spot, f"{name}  {plug}.{pin}" if side > 0 else f"{plug}.{pin}  {name}", side))
            at[c.net_of(plug, pin) or ""] = spot
            if c.net_of(plug, pin) in ("3V3", "GND", "AGND"):
                out.append(_flag(*spot, c.net_of(plug, pin) or "", side))
        return at

    left_edge = _PICO_X - 6
    joints: list[tuple[float, float, str]] = []
    # Left: I2C modules on a shared pair, then sound, then light.
    modules = [("J3", "DS1", 92, "Display"), ("J7", "M1", 280, "Air sensor"), ("J8", "M2", 444, "Clock")]
    for plug, ref, y, title in modules:
        part = c.parts[ref]
        n = len(part.pins)
        out.append(
            _module(
                30,
                y,
                190,
                52 + 24 * n,
                title + (" (optional)" if part.optional else ""),
                part.value.replace(" inch", "″"),
            )
        )
        at = plug_pins(plug, 220, y + 58, 1)
        for net, lane in (("SCL", 400), ("SDA", 416), ("OLED_RESET", 432)):
            if net in at:
                x, py = at[net]
                pin_y = _pin_y(pico_pin[net])
                out.append(_wire([(x + 5, py), (lane, py), (lane, pin_y), (left_edge, pin_y)], COLOURS[net][1]))
                joints.append((lane, py, COLOURS[net][1]))
    # The halo that lets wires cross cleanly also cuts branches: draw the joints of the shared pair again on top.
    for x, y, colour in joints:
        if colour != COLOURS["OLED_RESET"][1]:
            out.append(f'<line x1="{x - 8}" y1="{y:g}" x2="{x}" y2="{y:g}" stroke="{colour}" stroke-width="2.6"/>')
            out.append(f'<circle cx="{x}" cy="{y:g}" r="4" fill="{colour}"/>')
    out.append(_part(178, 64, "R5, R6", f"{_value(c, 'R5')} each, SDA and SCL to 3V3"))
    out.append(_part(159, 38, "C3", f"{_value(c, 'C3')}, 3V3 to GND beside J3"))

    out.append(_module(30, 608, 190, 104, "Sound", "passive piezo"))
    at = plug_pins("J6", 220, 666, 1)
    pin_y = _pin_y(pico_pin["BUZZER_A"])
    x, y = at["BUZZER_OUT"]
    out.append(_wire([(x + 5, y), (448, y), (448, pin_y), (left_edge, pin_y)], COLOURS["BUZZER_OUT"][1]))
    out.append(_part(300, y, "R7", _value(c, "R7")))
    pin_y = _pin_y(pico_pin["BUZZER_B"])
    x, y = at["BUZZER_B"]
    out.append(_wire([(x + 5, y), (464, y), (464, pin_y), (left_edge, pin_y)], COLOURS["BUZZER_B"][1]))

    out.append(_module(30, 728, 190, 152, "Light", "RGB LED, common cathode"))
    at = plug_pins("J5", 220, 786, 1)
    for k, colour in enumerate("RGB"):
        x, y = at[f"LED_{colour}_OUT"]
        pin_y = _pin_y(pico_pin[f"LED_{colour}"])
        lane = 478 + 12 * k
        out.append(_wire([(x + 5, y), (lane, y), (lane, pin_y), (left_edge, pin_y)], COLOURS[f"LED_{colour}_OUT"][1]))
        out.append(_part(300 + 0 * k, y, f"R{8 + k}", _value(c, f"R{8 + k}")))

    # Right: two sensors, then the buttons.
    right_edge = _PICO_X + _PICO_W + 6
    for n, word, y, lane in ((2, "PROBE", 60, 714), (1, "BENCH", 262, 730)):
        title = "Needle probe" if word == "PROBE" else "Bench sensor"
        out.append(_module(960, y + 40, 190, 112, title, "NTC 10 kΩ, 103AT, 1 %"))
        at = plug_pins(f"J{n}", 960, y + 98, -1)
        cable_x, cable_y = at[f"{word}_CABLE"]
        pin_y = _pin_y(pico_pin[f"{word}_ADC"])
        colour = COLOURS[f"{word}_CABLE"][1]
        out.append(_wire([(right_edge, pin_y), (lane, pin_y), (lane, cable_y), (cable_x - 5, cable_y)], colour))
        out.append(_part(818, cable_y, f"R{n + 2}", _value(c, f"R{n + 2}")))
        for x, ref, net, up in ((884, f"R{n}", "ADC_VREF", -34), (764, f"C{n}", "AGND", 46)):
            out.append(f'<circle cx="{x}" cy="{cable_y:g}" r="4" fill="{colour}"/>')
            out.append(
                f'<line x1="{x}" y1="{cable_y:g}" x2="{x}" y2="{cable_y + up:g}" stroke="#5d6b78" stroke-width="2"/>'
            )
            flag_y = cable_y + up + (-24 if up < 0 else 24)
            out.append(
                f'<line x1="{x}" y1="{cable_y + up:g}" x2="{x}" y2="{flag_y:g}" stroke="#5d6b78" stroke-width="2"/>'
            )
            out.append(_flag(x, flag_y, net, -1 if up < 0 else 1))
            out.append(_part(x, cable_y + up, ref, _value(c, ref)))

    out.append(_module(960, 520, 190, 160, "Buttons", "three, normally open, to GND"))
    at = plug_pins("J4", 960, 578, -1)
    for k, side in enumerate(("LEFT", "MIDDLE", "RIGHT")):
        x, y = at[f"BUTTON_{side}"]
        pin_y = _pin_y(pico_pin[f"BUTTON_{side}"])
        lane = 724 + 18 * k
        out.append(_wire([(right_edge, pin_y), (lane, pin_y), (lane, y), (x - 5, y)], COLOURS[f"BUTTON_{side}"][1]))

    out += _pico(c)
    out.append(_text(700, 868, "Pills are parts soldered on the board. Dots with a name go to that pin.", 12))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_W} {_H}" width="{_W}" height="{_H}" '
        'font-family="DejaVu Sans, Verdana, sans-serif">\n<title>Wiring of the bench timer</title>\n'
        f'<rect width="{_W}" height="{_H}" fill="#ffffff"/>\n' + "\n".join(out) + "\n</svg>\n"
    )
