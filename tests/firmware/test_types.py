"""Every file of the firmware, read by pyright against the stubs of MicroPython for RP2 boards."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest
from tourier.device.files import device_files, firmware_dir, shared_dir

FILES = sorted({source for path, source in device_files().items() if "/shared_schedule/" not in path})


def test_the_firmware_fits_the_stubs(tmp_path):
    site = Path(sysconfig.get_paths()["purelib"])
    if not (site / "stdlib").is_dir() or not (site / "machine.pyi").exists():
        pytest.skip("micropython-rp2-stubs is not installed")
    config = {
        "include": [os.path.relpath(source, tmp_path) for source in FILES],
        "extraPaths": [str(firmware_dir()), str(shared_dir()), str(site)],
        "typeshedPath": str(site),
        "typeCheckingMode": "basic",
        "reportMissingModuleSource": False,
        "reportOptionalMemberAccess": False,  # parts that begin() fills in
    }
    path = tmp_path / "pyrightconfig.json"
    path.write_text(json.dumps(config))
    done = subprocess.run(
        [sys.executable, "-m", "pyright", "-p", str(path), "--outputjson"], capture_output=True, text=True
    )
    report = json.loads(done.stdout)
    assert report["summary"]["filesAnalyzed"] >= len(FILES) > 25
    wrong = [f"{Path(d['file']).name}:{d['range']['start']['line'] + 1} {d['message']}"
             for d in report["generalDiagnostics"] if d["severity"] == "error"]  # fmt: skip
    # blit takes a tuple too, StringIO is a stream, BytesIO can seek and tell: the stubs know none of it.
    known = ("blit", "StringIO", '"seek" for class "BytesIO"', '"tell" for class "BytesIO"')
    wrong = [text for text in wrong if not any(word in text for word in known)]
    assert wrong == [], "\n".join(wrong)
