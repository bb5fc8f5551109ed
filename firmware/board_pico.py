"""The Raspberry Pi Pico (RP2040) and Pico 2 (RP2350): pins to senses, and the contract every board keeps.

The only module that constructs a pin. Nothing here knows what dough is; nothing outside knows what a pin is.
Times are ticks_ms, which wraps at 2**30. `idle` is the only method that waits.
"""

import io
import os
import select
import sys
import time

import machine
import pins
from machine import ADC, I2C, PWM, Pin

from shared_schedule.channels import USUAL

_POLL_MS = 10  # how often the buttons are looked at: shorter than a knuckle's shortest tap by far
_IN = 512  # octets taken from the link at once
_BLOCK = 64  # octets read in one go: a USB packet
_FILL = b"\x03" * _BLOCK  # the one octet that no frame holds
_DUTY_HALF = 32768
_SET_S = 189302400  # 2026-01-01: an earlier time is none
_SEAL = 0x2A5C3369
_BITE_S = 9  # from the last turn of a hung loop until the board runs again
_EPOCH_S = 1577836800  # 2020-01-01, from which seconds are counted here, in MicroPython's
_I2C_TIMEOUT_US = 10000  # a page of the display takes 2.9 ms; a bus held low must not hold up a button
_SMALL = 256  # what the USB stack takes in one piece

# Watchdog control register, its "clear bits" alias and its enable bit: RP2040 data sheet 4.7.6, RP2350 data sheet 12.9.
# machine.WDT offers no way to stop it, and a Timer that feeds it would end with the first soft reset at the prompt.
_WATCHDOG_CTRL = {"RP2040": 0x40058000, "RP2350": 0x400D8000}
_CLEAR = 0x3000
_ENABLE = 1 << 30


