"""The virtual bench timer's hardware: an interpreter with or without power, what is fitted to it, and what it says.

The interpreter runs behind a pty. Flash is an image file, and time, thermometers, buttons and power reach the firmware
over a socket (see firmware/board_virtual.py). How time passes is the business of `board.VirtualTimer`.
"""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import struct
import subprocess
import termios
import tty
from collections import deque
from pathlib import Path

from shared_schedule import plan as plan_records
from shared_schedule.channels import Channel
from tourier.device.virtual import sidechannel as S
from tourier.device.virtual.bridge import Bridge
from tourier.device.virtual.flash import FlashOp, make_blank
from tourier.device.virtual.interpreter import VirtualTimerError, launch, scratch_folder
from tourier.device.virtual.ntc import code16
from tourier.device.virtual.sidechannel import Glance, parse_glance

LEFT, MIDDLE, RIGHT = 1, 2, 4
BUTTONS = {"left": LEFT, "middle": MIDDLE, "right": RIGHT}

CAUSE_POWER, CAUSE_WATCHDOG, CAUSE_SOFT = 1, 3, 5
PATIENCE_S = 8.0  # longest the interpreter may compute between two sleeps before it counts as hung


class Hardware:
    """What is there and what happens to it; holds no clock of its own but the instant it was taken to.

    The options are those of `board.VirtualTimer`.
    """

    def __init__(
        self,
        flash: Path | str,
        kitchen=None,
        cook=None,
        start_at_s: int = 0,
        seed: int = 0,
        heap: str = "440k",
        speed: float | None = None,
        capture=None,
        parts: tuple[str, ...] = ("display", "air", "clock"),
        clock_known: bool = True,
        record: list[FlashOp | str] | None = None,
        cut_at: int = -1,
        flash_fail_at: int = -1,
        i2c_fail_at: int = S.NEVER,
        adc_fail_at: int = S.NEVER,
        fail_for_ever: bool = False,
        run_from_flash: bool = False,
        held_at_boot: int = 0,
        bridge_options: dict | None = None,
        restart_by_itself: bool = True,
        more_channels: tuple[Channel, ...] = (),
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
        self.more_channels = more_channels

        self.board_id = struct.pack("<Q", (0x7072000000000000 | (seed & 0xFFFFFFFF)))
        self.glance: Glance = Glance()
        self.tones: deque[tuple[float, int]] = deque(maxlen=4096)
        self.lights: deque[tuple[float, tuple[int, int, int]]] = deque(maxlen=4096)
        self.marks: list[tuple[float, str]] = []
        self.glances = 0
        self.boots = 0
        self.watchdog_bites = 0
        self.bench_counts: int | None = None  # a raw code put in place of the kitchen's reading
        self.probe_counts: int | None = None
        self.converter_still = False  # True: the converter repeats itself to the last bit

        self._now_ms = 0
        self._ticks0 = (seed * 7919) % S.TICKS
        self._clock_offset_s = 0  # what the clock chip shows minus the truth
        self._chip_known = clock_known
        self._mask = 0
        self._edges: list[tuple[int, int, int, int]] = []  # (at ms, order, button, down)
        self._edge_n = 0
        self._screen = bytes(1024)
        self._inbox = S.Inbox()
        self._heard = bytearray()
        self._idle_ms: int | None = None
        self._idle_n = 0
        self._fed_ms = 0
        self._wdt_ms = 0
        self._process: subprocess.Popen | None = None
        self._side: socket.socket | None = None
        self._bridge: Bridge | None = None
        self._master = -1
        self._tty = -1  # the interpreter's end of its port
        self._scratch = scratch_folder()
        self._errors = self._scratch / "stderr.txt"
        self._powered = False

    @property
    def bridge(self) -> Bridge:
        """The cable: a proxy that can be pulled, slowed and made to garble. There is one while the timer is open."""
        assert self._bridge is not None
        return self._bridge

    @property
    def now_s(self) -> int:
        """True time, project epoch."""
        return self.start_at_s + self._now_ms // 1000

    @property
    def ticks_ms(self) -> int:
        """Milliseconds of true time since this object was made."""
        return self._now_ms

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

    # --- power --------------------------------------------------------------------------------------------------------

    def _power_on(self, cause: int) -> None:
        termios.tcflush(self._tty, termios.TCIOFLUSH)  # what was in the old interpreter's buffers went with it
        tty.setraw(self._tty)
        channels = ";".join(":".join(map(str, channel)) for channel in self.more_channels)
        self._process, ours = launch(self._tty, self.flash, self.heap, self._scratch, self._errors, channels)
        ours.settimeout(PATIENCE_S)
        self._side = ours
        self._inbox.clear()
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

    # --- senses -------------------------------------------------------------------------------------------------------

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
        ticks = (self._ticks0 + self._now_ms) % S.TICKS
        self._idle_ms = None
        turn = S.TURN.pack(ticks, bench, probe, self._mask, self._flags(), air, rh, self._chip_s(), self._idle_n)
        more = [21.0 if kitchen is None else kitchen.felt_c(channel) for channel in self.more_channels]
        turn += struct.pack(f"<{len(more)}H", *map(code16, more))
        assert self._side is not None
        with contextlib.suppress(BrokenPipeError, ConnectionResetError):  # noticed when its end is read
            self._side.sendall(turn)

    # --- the side channel ---------------------------------------------------------------------------------------------

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
            assert self._side is not None
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
        for kind, payload in self._inbox.take(data):
            self._message(kind, payload)
            if not self._powered:
                return

    def _message(self, kind: int, payload: bytes) -> None:
        if kind == S.IDLE:
            self._idle_ms = int.from_bytes(payload[:4], "little")
            self._idle_n = payload[5]
            if payload[4]:
                self._fed_ms = self._now_ms
        elif kind == S.FRAME:
            self._screen = payload
        elif kind == S.GLANCE:
            self.glance = parse_glance(payload)
            self.glances += 1
        elif kind == S.TONE:
            self.tones.append((self._now_ms / 1000, int.from_bytes(payload, "little")))
        elif kind == S.LIGHT:
            self.lights.append((self._now_ms / 1000, (payload[0], payload[1], payload[2])))
        elif kind == S.FLASH:
            kind_, block, offset = struct.unpack_from("<BHH", payload)
            if self.record is not None:
                self.record.append(FlashOp(kind_, block, offset, payload[5:]))
        elif kind == S.AGAIN:
            os.write(self._master, payload)
        elif kind == S.MARK:
            self.marks.append((self._now_ms / 1000, payload.decode(errors="replace")))
            if self.record is not None:
                self.record.append(payload.decode(errors="replace"))
        elif kind == S.CLOCK:
            self._clock_offset_s = int.from_bytes(payload, "little") - self.now_s
            self._chip_known = "clock" in self.parts
        elif kind == S.WDT:
            self._wdt_ms = int.from_bytes(payload, "little")
            self._fed_ms = self._now_ms
        elif kind == S.PLAN:
            if self.cook is not None and self.cook.plan is None:
                self.cook.take_plan(plan_records.decode(payload))
        elif kind == S.CUT:
            self.cut_at = -1
            self._power_off()
        elif kind == S.RESET:
            self._power_off()
            self._power_on(CAUSE_SOFT)
        elif kind == S.HELLO and self._side is not None:
            self._side.sendall(
                S.SETTINGS.pack(
                    (self._ticks0 + self._now_ms) % S.TICKS, self._chip_s(), self._flags(), self._cause, self.cut_at,
                    self.flash_fail_at, self.i2c_fail_at, self.adc_fail_at, self.held_at_boot, 0, self.board_id,
                )
            )  # fmt: skip
