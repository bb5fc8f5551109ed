"""Budgets of the logbook on this machine: size and speed of a two-day batch, listing, review, report.

    python tests/benchmarks/bench_logbook.py

Each budget is in the issue of the logbook; figures are the best of several runs, since a shared machine only adds.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "logbook"))

import logbook_support as support  # noqa: E402
import numpy as np  # noqa: E402
from tourier.logbook import Logbook, review  # noqa: E402
from tourier.logbook.record import decode, pack  # noqa: E402
from tourier.logbook.record.model import Samples  # noqa: E402
from tourier.logbook.reports.html import report_html  # noqa: E402

PAIRS = 34_560  # two days, one pair in 5 s


def two_days(seed: int = 1) -> Samples:
    """Return two days as noisy as a probe is: 0.03 °C, slow drift, chills, a gap of ten minutes."""
    rng = np.random.default_rng(seed)
    t = np.arange(PAIRS) * 5
    bench = 22 + np.sin(t / 13000) + rng.normal(0, 0.03, PAIRS)
    probe = 10 + 6 * np.abs(np.sin(t / 4000)) + rng.normal(0, 0.03, PAIRS)
    probe[9000:9120] = np.nan
    return Samples(support.BEGIN + t, {0: np.round(bench, 2), 1: np.round(probe, 2)})


def best_ms(work, runs: int = 7) -> float:
    """Return the least time of several runs in ms."""
    least = 1e9
    for _ in range(runs):
        begun = time.perf_counter()
        work()
        least = min(least, time.perf_counter() - begun)
    return least * 1000


def measure(batches: int = 1000) -> list[tuple[str, float, float, str]]:
    """Return (what, measured, budget, unit) rows."""
    samples = two_days()
    packed = pack.pack(samples)
    back = pack.unpack(packed)
    assert np.array_equal(back.probe_c, samples.probe_c, equal_nan=True)
    rows = [
        ("two days packed", len(packed) / 1024, 200, "KB"),
        ("two days read back", best_ms(lambda: pack.unpack(packed)), 50, "ms"),
    ]
    day = support.Day(support.small_plan())
    rows.append(("a timer's blocks unpacked once", best_ms(lambda: decode.read_samples(day.samples), 3), 1000, "ms"))
    with tempfile.TemporaryDirectory() as folder, Logbook(Path(folder) / "book.sqlite") as book:
        first = day.collect(book)
        db = book._db
        db.execute("BEGIN")
        for n in range(batches - 1):
            db.execute("INSERT INTO batch SELECT NULL, key || ?, board_id, name, begun_at_s + ?, ready_at_s, "
                       "offset_min, finished, bytes_held FROM batch WHERE id = ?", (n, n * 90_000, first))  # fmt: skip
            db.execute("INSERT INTO log SELECT last_insert_rowid(), plan, journal, ?, 0, 0, 0, '' FROM log WHERE "
                       "batch_id = ?", (packed, first))  # fmt: skip
        db.execute("COMMIT")
        assert len(book.batches()) == batches
        rows.append((f"{batches} batches listed", best_ms(book.batches), 50, "ms"))
        rows.append(("one batch loaded", best_ms(lambda: book.load(first + 5)), 100, "ms"))
        batch = book.load(first)
        rows.append(("review", best_ms(lambda: review(batch)), 1000, "ms"))
        found = review(batch)
        rows.append(("HTML report", best_ms(lambda: report_html(found), 3), 2000, "ms"))
        rows.append(("HTML report, size", len(report_html(found).encode()) / 1024, 1024, "KB"))
    return rows


def main() -> int:
    rows = measure()
    for what, value, budget, unit in rows:
        print(f"{what:<32} {value:8.1f} {unit:<3} (budget {budget} {unit})  {'ok' if value <= budget else 'OVER'}")
    return int(any(value > budget for _, value, budget, _ in rows))


if __name__ == "__main__":
    sys.exit(main())
