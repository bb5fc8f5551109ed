"""A staged day on the real firmware under MicroPython: sent, played and collected over its serial link."""

from __future__ import annotations

import tempfile
from pathlib import Path

from tourier.device.client import Timer
from tourier.device.virtual.board import VirtualTimer


def firmware_day(plan, raw: bytes, kitchen, cook, until_s: int) -> tuple[bytes, bytes, bool]:
    """Return (journal, samples, whether the day was finished)."""
    with tempfile.TemporaryDirectory() as folder:
        with VirtualTimer(Path(folder) / "flash", kitchen=kitchen, cook=cook, start_at_s=plan.made_at_s) as timer:
            timer.run_for(20)
            with Timer.open(timer.port) as link:
                link.send_plan(raw)
            while timer.glance.screen != "done" and timer.now_s < until_s:
                timer.run_for(600)
            finished = timer.glance.screen == "done"
            with Timer.open(timer.port) as link:
                journal, samples = link.collect(1), link.collect(2)
    return journal, samples, finished
