"""Firmware pins, schematic, wiring, netlist and parts list say the same thing, and broken circuits are found."""

from __future__ import annotations

import ast
import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from hardware.electronics import bom, netlist, rules, wiring
from hardware.electronics.circuit import GPIO_TO_HEADER, PICO_HEADER, Circuit, build
from hardware.firmware_pins import ROOT, firmware_pins, pins_fingerprint

HARDWARE = ROOT / "hardware"
PINS = firmware_pins()


@pytest.fixture
def circuit() -> Circuit:
    return build()


# --- the firmware's pins -----------------------------------------------------------------------------------------


def test_micropython_reads_the_same_pins(record_property):
    record_property("interpreter", "micropython")
    names = sorted(PINS)
    script = f"import pins, json; print(json.dumps([getattr(pins, n) for n in {names!r}]))"
    beside = Path(sys.executable).with_name("micropython")
    command = str(beside) if beside.exists() else shutil.which("micropython")
    if command is None:
        pytest.skip("the MicroPython interpreter is not installed")
    done = subprocess.run(
        [command, "-c", script], cwd=ROOT / "firmware", capture_output=True, text=True, check=True
    )
    assert json.loads(done.stdout) == [PINS[n] for n in names]


def test_no_gpio_is_used_twice():
    used = [v for k, v in PINS.items() if k.startswith("PIN_")]
    assert len(used) >= 13
    assert len(set(used)) == len(used)


@pytest.mark.parametrize(
    "text, word",
    [
        ("A = 1 + 1\n", "line 1"),
        ("import machine\n", "line 1"),
        ("A = 1\nA = 2\n", "twice"),
        ("A, B = 1, 2\n", "line 1"),
    ],
)
def test_reader_refuses_what_two_readers_could_take_differently(tmp_path: Path, text, word):
    file = tmp_path / "pins.py"
    file.write_text(text)
    with pytest.raises(ValueError, match=word):
        firmware_pins(file)


def test_fingerprint_follows_values_and_not_comments(tmp_path: Path):
    file = tmp_path / "pins.py"
    file.write_text("# a\nA = 1\n")
    one = pins_fingerprint(firmware_pins(file))
    file.write_text("# other words\nA = 1\n")
    assert pins_fingerprint(firmware_pins(file)) == one
    file.write_text("A = 2\n")
    assert pins_fingerprint(firmware_pins(file)) != one


def test_pico_board_module_takes_its_numbers_from_pins():
    file = ROOT / "firmware" / "board_pico.py"
    if not file.exists():
        pytest.skip("firmware/board_pico.py is not there")
    tree = ast.parse(file.read_text(encoding="utf-8"))
    literal = [
        node.lineno
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and getattr(node.func, "attr", getattr(node.func, "id", "")) == "Pin"
        and node.args
        and isinstance(node.args[0], ast.Constant)
        and isinstance(node.args[0].value, int)
    ]
    assert not literal, f"board_pico.py lines {literal} name a GPIO by number instead of through pins.py"
    assert "pins" in {a.name for n in ast.walk(tree) if isinstance(n, ast.Import) for a in n.names} | {
        n.module for n in ast.walk(tree) if isinstance(n, ast.ImportFrom)
    }


# --- circuit -----------------------------------------------------------------------------------------------------


def test_header_matches_the_printed_pin_out():
    # published: Raspberry Pi Pico data sheet, pin-out drawing (from memory): corner pins, supplies and ADC pins
    known = {
        1: "GP0",
        20: "GP15",
        21: "GP16",
        30: "RUN",
        31: "GP26",
        33: "AGND",
        35: "ADC_VREF",
        36: "3V3",
        39: "VSYS",
        40: "VBUS",
    }
    assert known.items() <= PICO_HEADER.items()
    assert [n for n, name in PICO_HEADER.items() if name == "GND"] == [3, 8, 13, 18, 23, 28, 38]
    assert sorted(GPIO_TO_HEADER) == [*range(23), 26, 27, 28]


