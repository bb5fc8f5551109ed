"""Draw the schematic from `circuit.py`, one block per function, joined by named nets.

No value, pin number or net name is written here: a block is given references and looks everything up, so the drawing
cannot disagree with the circuit. What is drawn here is only where things stand.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

import schemdraw
import schemdraw.elements as elm

from hardware.electronics.circuit import PICO_HEADER, Circuit

INK = "#1d2733"
NET = "#0b5d8f"
PAPER = "#ffffff"


class _Sheet:
    """A drawing plus the circuit it shows; helpers place parts and write their nets."""

    def __init__(self, drawing: schemdraw.Drawing, circuit: Circuit) -> None:
        self.d, self.c = drawing, circuit
        self.shown: set[tuple[str, int]] = set()

    def net(self, ref: str, pin: int) -> str:
        self.shown.add((ref, pin))
        return self.c.net_of(ref, pin) or "open"

    def tag(self, at, text: str, side: str) -> None:  # noqa: ANN001 - schemdraw points
        """Write a net name at the end of a wire; ground and supply nets get their usual sign."""
        if text in ("GND", "AGND"):
            self.d += (elm.GroundSignal if text == "AGND" else elm.Ground)(lead=False).at(at).theta(0).color(NET)
            if text == "AGND":
                self.d += (
                    elm.Label()
                    .theta(0)
                    .at((at[0] + 0.3, at[1] - 0.3))
                    .label("AGND", fontsize=8, color=NET, halign="left")
                )
            return
        align = {"left": "right", "right": "left", "up": "center", "down": "center"}[side]
        dx, dy = {"left": (-0.28, -0.1), "right": (0.2, -0.1), "up": (0, 0.15), "down": (0, -0.4)}[side]
        self.d += elm.Dot(open=True, radius=0.06).at(at).color(NET)
        self.d += elm.Label().theta(0).at((at[0] + dx, at[1] + dy)).label(text, fontsize=9, color=NET, halign=align)

    def two(self, kind, ref: str, at, direction: str, length: float = 2.2, beside: str = ""):  # noqa: ANN001, ANN201
        """Place a two-pin part with its reference and value; returns the element."""
        part = self.c.parts[ref]
        value = _short(part.value)
        element = getattr(kind().at(at), direction)(length)
        self.d += element
        middle = ((element.start[0] + element.end[0]) / 2, (element.start[1] + element.end[1]) / 2)
        x, y, align = (0.5, 0.08, "left") if direction == "down" else (0, 0.85, "center")
        if beside == "left":
            x, align = -0.6, "right"
        for line, text in enumerate((ref, *value.split(", "))):
            self.d += (
                elm.Label()
                .theta(0)
                .at((middle[0] + x, middle[1] + y - 0.36 * line))
                .label(text, fontsize=9, halign=align)
            )
        self.shown |= {(ref, 1), (ref, 2)}
        return element

    def box(self, ref: str, at, title: str, left: Iterable[int] = (), right: Iterable[int] = (), size=None, pitch=0.7):  # noqa: ANN001, ANN201
        """Place a part as a box with numbered pins and write the net at every pin."""
        part = self.c.parts[ref]
        pins = [
            elm.IcPin(name=part.pins[n][0], pin=str(n), side=side, anchorname=f"p{n}", lblsize=8.5, pinlblsize=7)
            for side, numbers in (("left", left), ("right", right))
            for n in reversed(list(numbers))
        ]
        box = elm.Ic(pins=pins, size=size, pinspacing=pitch, leadlen=0.6, edgepadH=0.35)
        self.d += box.at(at).theta(0).anchor("center").label(title, loc="top", fontsize=9, ofst=0.12).color(INK)
        for side, numbers in (("left", left), ("right", right)):
            for n in numbers:
                net = self.net(ref, n)
                x, y = getattr(box, f"p{n}")
                if net == "open":
                    continue
                if net in ("GND", "AGND"):
                    out = -0.35 if side == "left" else 0.35
                    self.d += (
                        elm.Label()
                        .theta(0)
                        .at((x + out / 3, y - 0.09))
                        .label(net, fontsize=9, color=NET, halign="right" if side == "left" else "left")
                    )
                else:
                    self.tag((x, y), net, side)
        return box


def _short(value: str) -> str:
    """Value as printed on a drawing: ohm and micro signs, no tail of tolerances beyond the first."""
    value = value.replace(" kohm", " kΩ").replace(" ohm", " Ω").replace(" uF", " µF")
    return re.sub(r" 25 ppm/K|passive | sounder", "", value)


def _frame(s: _Sheet, x0: float, y0: float, x1: float, y1: float, title: str) -> None:
    s.d += elm.Rect(corner1=(x0, y0), corner2=(x1, y1), lw=0.8).at((0, 0)).theta(0).color("#9aa7b3").linestyle("--")
    s.d += elm.Label().theta(0).at((x0 + 0.2, y1 - 0.5)).label(title, fontsize=11, color=INK, halign="left")


def _thermometer(s: _Sheet, n: int, x: float, y: float) -> None:
    """Divider, cable connector, guard resistor and filter of one sensor."""
    top = s.two(elm.Resistor, f"R{n}", (x, y + 2.5), "down", 2.2, beside="left")
    s.tag(top.start, s.net(f"R{n}", 1), "up")
    node = top.end
    s.d += elm.Dot().at(node)
    s.d += elm.Line().at(node).left(1.2)
    bead = s.two(elm.Thermistor, f"RT{n}", (node[0] - 1.2, node[1]), "down", 2.4, beside="left")
    s.tag(bead.end, s.net(f"RT{n}", 2), "down")
    guard = s.two(elm.Resistor, f"R{n + 2}", node, "right", 2.2)
    s.d += elm.Dot().at(guard.end)
    cap = s.two(elm.Capacitor, f"C{n}", guard.end, "down", 2.0)
    s.tag(cap.end, s.net(f"C{n}", 2), "down")
    wire = elm.Line().at(guard.end).right(0.5)
    s.d += wire
    s.tag(wire.end, s.net(f"R{n + 2}", 2), "right")
    j = s.c.parts[f"J{n}"]
    names = ", ".join(f"{pin} {j.pins[pin][0]}" for pin in j.pins)
    s.d += (
        elm.Label()
        .theta(0)
        .at((node[0] - 1.35, node[1] + 0.15))
        .label(f"J{n}: {names}", fontsize=8, halign="right", color=INK)
    )
    s.shown |= {(f"J{n}", pin) for pin in j.pins}


def draw(circuit: Circuit) -> tuple[schemdraw.Drawing, set[tuple[str, int]]]:
    """Return the drawing and the set of (reference, pin) it shows."""
    schemdraw.use("svg")
    d = schemdraw.Drawing(show=False)
    d.config(
        unit=2.2, inches_per_unit=0.42, lw=1.2, fontsize=9, color=INK, bgcolor=PAPER, font="DejaVu Sans, sans-serif"
    )
    s = _Sheet(d, circuit)

    _frame(s, -6.2, -9.2, 6.2, 9.6, "Controller")
    s.box(
        "U1", (0, 0), f"U1  {circuit.parts['U1'].value}", range(1, 21), range(40, 20, -1), size=(5.2, 16.6), pitch=0.8
    )

    _frame(s, 7.0, 3.4, 17.0, 9.6, "Bench sensor")
    _thermometer(s, 1, 11.5, 6.0)
    _frame(s, 7.0, -3.2, 17.0, 3.0, "Needle probe")
    _thermometer(s, 2, 11.5, -0.6)

    _frame(s, 7.0, -9.2, 17.0, -3.6, "I2C pull-ups and display reservoir")
    for ref, x in (("R5", 8.6), ("R6", 11.2)):
        r = s.two(elm.Resistor, ref, (x, -5.4), "down", 2.2)
        s.tag(r.start, s.net(ref, 1), "up")
        s.tag(r.end, s.net(ref, 2), "down")
    cap = s.two(elm.Capacitor2, "C3", (14.2, -5.4), "down", 2.0)
    s.tag(cap.start, s.net("C3", 1), "up")
    s.tag(cap.end, s.net("C3", 2), "down")

    _frame(s, 17.8, 3.4, 32.2, 9.6, "Display, air sensor, clock (each on a plug)")
    for x, plug, module, title in (
        (21.6, "J3", "DS1", "display"),
        (25.6, "J7", "M1", "air sensor"),
        (30.0, "J8", "M2", "clock"),
    ):
        pins = list(circuit.parts[plug].pins)
        part = circuit.parts[module]
        end = " (optional)" if part.optional else ""
        s.box(plug, (x, 6.3), f"{plug} → {module} {title}{end}", left=pins, size=(1.7, 0.7 * len(pins) + 0.6))
        s.d += elm.Label().theta(0).at((x, 3.75)).label(part.value, fontsize=8, halign="center", color=INK)
        s.shown |= {(module, pin) for pin in part.pins}

    _frame(s, 17.8, -3.2, 24.7, 3.0, "Sound")
    r = s.two(elm.Resistor, "R7", (19.9, 1.2), "right", 2.2)
    s.tag(r.start, s.net("R7", 1), "left")
    bz = s.two(elm.Crystal, "BZ1", r.end, "down", 2.2)
    wire = elm.Line().at(bz.end).left(2.2)
    s.d += wire
    s.tag(wire.end, s.net("BZ1", 2), "left")
    s.d += (
        elm.Label()
        .theta(0)
        .at((21.2, -2.6))
        .label("J6: 1 A, 2 B (two pins of one PWM slice)", fontsize=8, halign="center", color=INK)
    )
    s.shown |= {("J6", 1), ("J6", 2)}

    _frame(s, 25.2, -3.2, 32.2, 3.0, "Light")
    for n in (1, 2, 3):
        y = 1.6 - 1.6 * (n - 1)
        r = s.two(elm.Resistor, f"R{n + 7}", (27.0, y), "right", 1.9)
        s.tag(r.start, s.net(f"R{n + 7}", 1), "left")
        led = elm.LED().at(r.end).right(1.5).label(circuit.parts["D1"].pins[n][0], loc="bottom", fontsize=8, ofst=0.05)
        s.d += led
        s.d += elm.Dot().at(led.end)
        if n > 1:
            s.d += elm.Line().at((led.end[0], y)).to((led.end[0], y + 1.6))
        s.shown |= {("J5", n), ("D1", n), (f"R{n + 7}", 2)}
    down = elm.Line().at((30.4, 1.6 - 3.2)).down(0.3)
    s.d += down
    s.tag(down.end, s.net("D1", 4), "down")
    s.shown.add(("J5", 4))
    s.d += (
        elm.Label().theta(0).at((28.2, -2.75)).label("J5 → D1, common cathode", fontsize=8, halign="center", color=INK)
    )

    _frame(s, 17.8, -9.2, 32.2, -3.6, "Buttons (closed = low, pull-up inside the controller)")
    for n in (1, 2, 3):
        x = 19.6 + 4.5 * (n - 1)
        sw = elm.Button().at((x, -5.8)).right(2.2).label(f"SW{n}", loc="top", fontsize=9)
        s.d += sw
        s.tag(sw.start, s.net(f"SW{n}", 1), "down")
        s.d += elm.Line().at(sw.end).down(0.6)
        s.tag((sw.end[0], sw.end[1] - 0.6), s.net(f"SW{n}", 2), "down")
        s.shown |= {("J4", 5 - n)}
    s.shown.add(("J4", 1))
    plug = ", ".join(f"{pin} {name}" for pin, (name, _) in circuit.parts["J4"].pins.items())
    s.d += elm.Label().theta(0).at((25.0, -8.7)).label(f"J4: {plug}", fontsize=8, halign="center", color=INK)

    free = [name for pin, name in PICO_HEADER.items() if name.startswith("GP") and circuit.net_of("U1", pin) is None]
    notes = (
        "Dividers are fed from ADC_VREF and return to AGND, so the reference voltage cancels. "
        f"Free pins: {', '.join(free)}."
    )
    s.d += elm.Label().theta(0).at((-6.2, -9.9)).label(notes, fontsize=9, halign="left", color=INK)
    return d, s.shown


def to_svg(circuit: Circuit) -> str:
    """The schematic as SVG text."""
    d, shown = draw(circuit)
    missing = {
        (ref, pin) for ref, part in circuit.parts.items() for pin in part.pins if circuit.net_of(ref, pin)
    } - shown
    if missing:
        raise ValueError(f"the schematic shows no sign of {sorted(missing)}")
    return d.get_imagedata("svg").decode("utf-8")
