"""A cable for the virtual bench timer: the interpreter's pty on one side, a pty that programs open on the other.

The cable can have a line rate, be bad (Faults), be recorded, be pulled and be plugged in again. The public side
keeps one name, a symbolic link, however often the cable is pulled. POSIX only. One thread of its own moves octets;
pull(), plug() and close() may be called from any thread.
"""

from __future__ import annotations

import contextlib
import os
import select
import shutil
import threading
import time
import tty
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from tourier.device.virtual.interpreter import scratch_folder

_READ_MAX = 4096
_FAST_MAX = 65536  # octets in the cable without a line rate; beyond that the sender waits, as with USB
_SLOW_MAX = 512  # with a line rate: about a UART driver's buffer
_PASS_S = 0.002  # longest sleep of the mover while octets wait for their time


def raw_pty() -> tuple[int, int, str]:
    """Return (master, slave, path) of a new pty that passes every octet."""
    master, slave = os.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)
    return master, slave, os.ttyname(slave)


class Faults(Protocol):
    """What a bad line does to the octets that pass; tests bring one."""

    _held: dict[str, bytes]

    def apply(self, direction: str, octets: bytes) -> tuple[list[bytes], float]: ...
    def flush(self, direction: str) -> list[bytes]: ...
    def forget(self) -> None: ...


class _Way:
    """One direction: a queue, a line that is busy until some instant, and counters."""

    def __init__(self, name: str, bits_per_s: int | None) -> None:
        self.name = name
        self.octet_s = 10 / bits_per_s if bits_per_s else 0.0  # 8N1: ten bits an octet
        self.queue: deque[bytes] = deque()
        self.waiting = 0
        self.line_at = 0.0
        self.idle = True
        self.octets = 0
        self.dropped = 0

    @property
    def room(self) -> int:
        return (_SLOW_MAX if self.octet_s else _FAST_MAX) - self.waiting

    def put(self, chunk: bytes, now: float, stall_s: float = 0.0) -> None:
        if self.idle or stall_s:
            self.line_at = max(self.line_at, now) + stall_s
            self.idle = False
        self.queue.append(chunk)
        self.waiting += len(chunk)

    def due(self, now: float) -> bytes:
        """Return the octets whose time on the line is over, at most one read's worth."""
        if not self.queue:
            return b""
        if not self.octet_s:
            if now < self.line_at:
                return b""
            data, count = self.queue[0], len(self.queue[0])
        else:
            count = min(len(self.queue[0]), int((now - self.line_at) / self.octet_s))
            if count <= 0:
                return b""
            data = self.queue[0][:count]
        return data

    def done(self, count: int) -> None:
        self.octets += count
        self.waiting -= count
        self.line_at += count * self.octet_s
        rest = self.queue.popleft()[count:]
        if rest:
            self.queue.appendleft(rest)
        self.idle = not self.queue

    def clear(self) -> None:
        self.dropped += self.waiting
        self.queue.clear()
        self.waiting = 0
        self.idle = True