NETS_OF_PINS = {
    "PIN_BENCH_NTC": "BENCH_ADC", "PIN_PROBE_NTC": "PROBE_ADC", "PIN_I2C_SDA": "SDA", "PIN_I2C_SCL": "SCL",
    "PIN_OLED_RESET": "OLED_RESET", "PIN_BUZZER_A": "BUZZER_A", "PIN_BUZZER_B": "BUZZER_B", "PIN_LED_R": "LED_R",
    "PIN_LED_G": "LED_G", "PIN_LED_B": "LED_B", "PIN_BUTTON_LEFT": "BUTTON_LEFT", "PIN_BUTTON_MIDDLE": "BUTTON_MIDDLE",
    "PIN_BUTTON_RIGHT": "BUTTON_RIGHT",
}  # fmt: skip


def test_every_firmware_pin_is_wired_and_nothing_else_is(circuit):
    on_board_only = {"PIN_SMPS_MODE"}
    assert set(NETS_OF_PINS) | on_board_only == {k for k in PINS if k.startswith("PIN_")}
    for name, net in NETS_OF_PINS.items():
        assert circuit.net_of("U1", GPIO_TO_HEADER[PINS[name]]) == net, name
    wired = {
        pin
        for nodes in circuit.nets.values()
        for ref, pin in nodes
        if ref == "U1" and PICO_HEADER[pin].startswith("GP")
    }
    assert wired == {GPIO_TO_HEADER[PINS[name]] for name in NETS_OF_PINS}


def test_kept_netlist_is_the_circuit(circuit):
    kept = json.loads((HARDWARE / "electronics/netlist.json").read_text(encoding="utf-8"))
    assert {net: [(r, p) for r, p, _ in nodes] for net, nodes in kept.items()} == circuit.nets


def test_kicad_netlist_balances_and_says_the_same(circuit):
    text = (HARDWARE / "electronics/netlist.net").read_text(encoding="utf-8")
    assert text.count("(") == text.count(")")
    found = {}
    for block in re.split(r'\(net \(code "\d+"\) ', text)[1:]:
        name = re.match(r'\(name "([^"]+)"\)', block)[1]
        found[name] = [(r, int(p)) for r, p in re.findall(r'\(node \(ref "(\w+)"\) \(pin "(\d+)"\)', block)]
    assert found == circuit.nets
    assert netlist.to_kicad(circuit) == text


def test_schematic_and_wiring_show_every_part_and_net(circuit):
    drawing = (HARDWARE / "electronics/schematic.svg").read_text(encoding="utf-8")
    picture = (HARDWARE / "electronics/wiring.svg").read_text(encoding="utf-8")
    for ref, part in circuit.parts.items():
        hidden = {"D1": "J5"}.get(ref, ref)
        assert re.search(rf"\b{hidden}\b", drawing), f"{ref} is not on the schematic"
        if not part.off_board and ref not in ("U1",) and ref[0] != "J":
            assert re.search(rf"\b{ref}\b", picture), f"{ref} is not on the wiring picture"
    inner = {
        "LED_R_OUT",
        "LED_G_OUT",
        "LED_B_OUT",
        "BUZZER_OUT",
        "BENCH_CABLE",
        "PROBE_CABLE",
    }  # drawn as wires, unnamed
    for net in set(circuit.nets) - inner:
        assert net in drawing, f"net {net} is not named on the schematic"
    for plug in wiring.PLUGS:
        for pin in circuit.parts[plug].pins:
            assert f"{plug}.{pin}" in picture


def test_wiring_table_has_a_row_for_every_wire(circuit):
    text = (HARDWARE / "electronics/wiring.md").read_text(encoding="utf-8")
    assert text == wiring.table(circuit)
    for number, name, net, _ in wiring.board_rows(circuit):
        assert f"| {number} | {name} | {net} |" in text
    assert len(wiring.plug_rows(circuit)) == sum(len(circuit.parts[p].pins) for p in wiring.PLUGS)
    assert all(far for *_, far in wiring.plug_rows(circuit)), "a cable wire ends nowhere"


