"""The one way files are written: whole or not at all, and an error that names the file."""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
from collections.abc import Iterable
from pathlib import Path

from tourier import places


def save(name: str | Path, content: str | bytes, mode: int = 0o666) -> Path:
    """Write a file whole: what stood there before stays until the new text is on the disk. Raises OSError naming it.

    The folder must be there; `keep` makes it. `mode`: rights of a file that is new, less the user's umask; one that
    stood there keeps its own.
    """
    asked = Path(name)
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        file = asked.resolve()  # a link is followed, not replaced
        if file.exists() and not file.is_file():
            asked.write_bytes(data)  # a device, /dev/stdout: nothing to keep
            return asked
        # A name that nobody can foresee, and only if nothing has it: no link laid there beforehand is followed.
        fresh = file.with_name(f".{file.name[:100]}.{secrets.token_hex(8)}.new")
        begun = open(fresh, "xb", opener=lambda path, flags: os.open(path, flags, mode))
        try:
            with begun as stream:
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
            if file.exists():
                shutil.copymode(file, fresh)
            os.replace(fresh, file)
            _sync_folder(file.parent)
        except BaseException:
            fresh.unlink(missing_ok=True)
            raise
    except OSError as error:
        # The write that meets a full disk does not know the name; the one asked for says more than the fresh one.
        error.filename, error.filename2 = str(asked), None
        raise
    return asked


def _sync_folder(folder: Path) -> None:
    """Have the new name of a file on the disk too; where folders cannot be opened (Windows) the system sees to it."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def own_folder(folder: Path) -> Path:
    """Make a folder of the program's own where it is missing, and return it: it tells when somebody is at home, so
    nobody else may look in. Raises OSError."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return folder


def keep(file: Path, content: str | bytes) -> Path:
    """Write one of the program's own files whole, for its user alone, in a folder made when missing. Raises OSError."""
    own_folder(file.parent)
    return save(file, content, 0o600)


def keep_sent(plan_id: int, text: str) -> None:
    """Remember which batch file a plan was made from, so that the log can be collected together with it."""
    keep(places.sent_folder() / f"{plan_id:08x}.toml", text)


def sent_text(plan_id: int) -> str:
    """Return the batch file a plan was made from, "" when it was sent from another computer."""
    try:
        return (places.sent_folder() / f"{plan_id:08x}.toml").read_text(encoding="utf-8")
    except (FileNotFoundError, UnicodeDecodeError):
        return ""


def unlike_a_file(name: str | Path) -> str:
    """Return one sentence when there is nothing to read under a name, or something that has no end; "" for a file."""
    file = Path(name)
    if file.is_file():
        return ""
    if not file.exists():
        return f"There is no file {file}; check the name."
    return f"{file} is a {'folder' if file.is_dir() else 'pipe or a device'}, not a file; name a file."


def same_file(one: str | Path, other: str | Path) -> bool:
    """Whether two names are one file, or would be."""
    return Path(one).resolve() == Path(other).resolve()


def told_apart(inputs: Iterable[str | Path | None], outputs: Iterable[str | Path | None]) -> str:
    """Return one sentence when a file to be written is one that is read, or is named twice; "" when all is well."""
    read = [name for name in inputs if name]
    seen: list[str | Path] = []
    for name in outputs:
        if not name:
            continue
        if any(same_file(name, other) for other in read):
            return f"{name} is the file that is read: name another one to write."
        if any(same_file(name, other) for other in seen) and Path(name).is_file():
            return f"{name} is named twice: give each thing to write a file of its own."
        seen.append(name)
    return ""