class Bridge:
    """Starts moving octets at once. `port` is the path for pyserial; `device_fd` stays the caller's to close.

    `bits_per_s`: line rate, 10 bits an octet; None: as fast as it goes. `faults`: applied to both directions.
    `capture`: called with (direction, ms, octets), ">" to the device, after faults.
    """

    def __init__(
        self,
        device_fd: int,
        bits_per_s: int | None = None,
        faults: Faults | None = None,
        capture: Callable[[str, int, bytes], None] | None = None,
    ) -> None:
        self._device = device_fd
        os.set_blocking(device_fd, False)
        self._faults = faults
        self._capture = capture
        self._down = _Way(">", bits_per_s)
        self._up = _Way("<", bits_per_s)
        self._lock = threading.RLock()
        self._master = self._slave = -1
        self._device_gone = False
        self._closed = False
        self._wake_r, self._wake_w = os.pipe()
        self._folder = scratch_folder()
        self.port = str(self._folder / "timer")
        self._started = time.monotonic()
        self.plug()
        self._thread = threading.Thread(target=self._run, name="tourier-bridge", daemon=True)
        self._thread.start()

    def __enter__(self) -> Bridge:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    @property
    def plugged(self) -> bool:
        """True while the public port exists."""
        return self._master >= 0

    @property
    def octets(self) -> tuple[int, int]:
        """Octets passed on so far: (to the device, from the device)."""
        return self._down.octets, self._up.octets

    def attach(self, device_fd: int) -> None:
        """Put another interpreter (after a restart) on the device's side."""
        with self._lock:
            os.set_blocking(device_fd, False)
            self._device = device_fd
            self._device_gone = False
            self._down.clear()
        self._wake()

    def pull(self) -> None:
        """Pull the cable: the port goes away under whoever has it open; octets on their way are lost."""
        with self._lock:
            if self._master < 0:
                return
            Path(self.port).unlink(missing_ok=True)
            os.close(self._master)
            os.close(self._slave)
            self._master = self._slave = -1
            self._down.clear()
            self._up.clear()
            if self._faults:
                self._faults.forget()
        self._wake()

    def plug(self) -> None:
        """Plug it in again, under the same name."""
        with self._lock:
            if self._master >= 0:
                return
            # The slave is held open here: else the master would report an error whenever no program has the port.
            self._master, self._slave, path = raw_pty()
            Path(self.port).symlink_to(path)
        self._wake()

    def close(self) -> None:
        """Stop; the port goes away."""
        if self._closed:
            return
        self._closed = True
        self._wake()
        self._thread.join(timeout=5)
        self.pull()
        os.close(self._wake_r)
        os.close(self._wake_w)
        shutil.rmtree(self._folder, ignore_errors=True)

    def _wake(self) -> None:
        with contextlib.suppress(OSError):
            os.write(self._wake_w, b"w")

    def _run(self) -> None:
        while not self._closed:
            with self._lock:
                readable, writable = self._wanted()
                # Octets that are not yet due need a timer, not a descriptor.
                timed = any(way.queue and way.octet_s for way in (self._down, self._up)) or bool(
                    self._faults and self._faults._held
                )
            try:
                ready_r, ready_w, _ = select.select([*readable, self._wake_r], writable, [], _PASS_S if timed else 0.2)
            except (OSError, ValueError):
                continue  # pulled between the two steps
            if self._wake_r in ready_r:
                os.read(self._wake_r, 64)
            with self._lock:
                now = time.monotonic()
                if self._device in ready_r:
                    self._take(self._device, self._up, now)
                if self._master in ready_r:
                    self._take(self._master, self._down, now)
                if self._faults and not ready_r:
                    for way in (self._down, self._up):
                        for chunk in self._faults.flush(way.name):
                            way.put(chunk, now)
                self._give(self._device, self._down, now)
                self._give(self._master, self._up, now)

    def _wanted(self) -> tuple[list[int], list[int]]:
        readable, writable = [], []
        now = time.monotonic()
        if not self._device_gone and (self._up.room > 0 or self._master < 0):
            readable.append(self._device)
        if self._master >= 0:
            if self._down.room > 0:
                readable.append(self._master)
            if self._up.due(now):
                writable.append(self._master)
        if not self._device_gone and self._down.due(now):
            writable.append(self._device)
        return readable, writable

    def _take(self, fd: int, way: _Way, now: float) -> None:
        size = _READ_MAX if fd == self._device and self._master < 0 else max(1, min(_READ_MAX, way.room))
        try:
            octets = os.read(fd, size)
        except BlockingIOError:
            return
        except OSError:
            octets = b""
        if not octets:
            if fd == self._device:
                self._device_gone = True  # the interpreter ended
            return
        if fd == self._device and self._master < 0:
            way.dropped += len(octets)  # nobody is plugged in: the board's octets go nowhere
            return
        chunks, stall_s = self._faults.apply(way.name, octets) if self._faults else ([octets], 0.0)
        for chunk in chunks:
            if chunk:
                way.put(chunk, now, stall_s)
                stall_s = 0.0

    def _give(self, fd: int, way: _Way, now: float) -> None:
        if fd < 0 or (fd == self._device and self._device_gone):
            return
        while data := way.due(now):
            try:
                count = os.write(fd, data)
            except BlockingIOError:
                return
            except OSError:
                way.clear()
                return
            if self._capture:
                self._capture(way.name, int((now - self._started) * 1000), data[:count])
            way.done(count)
            if count < len(data):
                return
