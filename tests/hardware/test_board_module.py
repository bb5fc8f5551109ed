"""The real Pico board module, run under MicroPython on a recording `machine`, against the drawn circuit."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from hardware.electronics.circuit import GPIO_TO_HEADER, build
from hardware.firmware_pins import ROOT, firmware_pins

PINS = firmware_pins()

# Runs under MicroPython. Every pin, converter, bus and pulse output the board module makes is written down.
SCRIPT = r"""
import sys, json
record = []
class Pin:
    IN, OUT, OPEN_DRAIN, PULL_UP, PULL_DOWN = "in", "out", "od", "up", "down"
    low = set()
    def __init__(self, number, mode=None, pull=None, value=None):
        self.number = number
        record.append(["pin", number, mode, pull])
    def value(self, level=None):
        if level is None:
            return 0 if self.number in Pin.low else 1
        record.append(["level", self.number, level])
class ADC:
    def __init__(self, pin):
        record.append(["adc", pin.number if isinstance(pin, Pin) else -1])
        self.number = pin.number
    def read_u16(self):
        return self.number
class I2C:
    def __init__(self, id, sda, scl, freq, timeout=0):
        record.append(["i2c", id, sda.number, scl.number, freq])
    def scan(self):
        return []
class PWM:
    made = []
    def __init__(self, pin, freq=0, duty_u16=0, invert=False):
        self.number, self.invert, self.hz, self.duty = pin.number, bool(invert), freq, duty_u16
        PWM.made.append(self)
    def freq(self, hz):
        self.hz = hz
    def duty_u16(self, duty):
        self.duty = duty
class Machine:
    pass
machine = Machine()
machine.Pin, machine.ADC, machine.I2C, machine.PWM = Pin, ADC, I2C, PWM
machine.WDT = machine.Timer = machine.RTC = None
sys.modules["machine"] = machine
from board_pico import Board
board = Board()
out = {"record": record}
def outputs():
    return {str(p.number): [p.duty, p.invert] for p in PWM.made}
for name, rgb in (("red", (255, 0, 0)), ("green", (0, 255, 0)), ("blue", (0, 0, 255))):
    board.light(*rgb)
    out[name] = outputs()
board.light(0, 0, 0)
out["silent"] = outputs()
board.tone(800)
out["tone"] = outputs()
board.tone(0)
out["masks"] = {}
for number in range(29):
    Pin.low = {number}
    if board.buttons():
        out["masks"][str(number)] = board.buttons()
from array import array
into = array("H", [0])
out["adc"] = []
for channel in (0, 1):
    board.read_codes(channel, into)
    out["adc"].append(into[0])
print(json.dumps(out))
"""


@pytest.fixture(scope="module")
def told() -> dict:
    beside = Path(sys.executable).with_name("micropython")
    command = str(beside) if beside.exists() else shutil.which("micropython")
    if command is None:
        pytest.skip("the MicroPython interpreter is not installed")
    done = subprocess.run(
        [command, "-c", SCRIPT], cwd=ROOT / "firmware", capture_output=True, text=True,
        env={"MICROPYPATH": f".:{ROOT}:.frozen", "PATH": ""}, stdin=subprocess.DEVNULL,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return json.loads(done.stdout.splitlines()[-1])


@pytest.fixture
def on_micropython(record_property):
    record_property("interpreter", "micropython")


def _net(gpio: int) -> str | None:
    return build().net_of("U1", GPIO_TO_HEADER[gpio])


def test_it_takes_exactly_the_wired_pins(told, on_micropython):
    taken = {entry[1] for entry in told["record"] if entry[0] == "pin"}
    wired = {PINS[k] for k in PINS if k.startswith("PIN_")} - {PINS["PIN_SMPS_MODE"]}
    assert taken - {PINS["PIN_SMPS_MODE"]} == wired


def test_sensors_are_read_where_they_are_wired(told, on_micropython):
    assert [_net(gpio) for gpio in told["adc"]] == ["BENCH_ADC", "PROBE_ADC"]
    assert -1 not in [entry[1] for entry in told["record"] if entry[0] == "adc"], "opened by channel, not by pin"


def test_bus_and_reset(told, on_micropython):
    (bus,) = [entry for entry in told["record"] if entry[0] == "i2c"]
    assert (_net(bus[2]), _net(bus[3])) == ("SDA", "SCL")
    # published: RP2040 data sheet, GPIO function table (from memory): I2C0 data on GP0, 4, 8 ..., clock one above
    assert (bus[2] % 4, bus[3] % 4, bus[1]) == (0, 1, (bus[2] // 2) % 2)
    assert bus[4] <= 400_000
    levels = [entry for entry in told["record"] if entry[0] == "level" and _net(entry[1]) == "OLED_RESET"]
    assert [level for *_, level in levels][-2:] == [0, 1], "reset must go low and come back"


def test_each_button_is_its_own_and_pulled_up(told, on_micropython):
    assert {_net(int(gpio)): mask for gpio, mask in told["masks"].items()} == {
        "BUTTON_LEFT": 1,
        "BUTTON_MIDDLE": 2,
        "BUTTON_RIGHT": 4,
    }
    pulls = {entry[1]: entry[3] for entry in told["record"] if entry[0] == "pin" and entry[2] == "in"}
    assert all(pulls[int(gpio)] == "up" for gpio in told["masks"])


@pytest.mark.parametrize("colour, net", [("red", "LED_R"), ("green", "LED_G"), ("blue", "LED_B")])
def test_each_colour_lights_its_own_lead(colour, net, told, on_micropython):
    # common cathode to GND: full duty on a pin that is not inverted lights that lead
    lit = [_net(int(gpio)) for gpio, (duty, inverted) in told[colour].items() if duty > 60000 and not inverted]
    assert lit == [net]


def test_sounder_is_driven_from_both_ends_and_rests_without_voltage(told, on_micropython):
    ends = {_net(int(gpio)): state for gpio, state in told["tone"].items() if "BUZZER" in (_net(int(gpio)) or "")}
    assert set(ends) == {"BUZZER_A", "BUZZER_B"}
    (duty_a, inverted_a), (duty_b, inverted_b) = ends["BUZZER_A"], ends["BUZZER_B"]
    assert inverted_a != inverted_b and abs(duty_a - 32768) < 700 and abs(duty_b - 32768) < 700
    quiet = {_net(int(gpio)): state for gpio, state in told["silent"].items()}
    level = {net: (duty > 32768) != inverted for net, (duty, inverted) in quiet.items() if "BUZZER" in (net or "")}
    assert level["BUZZER_A"] == level["BUZZER_B"], "a resting disc must see no voltage"
