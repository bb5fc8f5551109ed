"""The board when there is no board: the unix interpreter, with flash, senses, time and power given by a host program.

A side channel (an inherited socket, number in TOURIER_SIDE) carries what wires carry on a real one. Time on this board
is what the host grants; the clock of the machine underneath is never looked at. In every `idle` the host hears for how
long the firmware wants to sleep, and answers with the instant reached and what the senses read there.

To the host:    type u8, length u16, payload. Types below.
From the host:  one settings record at the start, then one fixed record for each idle.
"""

import os
import select
import struct
import sys

import vfs
import virtual_chips

_HELLO = 1
_IDLE = 2  # for_ms u32, watchdog fed u8, number u8
_FRAME = 3  # 1024 octets of the display's memory
_GLANCE = 4  # what the screen says, as text fields
_TONE = 5  # Hz u16
_LIGHT = 6  # r, g, b
_CUT = 7  # power went at this flash operation; the host kills the interpreter
_FLASH = 8  # operation for the record: kind u8, block u16, offset u16, data
_CLOCK = 9  # clock chip set: s u32
_RESET = 10  # the firmware asks for a hard reset
_MARK = 11  # free text for a test's record
_WDT = 12  # watchdog started: ms u32
_PLAN = 13  # canonical bytes of the plan now held
_AGAIN = 14  # octets that the prompt is to read first

_SETTINGS = "<IIBBiiHHBB8s"
_SETTINGS_OCTETS = struct.calcsize(_SETTINGS)
_TURN = "<IHHBBhHIB"  # the last field repeats the number of the idle it answers; codes of more channels follow

BLOCK_OCTETS = 4096
BLOCKS = 352  # file system of a Pico: 1408 KiB


