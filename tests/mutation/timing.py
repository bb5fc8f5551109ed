"""A pytest plugin: how long each test took and whether it passed, as JSON in the file named by MUTATION_TIMES."""

from __future__ import annotations

import json
import os

_took: dict[str, tuple[float, bool]] = {}


def pytest_runtest_logreport(report) -> None:
    """Add a phase of a test."""
    took, passed = _took.get(report.nodeid, (0.0, True))
    _took[report.nodeid] = (took + report.duration, passed and report.passed)


def pytest_sessionfinish() -> None:
    """Write what was seen."""
    with open(os.environ["MUTATION_TIMES"], "w", encoding="utf-8") as file:
        json.dump(_took, file)
