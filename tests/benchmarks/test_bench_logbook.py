"""The logbook's budgets, as a test: `pytest -m bench tests/benchmarks/test_bench_logbook.py -s`."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from bench_logbook import measure  # noqa: E402


@pytest.mark.bench
def test_the_logbook_keeps_its_budgets():
    rows = measure()
    for what, value, budget, unit in rows:
        print(f"\n{what:<32} {value:8.1f} {unit:<3} (budget {budget} {unit})", end="")
    assert [what for what, value, budget, _ in rows if value > budget] == []