def test_moving_a_pin_in_the_firmware_moves_it_everywhere():
    moved = build({**PINS, "PIN_BUTTON_LEFT": 17})
    assert moved.net_of("U1", GPIO_TO_HEADER[17]) == "BUTTON_LEFT"
    assert f"| {GPIO_TO_HEADER[17]} | GP17 | BUTTON_LEFT |" in wiring.table(moved)
    assert wiring.picture(moved) != wiring.picture(build())


# --- electrical rules --------------------------------------------------------------------------------------------


def test_circuit_breaks_no_rule(circuit):
    assert rules.check(circuit) == []


def _move(c: Circuit, ref: str, pin: int, to: str) -> None:
    c.nets[c.net_of(ref, pin)].remove((ref, pin))
    c.nets[to].append((ref, pin))


def _value(c: Circuit, ref: str, value: str) -> None:
    part = c.parts[ref]
    c.parts[ref] = type(part)(part.ref, value, part.job, part.pins, part.off_board, part.optional)


SABOTAGE = {
    "divider fed from 3V3": (lambda c: _move(c, "R1", 1, "3V3"), "0.5 K low"),
    "bead to GND": (lambda c: _move(c, "RT2", 2, "GND"), "AGND"),
    "filter left out": (lambda c: c.nets["PROBE_ADC"].remove(("C2", 1)), "100 nF"),
    "sensor on a pin without converter": (lambda c: _swap_pico(c, "BENCH_ADC", 21), "ADC pin"),
    "display unfed": (lambda c: c.nets["3V3"].remove(("U1", 36)), "nothing feeds"),
    "two outputs joined": (lambda c: _move(c, "U1", GPIO_TO_HEADER[PINS["PIN_LED_R"]], "BUZZER_A"), "two outputs"),
    "pull-up to 5 V": (lambda c: c.nets.update({"VBUS": [("U1", 40)]}) or _move(c, "R5", 1, "VBUS"), "damage"),
    "pull-ups too strong": (lambda c: (_value(c, "R5", "1 kohm"), _value(c, "R6", "1 kohm")), "3 mA"),
    "pull-ups too weak": (lambda c: (_value(c, "R5", "10 kohm"), _value(c, "R6", "10 kohm")), "too weak"),
    "sounder across two slices": (lambda c: _swap_pico(c, "BUZZER_B", 21), "one PWM slice"),
    "light on the sounder's slice": (lambda c: _swap_pico(c, "LED_R", GPIO_TO_HEADER[9], swap=True), "brightness"),
    "light resistor too small": (lambda c: _value(c, "R8", "10 ohm"), "12 mA"),
    "button to 3V3": (lambda c: _move(c, "SW1", 2, "3V3"), "switch to GND"),
    "wire with one end": (lambda c: c.nets.update({"LOST": [("U1", 1)]}), "one end"),
    "supply short": (lambda c: _move(c, "U1", 38, "3V3"), "supply net"),
    "part with a loose leg": (lambda c: c.nets["BUZZER_OUT"].remove(("BZ1", 1)), "not joined"),
}


def _swap_pico(c: Circuit, net: str, header_pin: int, swap: bool = False) -> None:
    """Move a net to another Pico pin (and that pin's net to where this one was)."""
    old = next(pin for ref, pin in c.nets[net] if ref == "U1")
    other = c.net_of("U1", header_pin)
    c.nets[net].remove(("U1", old))
    if swap and other:
        c.nets[other].remove(("U1", header_pin))
        c.nets[other].append(("U1", old))
    c.nets[net].append(("U1", header_pin))


