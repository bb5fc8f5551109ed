"""Kill -9 in the middle of an import or a collection: the logbook opens, is sound, holds whole batches, and goes on.

The kill comes at a tick of the database's own work, so that it falls inside however busy the machine is. A short form
by default (12 and 6 kills); all 200 with TOURIER_SWEEP=full.
"""

import os
import random
import signal
import subprocess
import sys
from pathlib import Path

import logbook_support as support
from tourier.logbook import Logbook, Outcome

BATCHES = 12
SCRIPT = Path(__file__).with_name("killed.py")


def killed(target: Path, what: object, last_tick: int = sys.maxsize) -> int | None:
    """Run until the kill; return None, or the ticks of a run that came to its end first."""
    done = subprocess.run([sys.executable, str(SCRIPT), str(target), str(what), str(last_tick)], stdout=subprocess.PIPE)
    said = done.stdout.split()
    assert said[0] == b"begun"
    assert done.returncode in (0, -signal.SIGKILL) and (b"done" in said) == (done.returncode == 0)
    return int(said[2]) if b"done" in said else None


def test_kill_9_at_any_instant_of_an_import(tmp_path):
    with Logbook(tmp_path / "other.sqlite") as other:
        for n in range(BATCHES):
            number = support.Day(support.small_plan(made_at_s=support.BEGIN + n * 10**5), seed=n).collect(other)
            other.set_outcome(number, Outcome(("leak",), 2))
    kills = 200 if os.environ.get("TOURIER_SWEEP") == "full" else 12
    rng = random.Random(4)
    ticks = killed(tmp_path / "whole.sqlite", tmp_path / "other.sqlite")
    inside = empty = full = 0
    for n in range(kills):
        target = tmp_path / f"book{n}.sqlite"
        with Logbook(target) as book:
            kept = support.Day(support.small_plan(made_at_s=support.BEGIN - 10**6)).collect(book)
        inside += killed(target, tmp_path / "other.sqlite", rng.randrange(ticks)) is None
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
    assert inside >= kills - 1 and empty > 0  # a test whose kills came too late would prove nothing


def test_kill_9_at_any_instant_of_a_collection(tmp_path):
    """Each log collected is there whole or not at all, and collecting it again is possible."""
    days = [support.Day(support.small_plan(made_at_s=support.BEGIN + n * 10**5), seed=n) for n in range(BATCHES)]
    ticks = killed(tmp_path / "whole.sqlite", "collect")
    with Logbook(tmp_path / "whole.sqlite") as whole:
        wanted = {b.begun_at_s: len(whole.load(b.id).samples) for b in whole.batches()}
    rng = random.Random(5)
    inside = 0
    kills = 200 if os.environ.get("TOURIER_SWEEP") == "full" else 6
    for n in range(kills):
        target = tmp_path / f"book{n}.sqlite"
        inside += killed(target, "collect", rng.randrange(ticks)) is None
        with Logbook(target) as book:
            assert book.check() == []
            for batch in book.batches():
                assert len(book.load(batch.id).samples) == wanted[batch.begun_at_s]
            for day in days:
                day.collect(book)
            assert len(book.batches()) == BATCHES and book.check() == []
    assert inside >= kills - 1, "kills came too late"
