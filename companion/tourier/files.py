"""The one way files are written: whole or not at all, and an error that names the file."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterable
from pathlib import Path

from tourier import places


def save(name: str | Path, content: str | bytes) -> Path:
    """Write a file whole: what stood there before stays until the new text is on the disk. Raises OSError naming it.

    The folder must be there; `keep` makes it.
    """
    asked = Path(name)
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        file = asked.resolve()  # a link is followed, not replaced
        if file.exists() and not file.is_file():
            asked.write_bytes(data)  # a device, /dev/stdout: nothing to keep
            return asked
        fresh = file.with_name(f".{file.name[:100]}.{os.getpid()}.new")
        try:
            fresh.write_bytes(data)
            if file.exists():
                shutil.copymode(file, fresh)
            os.replace(fresh, file)
        except BaseException:
            fresh.unlink(missing_ok=True)
            raise
    except OSError as error:
        # The write that meets a full disk does not know the name; the one asked for says more than the fresh one.
        error.filename, error.filename2 = str(asked), None
        raise
    return asked


def keep(file: Path, content: str | bytes) -> Path:
    """Write one of the program's own files whole, in a folder that is made when missing. Raises OSError."""
    file.parent.mkdir(parents=True, exist_ok=True)
    return save(file, content)


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
