"""The files that touch hardware, read by pyright against the maker-independent stubs of MicroPython for RP2 boards."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest
from tourier.device.files import firmware_dir, shared_dir

HARDWARE = ("board_pico.py", "board.py", "main.py", "ssd1309.py", "sht4x.py", "ds3231.py", "pins.py", "supervisor.py",
            "sounds.py", "buttons.py", "clock.py", "canvas.py", "sampler.py")  # fmt: skip


@pytest.mark.timeout(180)
def test_hardware_files_fit_the_stubs(tmp_path):
    site = Path(sysconfig.get_paths()["purelib"])
    if not (site / "stdlib").is_dir() or not (site / "machine.pyi").exists():
        pytest.skip("micropython-rp2-stubs is not installed")
    config = {
        "include": [os.path.relpath(firmware_dir() / name, tmp_path) for name in HARDWARE],
        "extraPaths": [str(firmware_dir()), str(shared_dir()), str(site)],
        "typeshedPath": str(site),
        "typeCheckingMode": "basic",
        "reportMissingModuleSource": False,
        "reportOptionalMemberAccess": False,  # parts that begin() fills in
    }
    path = tmp_path / "pyrightconfig.json"
    path.write_text(json.dumps(config))
    done = subprocess.run(
        [sys.executable, "-m", "pyright", "-p", str(path), "--outputjson"], capture_output=True, text=True, timeout=170
    )
    report = json.loads(done.stdout)
    assert report["summary"]["filesAnalyzed"] >= len(HARDWARE)
    wrong = [f"{Path(d['file']).name}:{d['range']['start']['line'] + 1} {d['message']}"
             for d in report["generalDiagnostics"] if d["severity"] == "error"]  # fmt: skip
    # blit takes a tuple too, and StringIO is a stream: the stubs know neither.
    wrong = [text for text in wrong if "blit" not in text and "StringIO" not in text]
    assert wrong == [], "\n".join(wrong)
