"""The circuit as files other tools read: a KiCad netlist (for anyone who wants to draw another board) and JSON."""

from __future__ import annotations

import json
import re

from hardware.electronics.circuit import Circuit, Part

# Names in KiCad's own footprint libraries; off-board parts sit on cables and land on nothing.
_FOOTPRINTS = {
    "U1": "Module:RaspberryPi_Pico_Common_THT",
    "R": "Resistor_THT:R_Axial_DIN0207_L6.3mm_D2.5mm_P10.16mm_Horizontal",
    "C": "Capacitor_THT:C_Disc_D5.0mm_W2.5mm_P5.00mm",
    "J": "Connector_PinHeader_2.54mm:PinHeader_1x{ways:02d}_P2.54mm_Vertical",
}


def footprint(part: Part) -> str:
    """KiCad footprint name, or an empty text for a part that hangs on a cable."""
    key = part.ref if part.ref in _FOOTPRINTS else re.sub(r"\d+", "", part.ref)
    return "" if part.off_board else _FOOTPRINTS[key].format(ways=len(part.pins))


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def to_kicad(c: Circuit) -> str:
    """KiCad s-expression netlist, version E, with no date or path in it, so it is the same on every machine."""
    out = ['(export (version "E")', "  (components"]
    for part in c.parts.values():
        out.append(f"    (comp (ref {_quoted(part.ref)}) (value {_quoted(part.value)})")
        out.append(f"      (footprint {_quoted(footprint(part))})")
        out.append(f'      (property (name "job") (value {_quoted(part.job)})))')
    out += ["  )", "  (nets"]
    for code, (name, nodes) in enumerate(c.nets.items(), 1):
        out.append(f'    (net (code "{code}") (name {_quoted(name)})')
        for ref, pin in nodes:
            out.append(
                f'      (node (ref {_quoted(ref)}) (pin "{pin}") (pinfunction {_quoted(c.parts[ref].pins[pin][0])}))'
            )
        out[-1] += ")"
    return "\n".join([*out, "  )", ")"]) + "\n"


def to_json(c: Circuit) -> str:
    """Nets as JSON: {net: [[reference, pin, pin name], ...]}."""
    nets = {name: [[ref, pin, c.parts[ref].pins[pin][0]] for ref, pin in nodes] for name, nodes in c.nets.items()}
    lines = [f"  {json.dumps(name)}: {json.dumps(nodes)}" for name, nodes in nets.items()]
    return "{\n" + ",\n".join(lines) + "\n}\n"
