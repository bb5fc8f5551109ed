"""The helpers of the logbook's tests make the logs that are read here."""

import sys
from pathlib import Path

for folder in (Path(__file__).parent, Path(__file__).parent.parent / "logbook"):
    sys.path.insert(0, str(folder))
