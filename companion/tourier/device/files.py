"""Where the device's files are, in a checkout and in an installed wheel."""

from __future__ import annotations

from pathlib import Path

import shared_schedule
import tourier

# Files that only the virtual board needs; a real one never gets them.
VIRTUAL_ONLY = frozenset({"board_virtual.py", "showcase.py", "virtual_chips.py", "virtual_main.py"})
# The host's end of the link and the writer of plans live beside the device's so that both are tested together; a board
# has no use for them.
HOST_ONLY = frozenset({"link_host.py", "link_jobs.py", "plan_writer.py"})


def firmware_dir() -> Path:
    """The folder of the firmware's files: packaged in a wheel, `firmware/` at the top of a checkout."""
    package = Path(tourier.__file__).resolve().parent
    for folder in (package / "_firmware", package.parents[1] / "firmware"):
        if (folder / "board.py").is_file():
            return folder
    raise FileNotFoundError("the bench timer's files are missing from this installation; reinstall tourier")


def shared_dir() -> Path:
    """The folder that holds the package `shared_schedule`."""
    return Path(shared_schedule.__file__).resolve().parent.parent


def device_files() -> dict[str, Path]:
    """What goes onto a board: path below `/lib` (or `/main.py`) -> source file, in a fixed order."""
    files: dict[str, Path] = {}
    for path in sorted((shared_dir() / "shared_schedule").glob("*.py")):
        if path.name not in HOST_ONLY:
            files[f"lib/shared_schedule/{path.name}"] = path
    for path in sorted(firmware_dir().glob("*.py")):
        if path.name not in VIRTUAL_ONLY and path.name != "main.py":
            files[f"lib/{path.name}"] = path
    files["main.py"] = firmware_dir() / "main.py"
    return files
