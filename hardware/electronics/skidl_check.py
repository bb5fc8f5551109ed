"""The same circuit built in SKiDL, for its electrical rule check and a second opinion on the nets.

SKiDL is an optional extra. It writes log files where it stands, so everything runs in a scratch folder. Run alone:
`python -m hardware.electronics.skidl_check` prints the rule check.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import tempfile

from hardware.electronics.circuit import Circuit, build
from hardware.electronics.netlist import footprint


def _build_in_skidl(c: Circuit):  # noqa: ANN202 - SKiDL ships no types
    import skidl

    kind = {
        "passive": skidl.Pin.types.PASSIVE, "input": skidl.Pin.types.INPUT, "output": skidl.Pin.types.OUTPUT,
        "bidir": skidl.Pin.types.BIDIR, "power_in": skidl.Pin.types.PWRIN, "power_out": skidl.Pin.types.PWROUT,
        "open": skidl.Pin.types.NOCONNECT,
    }  # fmt: skip
    circuit = skidl.Circuit()
    made = {}
    for part in c.parts.values():
        # One board feeds every ground pin: SKiDL sees eight fighting supplies unless only the first counts as one.
        fed: set[str] = set()
        pins = []
        for number, (name, word) in part.pins.items():
            if word == "power_out" and name in fed:
                word = "passive"
            fed.add(name)
            pins.append(skidl.Pin(num=str(number), name=name, func=kind[word]))
        made[part.ref] = skidl.Part(
            tool=skidl.SKIDL, name=part.ref, ref=part.ref, ref_prefix=re.sub(r"\d", "", part.ref), value=part.value,
            tag=part.ref, pins=pins, circuit=circuit, dest=skidl.NETLIST,
            footprint=footprint(part) or "off-board:cable",
        )  # fmt: skip
    for name, nodes in c.nets.items():
        net = skidl.Net(name, circuit=circuit)
        for ref, pin in nodes:
            net += made[ref][str(pin)]
    used = {node for nodes in c.nets.values() for node in nodes}
    for ref, part in c.parts.items():
        for pin in part.pins:
            if (ref, pin) not in used:
                circuit.NC += made[ref][str(pin)]
    return circuit


def run(c: Circuit | None = None) -> tuple[int, int, dict[str, list[tuple[str, int]]]]:
    """Return (errors, warnings, nets as SKiDL holds them) for a circuit (default: ours)."""
    c = build() if c is None else c
    here = os.getcwd()
    with tempfile.TemporaryDirectory() as scratch, contextlib.redirect_stderr(io.StringIO()):
        os.chdir(scratch)
        try:
            import skidl

            circuit = _build_in_skidl(c)
            skidl.erc_logger.error.reset()
            skidl.erc_logger.warning.reset()
            circuit.ERC()
            errors, warnings = skidl.erc_logger.error.count, skidl.erc_logger.warning.count
            nets = {
                net.name: sorted((pin.part.ref, int(pin.num)) for pin in net.pins)
                for net in circuit.get_nets()
                if net.name in c.nets
            }
        finally:
            os.chdir(here)
    return errors, warnings, nets


if __name__ == "__main__":
    found_errors, found_warnings, found_nets = run()
    print(f"{found_errors} errors, {found_warnings} warnings on {len(found_nets)} nets")
