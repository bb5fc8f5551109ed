"""The kept figures, all *regression*: a change that moves one is seen, and says whether it meant to."""

from __future__ import annotations

import json

import kept_figures as figures
import pytest


@pytest.mark.parametrize("name", list(figures.CASES))
def test_no_figure_has_moved(name, tmp_path, monkeypatch):
    monkeypatch.setenv("TOURIER_HOME", str(tmp_path / "home"))
    kept = json.loads(figures.kept_file(name).read_text(encoding="utf-8"))
    moved = list(figures.differences(kept, figures.CASES[name](name, tmp_path)))
    assert not moved, "\n".join([*moved[:20], "If this is meant: python tests/regression/kept_figures.py --write"])


def test_a_figure_that_moved_is_seen():
    kept = {"a": [1, 2.0, None, {"b": True}]}
    assert list(figures.differences(kept, {"a": [1, 2.0 + 1e-9, 7, {"b": True, "new": 1}]})) == []
    for changed in ([2, 2.0, None, {"b": True}], [1, 2.001, None, {"b": True}], [1, 2.0, None, {}], [1, 2.0]):
        assert list(figures.differences(kept, {"a": changed}))
