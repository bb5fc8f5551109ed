"""The firmware's support module serves these tests too; all of them run device code under MicroPython."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "firmware"))


@pytest.fixture(autouse=True)
def on_micropython(record_property):
    record_property("interpreter", "micropython")
