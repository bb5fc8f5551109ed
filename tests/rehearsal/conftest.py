"""Put the support module on the path and play the demo once for all who look at it."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from rehearsal_support import play  # noqa: E402


@pytest.fixture(scope="session")
def rehearsed(tmp_path_factory):
    """The demo with the warm third fold: (what the rehearsal returned, seconds it took)."""
    begun = time.monotonic()
    done = play(tmp_path_factory.mktemp("rehearsal") / "kept", "warm-third-fold")
    return done, time.monotonic() - begun
