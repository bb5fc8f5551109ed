"""firmware/package.json for `mpremote mip install`: written from the list of device files.

`python -m tourier.device.mip_package > firmware/package.json`. Sources are named relative to that file, so that
`mpremote mip install ./firmware/package.json` works from a checkout; main.py goes to the root with `--target /`.
"""

from __future__ import annotations

import json
import os
import sys
from importlib.metadata import version

from tourier.device.files import device_files, firmware_dir


def package() -> dict:
    """The package description: destinations below /lib, sources relative to package.json."""
    here = firmware_dir()
    urls = [
        [dest.removeprefix("lib/"), os.path.relpath(source, here).replace(os.sep, "/")]
        for dest, source in device_files().items()
    ]
    return {"urls": urls, "deps": [], "version": version("tourier")}


if __name__ == "__main__":
    sys.stdout.write(json.dumps(package(), indent=1) + "\n")
