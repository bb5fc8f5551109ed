"""Entry of the desk application: `python -m tourier.desk [BATCH.toml]`."""

from __future__ import annotations

import atexit
import os
import sys
from pathlib import Path

from tourier.desk.app import run_desk

if __name__ == "__main__":
    code = run_desk(Path(sys.argv[1]) if len(sys.argv) > 1 else None, end=os._exit)
    # Python's own way out flushes the terminal, and aborts where a thread still writes to one that takes nothing.
    atexit._run_exitfuncs()
    os._exit(code)
