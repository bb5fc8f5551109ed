"""Kill -9 in the middle of an import or a collection: the logbook opens, is sound, holds whole batches, and goes on.

A short form by default (12 and 6 kills, 12 s); all 200 with TOURIER_SWEEP=full.
"""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import logbook_support as support
import pytest
from tourier.logbook import Logbook, Outcome

BATCHES = 12


@pytest.mark.timeout(900)
def test_kill_9_at_any_instant_of_an_import(tmp_path):
    with Logbook(tmp_path / "other.sqlite") as other:
        for n in range(BATCHES):
            number = support.Day(support.small_plan(made_at_s=support.BEGIN + n * 10**5), seed=n).collect(other)
            other.set_outcome(number, Outcome(("leak",), 2))
    kills = 200 if os.environ.get("TOURIER_SWEEP") == "full" else 12
    rng = random.Random(4)
    script = Path(__file__).with_name("killed.py")
    # How long a whole import takes here, so that the kills fall into it and not before or after.
    with Logbook(tmp_path / "whole.sqlite") as whole:
        begun = time.perf_counter()
        whole.import_from(tmp_path / "other.sqlite")
        whole_s = time.perf_counter() - begun
    inside = empty = full = 0
    for n in range(kills):
        target = tmp_path / f"book{n}.sqlite"
        with Logbook(target) as book:
            kept = support.Day(support.small_plan(made_at_s=support.BEGIN - 10**6)).collect(book)
        process = subprocess.Popen([sys.executable, str(script), str(target), str(tmp_path / "other.sqlite")],
                                   stdout=subprocess.PIPE)  # fmt: skip
        assert process.stdout.readline() == b"begun\n"
        time.sleep(rng.uniform(0.0, 0.8 * whole_s))
        process.send_signal(signal.SIGKILL)
        said = process.stdout.read()
        process.wait()
        inside += b"done" not in said
        with Logbook(target) as book:
            assert book.check() == []
            held = len(book.batches())
            assert held in (1, 1 + BATCHES), f"kill {n}: half an import is there ({held - 1} of {BATCHES})"
            empty, full = empty + (held == 1), full + (held > 1)
            book.import_from(tmp_path / "other.sqlite")
            assert len(book.batches()) == 1 + BATCHES and book.check() == []
            assert book.load(kept).samples.at_s[0] > 0
        for file in tmp_path.glob(f"book{n}.sqlite*"):
            file.unlink()
    print(f"\n{kills} kills, {inside} before the import was over; {empty} left nothing, {full} left all")
    # A test whose kills all came too late would prove nothing.
    assert inside >= max(2, kills // 6) and empty > 0


@pytest.mark.timeout(900)
def test_kill_9_at_any_instant_of_a_collection(tmp_path):
    """Each log collected is there whole or not at all, and collecting it again is possible."""
    days = [support.Day(support.small_plan(made_at_s=support.BEGIN + n * 10**5), seed=n) for n in range(BATCHES)]
    with Logbook(tmp_path / "whole.sqlite") as whole:
        begun = time.perf_counter()
        for day in days:
            day.collect(whole)
        whole_s = time.perf_counter() - begun
        wanted = {b.begun_at_s: len(whole.load(b.id).samples) for b in whole.batches()}
    rng = random.Random(5)
    script = Path(__file__).with_name("killed.py")
    inside = 0
    for n in range(200 if os.environ.get("TOURIER_SWEEP") == "full" else 6):
        target = tmp_path / f"book{n}.sqlite"
        process = subprocess.Popen([sys.executable, str(script), str(target), "collect"], stdout=subprocess.PIPE)
        assert process.stdout.readline() == b"begun\n"
        time.sleep(rng.uniform(0.0, 0.9 * whole_s))
        process.send_signal(signal.SIGKILL)
        inside += b"done" not in process.stdout.read()
        process.wait()
        with Logbook(target) as book:
            assert book.check() == []
            for batch in book.batches():
                assert len(book.load(batch.id).samples) == wanted[batch.begun_at_s]
            for day in days:
                day.collect(book)
            assert len(book.batches()) == BATCHES and book.check() == []
    assert inside >= 2, "every kill came too late"