class FlashImage:
    """Block device over an image file, with the Pico's geometry. Counts programs and erases; can lose power in one."""

    def __init__(self, path, send, wait_for_end, cut_at, record, fail_at, fail_for_ever):
        self._file = open(path, "r+b")
        self._send = send
        self._wait_for_end = wait_for_end
        self._cut_at = cut_at  # -1 = never
        self._record = record
        self._fail_at = fail_at  # operation that reports an I/O error instead; -1 = never
        self._fail_for_ever = fail_for_ever  # and all after it
        self._blank = b"\xff" * BLOCK_OCTETS
        self.ops = 0
        self.erases = 0
        self.programmed = 0
        self.fails = 0

    def readblocks(self, block, buf, offset=0):
        self._file.seek(block * BLOCK_OCTETS + offset)
        self._file.readinto(buf)

    def writeblocks(self, block, buf, offset=0):
        if self._count(2, block, offset, buf):
            return -5
        self._file.seek(block * BLOCK_OCTETS + offset)
        self._file.write(buf)
        self.programmed += len(buf)

    def ioctl(self, op, arg):
        if op == 4:
            return BLOCKS
        if op == 5:
            return BLOCK_OCTETS
        if op == 6:
            if self._count(1, arg, 0, None):
                return -5
            self._file.seek(arg * BLOCK_OCTETS)
            self._file.write(self._blank)
            self.erases += 1
        return 0

    def _count(self, kind, block, offset, buf):
        self.ops += 1
        if self._record:
            self._send(_FLASH, struct.pack("<BHH", kind, block, offset) + (bytes(buf) if buf is not None else b""))
        n = self.ops - 1
        if self._fail_at >= 0 and (n == self._fail_at or (self._fail_for_ever and n > self._fail_at)):
            self.fails += 1
            self._send(_MARK, b"failed flash %d" % n)
            return True
        if self.ops - 1 == self._cut_at:
            if buf is not None:  # a torn page: the first half arrived
                self._file.seek(block * BLOCK_OCTETS + offset)
                self._file.write(memoryview(buf)[: len(buf) // 2])
            self._send(_CUT, struct.pack("<I", self.ops))
            self._wait_for_end()
        return False


class Board:
    """See board_pico.Board for the contract of each method."""

    NAME = "virtual bench timer"
    ADC_READS = 64
    READ_BLOCK = 1
    BEAT_MS = 5000  # as board_pico, but no more often than it draws anyway: days pass in minutes here

    def __init__(self):
        self._side = open(int(os.getenv("TOURIER_SIDE")), "r+b")
        self._send(_HELLO, b"")
        raw = bytearray(_SETTINGS_OCTETS)
        self._read(raw)
        (
            self._ticks, self._rtc_s, self._flags, self._cause, cut_at, fail_at, i2c_fail_at, self._adc_fail_at,
            self._mask, _spare, self._board_id,
        ) = struct.unpack(_SETTINGS, raw)  # fmt: skip
        self._flash = FlashImage(
            os.getenv("TOURIER_IMAGE"), self._send, self._wait_for_end, cut_at, self._flags & 8, fail_at,
            self._flags & 32,
        )  # fmt: skip
        self.i2c = virtual_chips.Bus(self, self._flags, i2c_fail_at, self._flags & 32)
        self._more = [row.split(":") for row in (os.getenv("TOURIER_CHANNELS") or "").split(";") if row]
        self.channels = ()  # known once the file system is there that holds `shared_schedule`
        self._form = _TURN + "H" * len(self._more)
        self._turn = bytearray(struct.calcsize(self._form))
        self._poll = select.poll()
        self._poll.register(self._side, select.POLLIN)
        self._poll.register(sys.stdin, select.POLLIN)
        self._link_poll = select.poll()
        self._link_poll.register(sys.stdin, select.POLLIN)
        self._stdin = sys.stdin.buffer
        self._stdout = sys.stdout.buffer
        self._in = bytearray(512)
        self._one = bytearray(1)
        self._waiting = False
        self._waited_ms = 0
        self._idle_n = 0
        self._fed = 0
        self._codes = {}  # by number of the channel
        self._dither = 0
        self._adc_reads = 0
        self.adc_fails = 0
        self.air_cdeg = 2200
        self.rh_cpct = 5000
        self._glance = b""
        self._tone_hz = 0
        self._rgb = -1

    # --- side channel ---------------------------------------------------------------------------------------------

    def _send(self, kind, payload):
        self._side.write(struct.pack("<BH", kind, len(payload)))
        self._side.write(payload)  # not joined: a plan or a page would need a second piece of memory of its size

    def _read(self, into):
        if self._side.readinto(into) != len(into):
            raise SystemExit  # the host is gone: this board has no power

    # --- time -----------------------------------------------------------------------------------------------------

    def ticks_ms(self):
        return self._ticks

    def idle(self, for_ms):
        if not self._waiting or for_ms < self._waited_ms:
            self._idle_n = (self._idle_n + 1) & 255
            self._side.write(struct.pack("<BHIBB", _IDLE, 6, for_ms, self._fed, self._idle_n))
            self._fed = 0
            self._waiting = True
            self._waited_ms = for_ms
        link = False
        for item in self._poll.poll(-1):
            if item[0] is self._side:
                self._read(self._turn)
                turn = struct.unpack(self._form, self._turn)
                self._ticks = turn[0]
                self._mask, self._flags, self.air_cdeg, self.rh_cpct, self._rtc_s, number = turn[3:9]
                self._codes[0], self._codes[1] = turn[1:3]
                for i in range(len(self._more)):
                    self._codes[int(self._more[i][0])] = turn[9 + i]
                if number == self._idle_n:  # else an answer that crossed with a shorter wish
                    self._waiting = False
            else:
                link = True
        return link

    def own_clock(self):
        """None: no reset of this board leaves its time."""

    def keep_time(self, _runs):
        pass

    def clock_chip_s(self):
        return self._rtc_s

    def clock_chip_set(self, at_s):
        self._rtc_s = at_s
        self._send(_CLOCK, struct.pack("<I", at_s))

    # --- senses and outputs ---------------------------------------------------------------------------------------

    def buttons(self):
        return self._mask

    def read_codes(self, channel, into):
        """Fill an array('H') with 16-bit readings, as ADC.read_u16 gives them; OSError when the converter fails."""
        self._adc_reads += 1
        if self._adc_fail_at != 0xFFFF and self._adc_reads > self._adc_fail_at:
            if self._flags & 32 or self._adc_reads == self._adc_fail_at + 1:
                self.adc_fails += 1
                self.mark("failed adc %d" % (self._adc_reads - 1))
                raise OSError(5)
        code = self._codes.get(channel, 0)
        # Readings 2 steps of a 12-bit code apart at most, turning with every call, so that none repeats exactly.
        if self._flags & 128:  # a converter that has died with a number in it
            for i in range(len(into)):
                into[i] = code
            return
        turn = self._dither = (self._dither + 5) & 15
        for i in range(len(into)):
            value = code + ((i * 7 + turn) & 15) * 2 - 15
            into[i] = 0 if value < 0 else 65535 if value > 65535 else value

    def tone(self, hz):
        if hz != self._tone_hz:
            self._tone_hz = hz
            self._send(_TONE, struct.pack("<H", hz))

    def light(self, red, green, blue):
        rgb = (red << 16) | (green << 8) | blue
        if rgb != self._rgb:
            self._rgb = rgb
            self._send(_LIGHT, bytes((red, green, blue)))

    def oled_reset(self):
        pass

    def show_done(self, memory):
        """Called by the emulated display when its memory changed."""
        self._send(_FRAME, memory)

    def tell(self, g):
        """Repeat to the scripted cook, as octets, what the screen says: he has no eyes for pixels."""
        glance = g.octets()
        if glance != self._glance:
            self._glance = glance
            self._send(_GLANCE, glance)

    def plan_held(self, data):
        self._send(_PLAN, data)

    def mark(self, text):
        self._send(_MARK, text.encode())

    def scan(self):
        try:
            return self.i2c.scan()
        except OSError:
            return []

    # --- link -----------------------------------------------------------------------------------------------------

    def link_waiting(self):
        for item in self._link_poll.ipoll(0):
            if item[1] & select.POLLIN:
                return True
            raise SystemExit  # the line hung up for good
        return False

    def link_read(self, limit):
        """Return up to `limit` octets that have come, Ctrl-C included."""
        into = self._in
        one = self._one
        limit = min(limit, len(into))
        count = 0
        while count < limit and self.link_waiting():
            if not self._stdin.readinto(one):
                raise SystemExit
            into[count] = one[0]
            count += 1
        return bytes(memoryview(into)[:count])

    def again(self, octets):
        """Have the host put these octets on the line once more."""
        self._send(_AGAIN, octets)

    def every(self, _period_ms, _call):
        """No time flows at this board's prompt."""

    def link_write(self, data):
        """Write as much as the line takes; return how many octets that was."""
        return self._stdout.write(data) or 0

    # --- flash, power ---------------------------------------------------------------------------------------------

    def mount(self):
        """Make the flash image the root of the file system; return True when it had to be formatted."""
        formatted = False
        geometry = {"progsize": 256, "readsize": 32, "lookahead": 32}
        fs = None
        head = bytearray(256)
        self._flash.readblocks(0, head)
        blank = head == b"\xff" * 256  # a new board has lost nothing
        for _ in range(4):  # as MicroPython's own boot does, but more than once: a first failure may pass
            try:
                fs = vfs.VfsLfs2(self._flash, mtime=False, **geometry)
                break
            except OSError:
                try:
                    vfs.VfsLfs2.mkfs(self._flash, **geometry)
                except OSError:
                    pass
                formatted = not blank
        source = os.getenv("TOURIER_SOURCE")
        shared = os.getenv("TOURIER_SHARED")
        vfs.umount("/")  # nothing of the machine underneath is in reach but the program itself, and that read-only
        vfs.mount(fs, "/")
        vfs.mount(vfs.VfsPosix(source), "/source", readonly=True)
        vfs.mount(vfs.VfsPosix(shared), "/shared", readonly=True)
        os.chdir("/")
        # Either what was installed on the flash, as on a real board, or the sources that came with the host program.
        sys.path[:] = ["/lib"] if self._flags & 64 else ["/source", "/shared"]
        from shared_schedule.channels import USUAL, Channel

        more = [Channel(*([int(field) for field in row[:5]] + row[5:])) for row in self._more]
        self.channels = USUAL + tuple(more)
        return formatted

    def flash_counts(self):
        return self._flash.ops, self._flash.erases, self._flash.programmed

    def board_id(self):
        return bytes(self._board_id)

    def reset_cause(self):
        return self._cause

    def reset(self):
        self._send(_RESET, b"")
        self._wait_for_end()

    def _wait_for_end(self):
        """The host ends the interpreter now; when the host itself is gone, the interpreter ends too."""
        poll = select.poll()
        poll.register(self._side, select.POLLIN)
        while True:
            for item in poll.poll(1000):
                if item[1] & ~select.POLLIN or not self._side.read(1):
                    raise SystemExit

    def watchdog_start(self, for_ms):
        self._send(_WDT, struct.pack("<I", for_ms))

    def watchdog_feed(self):
        self._fed = 1

    def watchdog_hold(self):
        self._send(_WDT, struct.pack("<I", 0))

    def smps(self, pwm):
        pass