@pytest.mark.parametrize("name", SABOTAGE)
def test_rules_find(name, circuit):
    spoil, word = SABOTAGE[name]
    spoil(circuit)
    found = rules.check(circuit)
    assert any(word in sentence for sentence in found), found


def test_numbers_of_the_rules(circuit):
    # published: I2C-bus specification UM10204, 3 mA sink and 300 ns rise in fast mode (from memory)
    strong, weak = rules.pull_up_range_ohm(circuit)
    assert strong >= (3.3 - 0.4) / 3e-3
    assert weak == pytest.approx(2200)
    assert 0.2 < rules.supply_current_a(circuit) < 0.25
    assert rules.led_current_a(circuit, "R")[1] == pytest.approx((3.3 - 1.8) / 330)


def test_an_overloaded_supply_is_found(circuit, monkeypatch):
    monkeypatch.setitem(rules.LOADS_A, "DS1", 0.32)
    assert any("300 mA" in sentence for sentence in rules.check(circuit))


def test_skidl_agrees_and_objects(circuit, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)  # SKiDL leaves a log where it was imported
    skidl_check = pytest.importorskip("hardware.electronics.skidl_check")
    pytest.importorskip("skidl", reason="SKiDL comes with the hardware extra")
    errors, warnings, nets = skidl_check.run(circuit)
    assert (errors, warnings) == (0, 0)
    assert nets == {name: sorted(nodes) for name, nodes in circuit.nets.items()}
    _move(circuit, "U1", GPIO_TO_HEADER[PINS["PIN_LED_R"]], "BUZZER_A")
    assert skidl_check.run(circuit)[0] > 0


# --- parts list --------------------------------------------------------------------------------------------------


def test_parts_list_covers_the_circuit(circuit):
    lines = bom.read()
    for variant in ("perfboard", "pcb"):
        refs = [r for line in lines if line.variant in ("both", variant) for r in line.references]
        assert len(refs) == len(set(refs))
        assert set(circuit.parts) <= set(refs), variant
    by_ref = {r: line for line in lines for r in line.references}
    for ref, part in circuit.parts.items():
        assert by_ref[ref].optional == part.optional, ref
        if ref[0] in "RC" and ref[1].isdigit():
            value = re.match(r"[\d.]+ \w+", part.value)[0].replace("uF", "µF")
            assert value in by_ref[ref].specification, (
                f"{ref} is {value} in the circuit, {by_ref[ref].specification} in bom.csv"
            )
    assert "SSD1309" in by_ref["DS1"].specification
    assert f"0x{PINS['ADDR_AIR']:02X}" in by_ref["M1"].specification
    assert f"0x{PINS['ADDR_CLOCK']:02X}" in by_ref["M2"].specification
    assert "common cathode" in by_ref["D1"].specification


def test_cost_is_about_forty():
    lines = bom.read()
    assert 36 <= bom.cost(lines, "perfboard") <= 46
    assert bom.cost(lines, "perfboard", optional=True) > bom.cost(lines, "perfboard")


@pytest.mark.parametrize(
    "change, word",
    [
        (lambda t: t.replace("estimate", "exact", 1), "estimate"),
        (lambda t: t.replace("reference,", "ref,", 1), "columns"),
        (lambda t: t.replace("R1 R2,", "R1 R2 R3,", 1), "references but quantity"),
        (lambda t: t.replace("drawer,right-angle", "drawer, or shop,right-angle", 1), "line"),
        (
            lambda t: t.replace("hardware shop,maker shops,drops of silicone", ",maker shops,drops of silicone", 1),
            "empty",
        ),
    ],
)
def test_reader_names_the_bad_line(tmp_path: Path, change, word):
    file = tmp_path / "bom.csv"
    text = bom.BOM_FILE.read_text(encoding="utf-8")
    assert change(text) != text
    file.write_text(change(text), encoding="utf-8")
    with pytest.raises(ValueError, match=word):
        bom.read(file)
