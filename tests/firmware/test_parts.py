"""Single modules of the firmware under MicroPython: buttons, alarms, sounds, drivers, clock, settings, seals, store."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest
from firmware_support import on_device
from tourier.device.files import firmware_dir, shared_dir
from tourier.device.virtual.board import find_micropython


@pytest.mark.parametrize(("name", "heap"), [("parts_device.py", "512k"), ("store_device.py", "3m")])
def test_every_check_of_the_parts_passes(name, heap):
    script = Path(__file__).with_name(name)
    done = subprocess.run(
        [find_micropython(), "-X", f"heapsize={heap}", str(script)], capture_output=True, text=True,
        env={"MICROPYPATH": f"{firmware_dir()}:{shared_dir()}"},
    )  # fmt: skip
    assert done.returncode == 0, (done.stdout + done.stderr)[-1500:]
    wanted = len(re.findall(r"^def check_", script.read_text(), re.M))
    assert f"ran {wanted}" in done.stdout


def test_the_drivers_check_octet_agrees_with_crccheck():
    """CRC-8 of SHT4x is CRC-8/NRSC-5; `crccheck` is somebody else's implementation."""
    from crccheck.crc import Crc8Nrsc5

    samples = [bytes((a, b)) for a in range(0, 256, 17) for b in range(0, 256, 13)]
    code = "import sht4x\nfor a in range(0,256,17):\n for b in range(0,256,13):\n"
    code += "  print(sht4x.crc8(bytes((a,b)),0,2))\n"
    done = on_device(code)
    assert [int(line) for line in done.stdout.split()] == [Crc8Nrsc5.calc(pair) for pair in samples]
