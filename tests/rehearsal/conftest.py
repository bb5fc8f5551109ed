"""Put the support module on the path and play the demo once for all who look at it."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from limits import cpu_used_s

sys.path.insert(0, str(Path(__file__).parent))

from rehearsal_support import play  # noqa: E402


@pytest.fixture(scope="session")
def rehearsed(tmp_path_factory):
    """The demo with the warm third fold: (what the rehearsal returned, CPU seconds with the interpreter's)."""
    begun = cpu_used_s()
    done = play(tmp_path_factory.mktemp("rehearsal") / "kept", "warm-third-fold")
    return done, cpu_used_s() - begun
