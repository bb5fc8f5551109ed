"""Pyright over the whole companion and the shared engine, as pyproject.toml says."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def test_the_companion_and_the_shared_engine_have_no_wrong_types():
    command = [sys.executable, "-m", "pyright", "--pythonpath", sys.executable, "--outputjson"]
    report = json.loads(subprocess.run(command, cwd=ROOT, capture_output=True, text=True).stdout)
    assert report["summary"]["filesAnalyzed"] > 200
    wrong = [f"{one['file']}:{one['range']['start']['line'] + 1} {one['message']}"
             for one in report["generalDiagnostics"] if one["severity"] == "error"]  # fmt: skip
    assert wrong == [], "\n".join(wrong)
