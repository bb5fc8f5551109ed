"""Pictures of a batch report for the README: python companion/pictures/report.py REPORT.html

Needs a headless Chromium on PATH (chromium, chromium-browser or google-chrome). Writes report.png (desk width) and
report-phone.png beside this file; look at them before keeping them.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

_SIZES = {"report.png": (1040, 1180), "report-phone.png": (412, 1100)}


def main(page: str) -> int:
    browser = next((b for b in ("chromium", "chromium-browser", "google-chrome") if shutil.which(b)), None)
    if browser is None:
        print("No Chromium on PATH; install one, then run this again.", file=sys.stderr)
        return 2
    here = Path(__file__).parent
    for name, (width, height) in _SIZES.items():
        with tempfile.TemporaryDirectory() as profile:
            subprocess.run(
                [browser, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--hide-scrollbars",
                 f"--user-data-dir={profile}", f"--window-size={width},{height}", f"--screenshot={here / name}",
                 Path(page).resolve().as_uri()],
                check=True, capture_output=True, timeout=90,
            )  # fmt: skip
        print(here / name)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
