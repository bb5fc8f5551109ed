"""The board's prompt, through mpremote's own transport: files in and out while the bench timer does not run.

mpremote prints when it fails; that is caught here, because only the command line writes to the terminal.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
from collections.abc import Iterator

from mpremote.transport import TransportError
from mpremote.transport_serial import SerialTransport

from tourier.device.errors import LinkError, plain

_CHUNK = 512  # one write at the prompt; larger ones cost the board memory it may not have in one piece
_TRIES = 5  # a board that was just reset needs 1 to 2 s
_ENTER_S = 3
_FILE_MAX = 2_000_000  # more than a Pico's whole file system


class PromptError(LinkError):
    """The prompt was not reached, or the board refused something there."""


class Prompt:
    """The board's prompt and its file system. Use through `at_prompt`."""

    def __init__(self, transport: SerialTransport) -> None:
        self._transport = transport

    def run(self, code: str) -> str:
        """Run a few lines there; return what they printed."""
        return self._transport.exec(code).decode(errors="replace")

    def sha256(self, path: str) -> str:
        """Checksum of a file on the board in hex, "" when there is none."""
        try:
            return self._transport.fs_hashfile(path, "sha256", _CHUNK).hex()
        except (OSError, TransportError):
            return ""

    def read(self, path: str) -> bytes:
        data = bytes(self._transport.fs_readfile(path, _CHUNK))
        if len(data) > _FILE_MAX:
            raise PromptError(f"{plain(path)} on the board is too large to be one of ours.")
        return data

    def listing(self, folder: str) -> list[tuple[str, bool]]:
        """(name, is a folder) of what is in a folder; empty when there is no such folder."""
        try:
            return [(entry.name, bool(entry.st_mode & 0x4000)) for entry in self._transport.fs_listdir(folder)]
        except OSError:
            return []

    def make_folder(self, path: str) -> None:
        if not self._transport.fs_exists(path):
            self._transport.fs_mkdir(path)

    def remove(self, path: str) -> None:
        if self._transport.fs_exists(path):
            self._transport.fs_rmfile(path)

    def rename(self, old: str, new: str) -> None:
        self.run(f"import os\nos.rename({old!r}, {new!r})")

    def write(self, path: str, data: bytes) -> None:
        """Put a file there under a second name, check it, then give it its name: never half a file under it."""
        part = path + ".part"
        self._transport.fs_writefile(part, data, _CHUNK)
        if self.sha256(part) != hashlib.sha256(data).hexdigest():
            raise PromptError(f"{plain(path)} did not arrive whole; run the command again.")
        self.rename(part, path)

    def reset(self) -> None:
        """Start the board anew; the bench timer starts with it."""
        code = (
            "import machine\n"
            "if hasattr(machine, 'reset'):\n machine.reset()\n"
            "import main\nmain.board.reset()"
        )  # fmt: skip
        with contextlib.suppress(TransportError, OSError):
            self._transport.exec_raw_no_follow(code)


def _enter(transport: SerialTransport) -> None:
    """Interrupt and enter the raw prompt; again when the board was just starting and did not hear it."""
    for attempt in range(_TRIES):
        try:
            transport.enter_raw_repl(soft_reset=False, timeout_overall=_ENTER_S)
            return
        except TransportError:
            if attempt == _TRIES - 1:
                raise


def start_again(port: str) -> None:
    """Start the board anew, with the bench timer: for a board that stands at its prompt."""
    with at_prompt(port):
        pass


@contextlib.contextmanager
def at_prompt(port: str, reset: bool = True) -> Iterator[Prompt]:
    """Interrupt what runs on the board, give its prompt, and start the board anew afterwards, whatever went wrong.

    No soft reset on the way in: the virtual board would end with it, and a real one does not need it.
    """
    transport = None
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            transport = SerialTransport(port, baudrate=115200, timeout=5)
            _enter(transport)
        prompt = Prompt(transport)
        try:
            yield prompt
        finally:  # a day may be running on it: a full disk here must not leave the timer standing still
            if reset:
                prompt.reset()
    except (TransportError, OSError) as problem:
        detail = plain(problem, 200)
        raise PromptError(
            f"The prompt of the board at {plain(port)} could not be used ({detail}). Hold the middle button while "
            "plugging it in, then run the command again."
        ) from problem
    finally:
        if transport is not None:
            with contextlib.suppress(OSError):
                transport.close()
