"""A home of its own for every test, a fixed clock, and the desk application in it."""

from __future__ import annotations

import asyncio
import time
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

# The demo's own week, so that nothing depends on the day a test runs.
NOW = datetime(2027, 3, 12, 17, 0, tzinfo=ZoneInfo("Europe/Paris"))


@pytest.fixture
def home(tmp_path, monkeypatch):
    """Everything the program keeps goes into a temporary folder; no board of this machine is looked for."""
    monkeypatch.setenv("TOURIER_HOME", str(tmp_path))
    monkeypatch.setenv("TEXTUAL_ANIMATIONS", "none")
    monkeypatch.setattr("tourier.device.ports.candidates", lambda: [])
    return tmp_path


@pytest.fixture
def make_desk(home):
    """Return a function that makes the application; `welcomed` False shows the welcome."""

    def make(batch_file=None, port=None, welcomed=True, theme="flour"):
        from tourier.desk.app import Desk

        config = home / "config" / "desk.toml"
        config.parent.mkdir(parents=True, exist_ok=True)
        if not config.exists():
            config.write_text(f'theme = "{theme}"\nwelcomed = {str(welcomed).lower()}\n', encoding="utf-8")
        return Desk(batch_file, port, now=lambda: NOW)

    return make


@pytest.fixture
def until():
    """Return `await until(pilot, condition)`: waits until the condition holds, fails with its name after a while."""

    async def wait(pilot, condition, seconds: float = 40.0, what: str = ""):
        end = time.monotonic() + seconds
        while True:
            await pilot.pause()
            found = condition()
            if found:
                return found
            assert time.monotonic() < end, what or f"waited {seconds} s in vain"
            await asyncio.sleep(0.05)

    return wait
