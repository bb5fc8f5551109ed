"""A home of its own for every test, a fixed clock, and the desk application in it."""

from __future__ import annotations

import asyncio
import sys
import time
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from limits import PATIENCE_S
from textual.pilot import Pilot

# Textual gives a screen thirty seconds on the wall.
Pilot._wait_for_screen.__defaults__ = (PATIENCE_S,)

sys.path.insert(0, str(Path(__file__).parent))  # lets the tests of this folder import their helpers

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
    """Return `await until(pilot, condition, what)`: waits until the condition holds; `what`: if it never does."""

    async def wait(pilot, condition, what: str = ""):
        end = time.monotonic() + PATIENCE_S
        while True:
            await pilot.pause()
            found = condition()
            if found:
                return found
            assert time.monotonic() < end, what or "waited in vain"
            await asyncio.sleep(0.05)

    return wait


@pytest.fixture
def picture(request):
    """Return `picture(desk, size, before)`: the desk, once `before(pilot)` is done, looks as it is stored."""
    from cells import compared

    return lambda desk, size, before: compared(request.node.name, desk, size, before)


_LOGS = Path(__file__).resolve().parents[1] / "vectors" / "logs"


class PlayedLog:
    """A log of tests/vectors/logs: a day that was played on the virtual bench timer (`tourier rehearse`) and kept."""

    def __init__(self, name: str) -> None:
        from shared_schedule import plan as wire

        folder = _LOGS / name
        self.batch_text = (folder / "batch.toml").read_text(encoding="utf-8")
        self.plan_bytes = (folder / "plan.bin").read_bytes()
        self.journal = (folder / "journal.bin").read_bytes()
        self.samples = (folder / "samples.bin").read_bytes()
        self.plan = wire.decode(self.plan_bytes)

    def into(self, logbook: Path, outcome=None, board="0011223344556677") -> int:
        """Take it into a logbook, as collecting does; return its number."""
        from tourier.logbook.record.store import Logbook

        logbook.parent.mkdir(parents=True, exist_ok=True)
        with Logbook(logbook) as book:
            number = book.collect(board, self.plan_bytes, self.journal, self.samples, self.batch_text)
            if outcome is not None:
                book.set_outcome(number, outcome)
        return number

    def report(self, at_s: int):
        """Return the steps' states as the timer had them at an instant."""
        from tourier.device.client import DayReport

        from shared_schedule import day, history, journal

        state = day.DayState(self.plan)
        for record in journal.read(self.journal):
            if record.at_s <= at_s:
                history.apply(self.plan, state, record)
        focus = day.focus(self.plan, state, at_s)
        from shared_schedule import plan as wire

        return DayReport(wire.plan_id(self.plan_bytes), at_s, 1, focus if focus >= 0 else None, 0, 0, state)

    def looks(self, until_s: int, span_s: int = 3600, **telemetry):
        """Return what the timer said each half minute up to an instant, the last time with `telemetry` on top."""
        from tourier.device.sight import sight_of

        from shared_schedule import samples, words

        report = self.report(until_s)
        step = self.plan.steps[report.focus]
        for one, state in zip(self.plan.steps, report.past.steps, strict=True):
            if state == 1 and one.attended_s:  # hands are on it
                step = one
        kept = [one for one in samples.read_blocks(self.samples) if until_s - span_s <= one[0] <= until_s]
        values = {
            "mode": 1, "word": words.KIND + step.kind, "step_id": step.step_id, "fold_n": step.fold_n,
            "fold_of": 3 if step.fold_n else 0, "low_cdeg": step.low_cdeg, "high_cdeg": step.high_cdeg,
            "left_s": -1, "slack_s": 1500, "alarm": 0, "fault": 0, **telemetry,
        }  # fmt: skip
        return [
            sight_of({**values, "at_s": at_s, "bench_cdeg": bench, "probe_cdeg": probe}, self.plan)
            for at_s, bench, probe in kept[::6]
        ]


@pytest.fixture
def played():
    """Return `played(name)`: one of the kept logs."""
    return PlayedLog
