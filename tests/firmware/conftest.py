"""Makes the support module importable under pytest's importlib mode; counts these tests as MicroPython's."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture(autouse=True)
def on_micropython(record_property):
    record_property("interpreter", "micropython")
