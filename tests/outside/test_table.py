"""Every outside check holds, says where it comes from, and TABLE.md shows it."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

_spec = importlib.util.spec_from_file_location("outside_table", Path(__file__).parent / "table.py")
table = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(table)

ROWS = table.rows()


@pytest.mark.parametrize("row", ROWS, ids=[f"{row['area']}: {row['what']}" for row in ROWS])
def test_row_within_tolerance(row):
    assert abs(row["ours_value"] - row["theirs_value"]) <= row["tolerance"]
    assert row["label"] in table.LABELS
    assert len(row["source"]) > 4


def test_table_is_current():
    assert table.TABLE.read_text(encoding="utf-8") == table.markdown(), "run: python tests/outside/table.py --write"


def test_a_wrong_row_would_be_seen():
    # The comparison itself: a value off by more than its tolerance, and a nan, must fail it.
    row = dict(ROWS[0])
    for wrong in (row["theirs_value"] + 2 * row["tolerance"] + 1e-9, float("nan")):
        row["ours_value"] = wrong
        with pytest.raises(AssertionError):
            test_row_within_tolerance(row)
