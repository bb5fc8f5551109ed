"""Putting the bench timer's program onto a board, checking it there, and saving and restoring what the board knows.

Installing is resumable: files already there with the right checksum are left alone, each file is checked before it
gets its name, and main.py is put away first and comes back last, so that half an installation never starts. Journal,
samples, settings and calibration are not touched.
"""

from __future__ import annotations

import json
import re
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tourier.device.errors import LinkError, plain
from tourier.device.files import CompileError, DeviceFile, NoCompiler, build
from tourier.device.prompt import Prompt, at_prompt
from tourier.files import unlike_a_file

Progress = Callable[[str, int, int], None]

MANIFEST = "/lib/tourier.json"
# What a backup holds: calibration, settings, counters, the crash log and every batch. Nothing else is written back.
_KEPT = re.compile(r"^/(cal|set|boots|crash|b/\d{4}/(head|plan|next|s|o|d|j\d{3}))$")
_BACKUP_MAX = 4_000_000
_LIB_OURS = re.compile(r"^[a-z_0-9]+\.(py|mpy)$")


class InstallError(LinkError):
    """Something on the way to an installed board went wrong; str() says what to do."""


@dataclass(frozen=True)
class Installed:
    """What an installation did."""

    written: int
    unchanged: int
    removed: int
    octets: int


def install(port: str, progress: Progress | None = None) -> Installed:
    """Compile, write what differs, verify all of it by checksum, start the board. Raises InstallError or LinkError."""
    try:
        files = build()
    except NoCompiler as problem:
        raise InstallError(str(problem)) from problem
    except CompileError as problem:
        raise InstallError(f"{problem} This is a fault of this release; please report it.") from problem
    with at_prompt(port) as prompt:
        return _write_all(prompt, files, progress)


def _write_all(prompt: Prompt, files: list[DeviceFile], progress: Progress | None) -> Installed:
    present = {file.path: prompt.sha256(file.path) for file in files}
    _enough_room(prompt, files, present)
    for folder in ("/lib", "/lib/shared_schedule"):
        prompt.make_folder(folder)
    stale = [file for file in files if present[file.path] != file.sha256]
    removed = _remove_shadows(prompt, files)
    if stale and present["/main.py"]:
        prompt.remove("/main.py")
        stale = [file for file in stale if file.path != "/main.py"] + [f for f in files if f.path == "/main.py"]
    for number, file in enumerate(stale):
        if progress is not None:
            progress(file.path, number, len(stale))
        prompt.write(file.path, file.data)
    prompt.write(MANIFEST, json.dumps({file.path: file.sha256 for file in files}).encode())
    if progress is not None:
        progress("done", len(stale), len(stale))
    return Installed(len(stale), len(files) - len(stale), removed, sum(len(file.data) for file in stale))


def _enough_room(prompt: Prompt, files: list[DeviceFile], present: dict[str, str]) -> None:
    needed = sum((len(file.data) + 4095) // 4096 * 4096 for file in files if not present[file.path])
    free = int(prompt.run("import os\ns=os.statvfs('/')\nprint(s[0]*s[3] if s[3]<=s[2] else 0)").strip() or 0)
    if needed and free < needed + 65536:
        raise InstallError(
            f"The board has {free // 1024} KB free and the program needs {needed // 1024}; collect its logs, or remove "
            "other programs from it."
        )


def _remove_shadows(prompt: Prompt, files: list[DeviceFile]) -> int:
    """Remove .py files that would win over our .mpy, leftovers of broken writes, and modules of older releases."""
    wanted = {file.path for file in files} | {MANIFEST}
    before: set[str] = set()
    try:
        before = set(json.loads(prompt.read(MANIFEST)))
    except (OSError, ValueError):
        pass
    removed = 0
    for folder in ("", "/lib", "/lib/shared_schedule"):
        for name, is_folder in prompt.listing(folder or "/"):
            path = f"{folder}/{name}"
            shadow = path.removesuffix(".py") + ".mpy" in wanted and name.endswith(".py")
            part = name.endswith(".part") and path.removesuffix(".part") in wanted
            old = path in before and path not in wanted and bool(_LIB_OURS.match(name))
            if not is_folder and (shadow or part or old):
                prompt.remove(path)
                removed += 1
    return removed


def backup(port: str, into: Path, progress: Progress | None = None) -> int:
    """Save journal, samples, plans, settings and calibration of a board into a zip file; return how many files.

    The file appears only when it is whole. Raises InstallError when the board holds nothing to save.
    """
    part = into.with_name(into.name + ".part")
    try:
        part.write_bytes(b"")  # before the timer is interrupted
    except OSError as problem:
        why = problem.strerror or "the system refuses"
        raise InstallError(f"{plain(into)} cannot be written ({why}); name another file.") from problem
    try:
        with at_prompt(port) as prompt:
            paths = [f"/{name}" for name, folder in prompt.listing("/") if not folder and _KEPT.match(f"/{name}")]
            for number, folder in prompt.listing("/b"):
                if folder:
                    paths += [f"/b/{number}/{name}" for name, _sub in prompt.listing(f"/b/{number}")]
            paths = [path for path in paths if _KEPT.match(path)]
            if not paths:
                raise InstallError("The board holds nothing to save yet.")
            with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as archive:
                for number, path in enumerate(paths):
                    if progress is not None:
                        progress(path, number, len(paths))
                    archive.writestr(path.lstrip("/"), prompt.read(path))
        part.replace(into)
    finally:
        part.unlink(missing_ok=True)
    return len(paths)


def restore(port: str, saved: Path, progress: Progress | None = None) -> int:
    """Write a backup back onto a board, replacing what it has under the same names; return how many files."""
    if saved.exists() and (wrong := unlike_a_file(saved)):
        raise InstallError(wrong)
    try:
        with zipfile.ZipFile(saved) as archive:
            entries = [(f"/{info.filename}", info) for info in archive.infolist() if not info.is_dir()]
            strange = [path for path, _info in entries if not _KEPT.match(path)]
            if strange or not entries:
                what = f"it holds {plain(strange[0])}" if strange else "it is empty"
                raise InstallError(f"{plain(saved.name)} is no backup of a bench timer: {what}.")
            if sum(info.file_size for _path, info in entries) > _BACKUP_MAX:
                raise InstallError(f"{plain(saved.name)} holds more than a bench timer can.")
            contents = [(path, archive.read(info)) for path, info in entries]
    except (zipfile.BadZipFile, OSError) as problem:
        raise InstallError(f"{plain(saved)} cannot be read as a backup; name the file that backup wrote.") from problem
    with at_prompt(port) as prompt:
        for folder in sorted({path.rpartition("/")[0] for path, _data in contents} - {""}):
            parent = folder.rpartition("/")[0]
            if parent:
                prompt.make_folder(parent)
            prompt.make_folder(folder)
        for number, (path, data) in enumerate(contents):
            if progress is not None:
                progress(path, number, len(contents))
            prompt.write(path, data)
    return len(contents)