class Board:
    NAME = "bench timer"
    ADC_READS = 64  # 0.9 ms; noise of one reading 1 to 1.4 LSB, of the mean 0.15
    READ_BLOCK = 1
    BEAT_MS = 1000  # how often the screen shows that the program lives

    def __init__(self):
        self._buttons = [
            Pin(number, Pin.IN, Pin.PULL_UP)
            for number in (pins.PIN_BUTTON_LEFT, pins.PIN_BUTTON_MIDDLE, pins.PIN_BUTTON_RIGHT)
        ]
        self.channels = USUAL
        # ADC(Pin(n)), never ADC(n): it also takes the pad's pull and input buffer away.
        self._adcs = (ADC(Pin(pins.PIN_BENCH_NTC)), ADC(Pin(pins.PIN_PROBE_NTC)))
        _free_bus()
        self.i2c = I2C(
            pins.I2C_ID, sda=Pin(pins.PIN_I2C_SDA), scl=Pin(pins.PIN_I2C_SCL), freq=pins.I2C_FREQ_HZ,
            timeout=_I2C_TIMEOUT_US,
        )  # fmt: skip
        self._oled_reset = Pin(pins.PIN_OLED_RESET, Pin.OUT, value=1)
        self._tone_a = PWM(Pin(pins.PIN_BUZZER_A))
        self._tone_b = PWM(Pin(pins.PIN_BUZZER_B), invert=True)
        self._tone_hz = -1
        self.tone(0)
        self._leds = [PWM(Pin(number)) for number in (pins.PIN_LED_R, pins.PIN_LED_G, pins.PIN_LED_B)]
        for led in self._leds:
            led.freq(1000)
            led.duty_u16(0)
        self._rgb = 0
        self._poll = select.poll()
        self._poll.register(sys.stdin, select.POLLIN)
        self._out_poll = select.poll()
        self._out_poll.register(sys.stdout, select.POLLOUT)
        self._stdin = sys.stdin.buffer
        self._stdout = sys.stdout.buffer
        self._in = memoryview(bytearray(_IN))
        self._fill = io.BytesIO(_FILL)
        self._timer = None
        self._watchdog = None
        self._holder = None
        self.oled_reset()

    # --- time -----------------------------------------------------------------------------------------------------

    def ticks_ms(self):
        """Milliseconds, wrapping at 2**30."""
        return time.ticks_ms()

    def own_clock(self):
        """The chip's own clock, which every start but one by power survives; as ds3231.ClockChip."""
        return _OwnClock

    def keep_time(self, runs):
        """Put the time where a reset leaves it; `runs`: the program does, so a reset now is the watchdog's."""
        now_s = time.time() - _EPOCH_S
        if now_s >= _SET_S:
            _scratch(0, now_s)
            _scratch(1, now_s ^ _SEAL)
            _scratch(2, 1 if runs else 0)

    def idle(self, for_ms):
        """Wait at most for_ms; return early (True) when the link has octets, (False) when a button changes."""
        begun = time.ticks_ms()
        mask = self.buttons()
        while True:
            left = for_ms - time.ticks_diff(time.ticks_ms(), begun)
            for _ in self._poll.ipoll(max(0, min(left, _POLL_MS))):  # poll() would make a list each time
                return True
            if left <= _POLL_MS or self.buttons() != mask:
                return False

    # --- senses and outputs ---------------------------------------------------------------------------------------

    def buttons(self):
        """Bit mask of the buttons that are down, undebounced: 1 left, 2 middle, 4 right."""
        left, middle, right = self._buttons
        return (0 if left.value() else 1) | (0 if middle.value() else 2) | (0 if right.value() else 4)

    def read_codes(self, channel, into):
        """Fill a list with 16-bit readings; OSError when the converter fails. Allocates nothing."""
        adc = self._adcs[channel]
        for i in range(len(into)):
            into[i] = adc.read_u16()

    def tone(self, hz):
        """Sound a square wave, 0 = silence. Both ends of the disc swing, for twice the voltage."""
        if hz == self._tone_hz:
            return
        self._tone_hz = hz
        if hz:
            self._tone_a.freq(hz)  # one slice: its counter runs both
        for pwm in (self._tone_a, self._tone_b):
            pwm.duty_u16(_DUTY_HALF if hz else 0)
        if not hz:
            self._tone_b.duty_u16(65535)  # inverted: both ends low, no direct voltage on the disc

    def light(self, red, green, blue):
        """Set the light, each 0..255."""
        rgb = (red << 16) | (green << 8) | blue
        if rgb != self._rgb:
            self._rgb = rgb
            for led, level in zip(self._leds, (red, green, blue)):
                led.duty_u16(level * 257)

    def oled_reset(self):
        """Pulse the display's reset line, as its data sheet asks; waits 20 ms."""
        self._oled_reset.value(0)
        time.sleep_ms(10)
        self._oled_reset.value(1)
        time.sleep_ms(10)

    def scan(self):
        """Addresses that answer on the bus."""
        try:
            return self.i2c.scan()
        except OSError:
            return []

    def tell(self, glance):
        """For boards without a cook in front of them; here nothing."""

    def mark(self, text):
        """For tests that record what has become durable; here nothing."""

    def plan_held(self, data):
        """For the scripted cook, who cannot read the card on the wall; here nothing."""

    # --- link -----------------------------------------------------------------------------------------------------

    def link_read(self, limit):
        """Return the octets that have come, about `limit` at most; Ctrl-C is an octet like others."""
        # A read of a block waits until all of it has come, and nothing tells how much that is: so while it
        # lasts a second terminal gives what the line has not, and says afterwards how many octets that were.
        fill = self._fill
        view = self._in
        limit = min(limit, len(view))
        count = 0
        while count + _BLOCK <= limit:
            for _ in self._poll.ipoll(0):
                break
            else:
                break
            block = view[count : count + _BLOCK]
            fill.seek(0)
            before = os.dupterm(fill)
            try:
                count += self._stdin.readinto(block) or 0
            finally:
                os.dupterm(before)
            filled = fill.tell()
            if filled:
                return bytes(view[: count - _BLOCK]) + _without(bytes(block), filled)
        return bytes(view[:count])

    def again(self, octets):
        """Let the prompt read these octets, which were read here, before any others."""
        if octets:
            os.dupterm(_Again(octets))

    def link_write(self, data):
        """Write what the line takes without waiting; return how many octets that was.

        A host that does not read would cost half a second a call, so nothing is written before the line is ready, and
        never more than the USB buffer holds.
        """
        if not self._out_poll.poll(0):
            return 0
        return self._stdout.write(data[:_SMALL]) or 0

    # --- flash, power ---------------------------------------------------------------------------------------------

    def every(self, period_ms, call):
        """Call `call(timer)` every so often, at the prompt as well; 0: no more."""
        if self._timer is not None:
            self._timer.deinit()
            self._timer = None
        if period_ms:
            self._timer = machine.Timer(-1, period=period_ms, mode=machine.Timer.PERIODIC, callback=call)

    def mount(self):
        """MicroPython's own boot has mounted the file system; False: not formatted just now, as far as is known."""
        return False

    def flash_counts(self):
        """(operations, erases, octets programmed) since boot: estimated from the store's writes, here unknown."""
        return 0, 0, 0

    def board_id(self):
        """Eight octets that no other board has."""
        return machine.unique_id()

    def reset_cause(self):
        """1 power, 3 watchdog."""
        return machine.reset_cause()

    def reset(self):
        """Start anew, as after power-up."""
        self.keep_time(False)
        machine.reset()

    def watchdog_start(self, for_ms):
        """Start the watchdog; it cannot be stopped again."""
        self._watchdog = machine.WDT(timeout=for_ms)

    def watchdog_feed(self):
        if self._watchdog is not None:
            self._watchdog.feed()

    def watchdog_hold(self):
        """Let the watchdog sleep while somebody works at the prompt: it would reboot the board under their hands."""
        if self._watchdog is None:
            return
        for chip in _WATCHDOG_CTRL:
            if chip in os.uname().machine.upper():
                control = _WATCHDOG_CTRL[chip]
                machine.mem32[control + _CLEAR] = _ENABLE
                if not machine.mem32[control] & _ENABLE:
                    return
        # Not stopped: fed from a timer, until a soft reset ends that too.
        self._holder = machine.Timer(-1, period=2000, mode=machine.Timer.PERIODIC, callback=self._hold)

    def _hold(self, _timer):
        self._watchdog.feed()

    def smps(self, pwm):
        """Regulator mode of a plain Pico: steady frequency (1) or economical (0). Not on boards with a radio."""
        if "W" not in os.uname().machine.split(" with ")[0].split()[-1]:
            Pin(pins.PIN_SMPS_MODE, Pin.OUT, value=pwm)


