"""Fixtures of the logbook's tests: a fresh logbook, and no settings of the person who runs them."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture(autouse=True)
def own_home(tmp_path, monkeypatch):
    monkeypatch.setenv("TOURIER_HOME", str(tmp_path / "home"))


@pytest.fixture
def book(tmp_path):
    from tourier.logbook import Logbook

    with Logbook(tmp_path / "logbook.sqlite") as opened:
        yield opened
