"""A pytest plugin: processor time of each test and whether it passed, as JSON in the file named by MUTATION_TIMES."""

from __future__ import annotations

import json
import os

import pytest

_took: dict[str, tuple[float, bool]] = {}


def _used_s() -> float:
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_protocol(item):
    """Add what a test used, its fixtures and the processes it started included."""
    before = _used_s()
    yield
    passed = _took.get(item.nodeid, (0.0, True))[1]
    _took[item.nodeid] = (_used_s() - before, passed)


def pytest_runtest_logreport(report) -> None:
    """Note a phase that failed."""
    took, passed = _took.get(report.nodeid, (0.0, True))
    _took[report.nodeid] = (took, passed and report.passed)


def pytest_sessionfinish() -> None:
    """Write what was seen."""
    with open(os.environ["MUTATION_TIMES"], "w", encoding="utf-8") as file:
        json.dump(_took, file)