def _without(part, filled):
    """Octets of a block without the `filled` ones that stood in for octets that had not come."""
    bare = part.rstrip(b"\x03")
    if len(part) - len(bare) >= filled:
        return part[: len(part) - filled]
    # Some octets came in the middle of the filling. Every octet 3 that is no filling is Ctrl-C: before what it was sent
    # with when that asks for the prompt, else anywhere, for a frame has none.
    real = part.count(b"\x03") - filled
    bare = part.replace(b"\x03", b"")
    at = len(bare) - 2 if bare.endswith(b"\r\x01") else len(bare)
    return bare[:at] + b"\x03" * real + bare[at:]


class _OwnClock:
    """The chip's own clock: it goes on over a soft reset, and stands in 2021 after power-up (clock.py: not set).

    A reset by the watchdog, which machine.reset() is too, sets it back as well, but leaves the watchdog's scratch
    registers: the time is put there all the while.
    """

    @staticmethod
    def read():
        now_s = time.time() - _EPOCH_S
        kept_s = _scratch(0)
        if now_s < _SET_S <= kept_s and _scratch(1) == kept_s ^ _SEAL:
            now_s = kept_s + (_BITE_S if _scratch(2) else 1)
            _OwnClock.write(now_s)
        return max(0, now_s)

    @staticmethod
    def write(at_s):
        year, month, day, hour, minute, second, weekday = time.gmtime(at_s + _EPOCH_S)[:7]
        machine.RTC().datetime((year, month, day, weekday, hour, minute, second, 0))


def _scratch(number, value=None):
    """A register that only loss of power clears; RP2040 data sheet 4.7.6, RP2350 data sheet 12.9."""
    at = _watchdog_at() + 0x0C + 4 * number
    if value is not None:
        machine.mem32[at] = value
    return machine.mem32[at]


def _watchdog_at():
    for chip in _WATCHDOG_CTRL:
        if chip in os.uname().machine.upper():
            return _WATCHDOG_CTRL[chip]
    return _WATCHDOG_CTRL["RP2040"]


class _Again(io.IOBase):
    """A second terminal that has some octets to give, then is none any more."""

    def __init__(self, octets):
        self._octets = octets
        self._at = 0

    def readinto(self, into):
        if self._at >= len(self._octets):
            os.dupterm(None)
            return None
        into[0] = self._octets[self._at]
        self._at += 1
        return 1

    def write(self, data):
        return len(data)

    def ioctl(self, _request, _argument):
        return 0


def _free_bus():
    """Clock out what a part still wants to say when the board was reset in the middle of reading it.

    Such a part holds SDA low, and the bus would stay dead until the power is cut (I2C specification UM10204, 3.1.16).
    """
    sda = Pin(pins.PIN_I2C_SDA, Pin.IN, Pin.PULL_UP)
    scl = Pin(pins.PIN_I2C_SCL, Pin.OPEN_DRAIN, Pin.PULL_UP, value=1)
    for _ in range(9):
        if sda.value():
            return
        scl.value(0)
        time.sleep_us(5)
        scl.value(1)
        time.sleep_us(5)
