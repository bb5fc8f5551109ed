"""Serial ports, and anything else pyserial can open by URL. The only module that knows pyserial.

Every trouble leaves as one of the classes in errors.py. Opens exclusively, because a second reader would steal octets.
"""

from __future__ import annotations

import contextlib
import errno
import os
import select
import time
from dataclasses import dataclass

import serial
from serial.tools import list_ports

from tourier.device.errors import PortBusy, PortDenied, PortMissing, PortProblem, PortVanished

USB_VENDOR, USB_PRODUCT = 0x2E8A, 0x0005  # any MicroPython board of this chip family: a hello must follow
BAUD = 115200  # matters on a UART; USB ignores it
READ_MAX = 4096
_WRITE_MAX = 1024  # one write; small, so that reading is never long put off
_BLOCKED_S = 2.0  # for ports that cannot be polled
_BUSY_S, _BUSY_LOOK_S = 1.0, 0.05  # a port in use is looked at again for so long


@dataclass(frozen=True)
class Candidate:
    """A port that may be a bench timer: its name, its USB serial number, what the system calls it."""

    port: str
    serial_number: str
    description: str


def candidates() -> list[Candidate]:
    """Return the ports whose USB id fits, in the order of their names."""
    found = [
        Candidate(info.device, info.serial_number or "", info.description or "")
        for info in list_ports.comports()
        if (info.vid, info.pid) == (USB_VENDOR, USB_PRODUCT)
    ]
    return sorted(found, key=lambda c: c.port)


def _group_of(url: str) -> str:
    """Return the group that may use a device node, "" when that cannot be told (Windows, URLs)."""
    try:
        import grp

        node = os.stat(url)
        return grp.getgrgid(node.st_gid).gr_name if node.st_mode & 0o060 == 0o060 else ""
    except (ImportError, OSError, KeyError):
        return ""


def _open_error(url: str, problem: Exception) -> Exception:
    number = getattr(problem, "errno", None)
    text = str(problem)
    if number == errno.EACCES and os.name != "nt":
        return PortDenied(url, _group_of(url))
    if number in (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK) or "PermissionError" in text or "lock port" in text:
        return PortBusy(url)  # Windows reports a port in use as a PermissionError
    missing = (errno.ENOENT, errno.ENXIO, errno.ENODEV, errno.ECONNREFUSED)
    if number in missing or "FileNotFoundError" in text or "refused" in text:
        return PortMissing(url)
    return PortProblem(url, text)


def _opened(url: str) -> serial.Serial:
    """Open a port for us alone. A lock outlives its holder by the moment in which a child process is being started."""
    give_up_s = time.monotonic() + _BUSY_S
    while True:
        try:
            # Timeouts 0: waiting is done by select, so that reading and writing never wait for each other.
            return serial.serial_for_url(url, baudrate=BAUD, timeout=0, write_timeout=0, exclusive=True)
        except (serial.SerialException, OSError, ValueError) as problem:
            error = _open_error(url, problem)
            if not isinstance(error, PortBusy) or time.monotonic() >= give_up_s:
                raise error from problem
        time.sleep(_BUSY_LOOK_S)


class Port:
    """An open port. Reads what is there, writes what is taken; neither waits longer than told."""

    def __init__(self, url: str) -> None:
        self.url = url
        self._serial = _opened(url)
        self._fd = self._pollable()
        if self._fd is None:
            self._serial.write_timeout = _BLOCKED_S

    def _pollable(self) -> int | None:
        """Return the descriptor select can wait for, None on Windows and for URL handlers that have none."""
        try:
            fd = self._serial.fileno()
            select.select([fd], [], [], 0)
        except (AttributeError, OSError, ValueError, TypeError):
            return None
        return fd

    def read(self, wait_s: float) -> bytes:
        """Return what is there, at most READ_MAX octets; waits up to wait_s for the first. Raises PortVanished."""
        try:
            if self._fd is not None:
                if not select.select([self._fd], [], [], wait_s)[0]:
                    return b""
                return self._serial.read(READ_MAX)
            self._serial.timeout = wait_s
            first = self._serial.read(1)
            waiting = min(self._serial.in_waiting, READ_MAX) if first else 0
            return first + (self._serial.read(waiting) if waiting else b"")
        except (serial.SerialException, OSError, TypeError) as problem:
            # An unplugged port: SerialException from read, OSError 5 from in_waiting, TypeError from a closed one.
            raise PortVanished(self.url) from problem

    def write(self, octets: bytes) -> int:
        """Hand over octets; return how many were taken, 0 when the port is full. Raises PortVanished."""
        try:
            if self._fd is not None and not select.select([], [self._fd], [], 0)[1]:
                return 0
            return self._serial.write(octets[:_WRITE_MAX]) or 0
        except serial.SerialTimeoutException:
            return min(len(octets), _WRITE_MAX)  # how many is not known: a torn frame, which the link repeats
        except (serial.SerialException, OSError, TypeError) as problem:
            raise PortVanished(self.url) from problem

    def wait_writable(self, wait_s: float) -> None:
        """Wait until the port takes or has octets, at most wait_s."""
        if self._fd is None:
            time.sleep(min(wait_s, 0.01))
            return
        with contextlib.suppress(OSError, ValueError):
            select.select([self._fd], [self._fd], [], wait_s)

    def close(self) -> None:
        """Close; a port that is already gone is closed too."""
        with contextlib.suppress(Exception):
            self._serial.close()
