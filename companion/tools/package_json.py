"""`python companion/tools/package_json.py > firmware/package.json`: the list for `mpremote mip install`."""

from __future__ import annotations

import json
import os
from importlib.metadata import version

from tourier.device.files import device_files, firmware_dir


def package_json() -> str:
    """Return firmware/package.json: destinations below /lib, sources relative to that file."""
    here = firmware_dir()
    urls = [
        [dest.removeprefix("lib/"), os.path.relpath(source, here).replace(os.sep, "/")]
        for dest, source in device_files().items()
    ]
    return json.dumps({"urls": urls, "deps": [], "version": version("tourier")}, indent=1)


if __name__ == "__main__":
    print(package_json())
