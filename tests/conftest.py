"""Count and list which tests ran on which interpreter; the figures end every test run.

A test that runs device code on MicroPython says so with `record_property("interpreter", "micropython")`; every other
test counts as CPython.
"""

from __future__ import annotations

import platform
import sys
from collections import Counter, defaultdict
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "support"))  # what tests of several folders share
sys.path.insert(0, str(Path(__file__).parents[1] / "companion" / "tools"))  # what only makers run
pytest_plugins = ["limits"]

_ran: dict[str, Counter[str]] = defaultdict(Counter)
_failed: Counter[str] = Counter()


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Note the interpreter of each test that really ran (skipped ones did not)."""
    counts = report.when == "call" or (report.when == "setup" and report.failed)
    if not counts or report.skipped:
        return
    interpreter = dict(report.user_properties).get("interpreter", "cpython")
    place = report.nodeid.split("::")[0]
    if "[" in report.nodeid and place.endswith("test_both.py"):
        place = place.replace("test_both.py", report.nodeid.split("[", 1)[1].split("::")[0])
    _ran[str(interpreter)][place] += 1
    if report.failed:
        _failed[str(interpreter)] += 1


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print tests per interpreter, and with -v the files behind each count."""
    if not _ran:
        return
    terminalreporter.section("tests per interpreter")
    for interpreter in sorted(_ran):
        places = _ran[interpreter]
        total = sum(places.values())
        version = f" {platform.python_version()}" if interpreter == "cpython" else ""
        terminalreporter.write_line(
            f"{interpreter}{version}: {total} tests in {len(places)} files, {_failed[interpreter]} failed"
        )
        if terminalreporter.config.option.verbose > 0 or interpreter != "cpython":
            for place in sorted(places):
                terminalreporter.write_line(f"    {places[place]:4d}  {place}")
