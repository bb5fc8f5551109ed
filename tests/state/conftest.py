"""Let these tests use the plans and the cook that the checks on both interpreters use."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parent.parent / "both"))
