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
import threading
import time
from collections.abc import Callable

from tourier.device.virtual.bridge import Bridge, raw_pty
from tourier.device.virtual.hardware import (
    BUTTONS,
    CAUSE_POWER,
    CAUSE_WATCHDOG,
    LEFT,
    MIDDLE,
    PATIENCE_S,
    RIGHT,
    Hardware,
)
from tourier.device.virtual.interpreter import VirtualTimerError, find_micropython

__all__ = ["BUTTONS", "CAUSE_POWER", "LEFT", "MIDDLE", "RIGHT", "VirtualTimer", "VirtualTimerError", "find_micropython"]


class VirtualTimer(Hardware):
    """A bench timer on this machine; use it as a context manager.

    `flash`: image file, made when it is not there. `kitchen` gives the thermometers something to feel, `cook` presses
    buttons. `start_at_s`: project epoch. `speed`: None for lock-step, else how many times faster than life time runs.
    `parts`: optional parts fitted. `record`: list that receives every flash operation as FlashOp.
    """

    def __init__(self, *args, **options) -> None:
        super().__init__(*args, **options)
        self._lock = threading.RLock()
        self._stop = threading.Event()
        self._trouble: VirtualTimerError | None = None
        self._claimed = threading.Event()
        self._thread: threading.Thread | None = None

    # --- life ---------------------------------------------------------------------------------------------------------

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
        return self.bridge.port

    def raise_trouble(self) -> None:
        """Raise what ended the thread that lets time flow; nothing when all is well."""
        if self._trouble is not None:
            raise self._trouble

    # --- power --------------------------------------------------------------------------------------------------------

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
        self.bridge.pull()

    def plug_cable(self) -> None:
        """Put the cable back; the port returns under the same name."""
        self.bridge.plug()

    # --- buttons ------------------------------------------------------------------------------------------------------

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

    # --- time ---------------------------------------------------------------------------------------------------------

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

    def _listen(self, wait_s: float) -> bool | None:
        """Take what the firmware says within wait_s: True; None when it said nothing, False when it ended."""
        assert self._side is not None
        self._side.settimeout(wait_s)
        try:
            data = self._side.recv(65536)
        except TimeoutError:
            return None
        finally:
            if self._side is not None:
                self._side.settimeout(PATIENCE_S)
        if not data:
            self._ended()
            return False
        self._take(data)
        return True

    def _breath(self) -> None:
        if not self._powered:
            time.sleep(0.02)
            return
        if self._idle_ms is None:
            self._listen(0.02)
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
            heard = self._listen(min(left, 0.02))
            if heard is None:
                continue
            if not heard or not self._powered or self._idle_ms is None:
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
