"""Checks of single modules, run under MicroPython. Each `check_*` raises AssertionError; main prints what ran."""

import alarms as A
import buttons as B
import clock
import config
import ds3231
import glance as G
import sampler
import sht4x
import sounds
import ssd1309
import store as S
from caller import Caller
from canvas import Canvas
from view import SHIFT_S, View

from shared_schedule import journal as J
from shared_schedule import thermistor
from shared_schedule.units import NO_CDEG


def _feed(buttons, levels, start=0, every=5):
    """Levels as (mask, for_ms); return the presses found."""
    found = []
    now = start
    for mask, for_ms in levels:
        until = now + for_ms
        while now < until:
            pressed = buttons.feed(mask, now % (1 << 30))
            if pressed:
                found.append(pressed)
            now += every
    return found


def check_short_press_survives_bounce():
    levels = [(0, 50), (2, 5), (0, 5), (2, 5), (0, 5), (2, 90), (0, 5), (2, 5), (0, 100)]
    assert _feed(B.Buttons(), levels) == [(B.MIDDLE, B.SHORT)]


def check_glitch_is_no_press():
    assert _feed(B.Buttons(), [(0, 50), (2, 15), (0, 200)]) == []


def check_long_press_comes_once_and_while_held():
    buttons = B.Buttons()
    assert _feed(buttons, [(0, 50), (2, 1000)]) == [(B.MIDDLE, B.LONG)]
    assert _feed(buttons, [(2, 800), (0, 200)], 1050) == []


def check_double_press_only_where_it_has_a_meaning():
    twice = [(0, 50), (4, 80), (0, 80), (4, 80), (0, 600)]
    assert _feed(B.Buttons(), twice) == [(B.RIGHT, B.SHORT), (B.RIGHT, B.DOUBLE)]
    slow = [(0, 50), (4, 80), (0, 500), (4, 80), (0, 600)]
    assert _feed(B.Buttons(), slow) == [(B.RIGHT, B.SHORT)] * 2
    assert _feed(B.Buttons(), [(mask // 2, ms) for mask, ms in twice]) == [(B.MIDDLE, B.SHORT)] * 2
    assert _feed(B.Buttons(), [(0, 50), (4, 80), (0, 600)]) == [(B.RIGHT, B.SHORT)]


def check_no_chord():
    """The heel of a hand on all three is one press of one button."""
    found = _feed(B.Buttons(), [(0, 50), (2, 40), (7, 100), (0, 600)])
    assert len(found) == 1


def check_buttons_over_the_wrap_of_ticks():
    levels = [(0, 50), (2, 120), (0, 100)]
    assert _feed(B.Buttons(), levels, (1 << 30) - 100) == [(B.MIDDLE, B.SHORT)]


def check_held_at_boot_does_not_count():
    buttons = B.Buttons()
    buttons.hold_at_boot(2, 0)
    assert _feed(buttons, [(2, 2000), (0, 100)]) == []


def check_stuck_button_lets_the_others_count():
    buttons = B.Buttons()
    # Nobody comes while the middle one is down; after twenty seconds the left one counts, and the middle one no more.
    assert _feed(buttons, [(0, 50), (2, 15000), (3, 200), (2, 4000)]) == [(B.MIDDLE, B.LONG)]
    assert not buttons.stuck
    assert _feed(buttons, [(2, 2000), (3, 100), (2, 100)], 20000) == [(B.LEFT, B.SHORT)]
    assert buttons.stuck == B.MIDDLE
    # It flickers, and is believed only after it has been up for a second.
    assert _feed(buttons, [(0, 300), (2, 300), (0, 300), (2, 2000)], 30000) == [] and buttons.stuck == B.MIDDLE
    assert _feed(buttons, [(0, 1200), (2, 100), (0, 100)], 40000) == [(B.MIDDLE, B.SHORT)] and not buttons.stuck


def check_stuck_at_power_up_is_known_at_once():
    buttons = B.Buttons()
    buttons.hold_at_boot(2, 0)
    assert buttons.stuck == B.MIDDLE
    assert _feed(buttons, [(2, 500), (6, 100), (2, 400)]) == [(B.RIGHT, B.SHORT)]


class _Quiet:
    """A plan with quiet hours."""

    quiet = ((10000, 40000),)


class _Day:
    plan = _Quiet


def check_display_dims_when_nobody_needs_it():
    caller = Caller(None)
    glance = G.Glance()
    caller.pressed_s = 1000
    level = [caller.contrast(_Day, glance, True, 140, 1000 + s) for s in (0, 599, 600, 5000)]
    assert level == [140, 140, 17, 17]
    glance.hands = True  # somebody rolls: the picture must be seen from the bench
    assert [caller.contrast(_Day, glance, True, 140, 1000 + s) for s in (600, 3599, 3600)] == [140, 140, 17]
    caller.pressed_s = 20000  # in the night
    assert [caller.contrast(_Day, glance, True, 140, 20000 + s) for s in (59, 60)] == [140, 17]
    assert caller.contrast(_Day, glance, False, 140, 20060) == 140  # no clock: no night
    caller.alarms.raise_(J.STEP_DUE, 1, NO_CDEG, 21000)
    assert caller.contrast(_Day, glance, True, 140, 21100) == 17
    caller.alarms.raise_(J.PROOF_CAP, 2, 2900, 21000, True)
    assert caller.contrast(_Day, glance, True, 140, 21100) == 140
    assert caller.contrast(_Day, glance, True, 4, 30000) == 1  # never dark


def _dots(buffer):
    return bytes([buffer[y // 8 * 128 + x] >> y % 8 & 1 for y in range(64) for x in range(128)])


def check_picture_moves_by_a_dot_and_the_mark_hops():
    buffer = bytearray(1024)
    view = View(Canvas(buffer))
    glance = G.Glance()
    glance.screen, glance.word, glance.line, glance.labels = G.S_STEP, "ROLL", "\u00b7 gypq", ("times", "done", "more")
    glance.probe_cdeg, glance.low_cdeg, glance.high_cdeg = 1200, 900, 1600
    glance.left_kind, glance.left_s = G.LEFT_WINDOW, 1020
    places = []
    for at_s in (0, SHIFT_S, 2 * SHIFT_S, 3 * SHIFT_S):
        view.beat(at_s)
        view.draw(glance)
        places.append(_dots(buffer))
    for dx, dy, moved in ((1, 0, places[1]), (1, 1, places[2]), (0, 1, places[3])):
        for y in range(64):
            for x in range(128):
                wanted = places[0][128 * (y - dy) + x - dx] if y >= dy and x >= dx else 0
                assert moved[128 * y + x] == wanted, (dx, dy, x, y)
    even = _dots(buffer)
    view.beat(3 * SHIFT_S + 1)
    odd = _dots(buffer)
    changed = [(x, y) for y in range(64) for x in range(128) if even[128 * y + x] != odd[128 * y + x]]
    assert len(changed) == 8 and min(changed)[0] >= 42 and max(changed)[0] <= 45


def check_alarm_repeats_until_acknowledged():
    alarms = A.Alarms()
    assert alarms.raise_(J.STEP_DUE, 3, NO_CDEG, 1000) is not None
    assert alarms.raise_(J.STEP_DUE, 3, NO_CDEG, 1001) is None
    sounded = [t for t in range(1000, 2000) if alarms.sound_due(t, False)]
    assert len(sounded) > 15 and max([sounded[i + 1] - sounded[i] for i in range(len(sounded) - 1)]) <= 60
    assert alarms.acknowledge(2000).kind == J.STEP_DUE
    assert not alarms.sound_due(2001, False) and alarms.top is None


def check_alarm_rate_limit_and_return():
    alarms = A.Alarms()
    alarms.raise_(J.WINDOW_SOON, 1, 1500, 0)
    alarms.acknowledge(10)
    assert alarms.raise_(J.WINDOW_SOON, 1, 1500, 100) is None
    assert alarms.raise_(J.WINDOW_SOON, 1, 1500, 400) is not None


def check_snooze_is_silent_but_stands():
    alarms = A.Alarms()
    alarms.raise_(J.REST_DONE, 1, NO_CDEG, 0)
    alarms.snooze(5)
    assert alarms.top is not None
    assert [t for t in range(5, 5 + A.SNOOZE_S) if alarms.sound_due(t, False)] == []
    assert alarms.sound_due(5 + A.SNOOZE_S, False)


def check_quiet_hours_but_for_what_saves_the_batch():
    alarms = A.Alarms()
    alarms.raise_(J.STEP_DUE, 1, NO_CDEG, 0)
    assert not alarms.sound_due(0, True) and alarms.wants_s(0, True) == -1
    alarms.raise_(J.PROOF_CAP, 2, 2900, 0, True)
    assert alarms.sound_due(0, True) == sounds.LEFT


def check_most_urgent_first_and_bounded():
    alarms = A.Alarms()
    alarms.raise_(J.STEP_DUE, 1, NO_CDEG, 0)
    alarms.raise_(J.WINDOW_LEFT_WARM, 2, 2000, 0)
    assert alarms.top.kind == J.WINDOW_LEFT_WARM
    for step_id in range(3, 40):
        alarms.raise_(J.STEP_DUE, step_id, NO_CDEG, 0)
    assert len(alarms.standing) <= A.MAX_STANDING and alarms.top.kind == J.WINDOW_LEFT_WARM


class _Tones:
    def __init__(self):
        self.heard = []

    def tone(self, hz):
        self.heard.append(hz)


def check_sound_patterns_differ_and_end_silent():
    seen = []
    for pattern in range(1, 8):
        board = _Tones()
        sounder = sounds.Sounder(board)
        now = (1 << 30) - 300  # over the wrap
        sounder.play(pattern, now)
        for _ in range(200):
            now = (now + 10) % (1 << 30)
            sounder.turn(now)
        assert board.heard[-1] == 0
        assert board.heard not in seen
        seen.append(board.heard)
        for hz in board.heard:
            assert hz == 0 or 400 <= hz <= 1000  # fundamental for distance and older ears


class _Wire:
    """An I2C part that answers with what it is given."""

    def __init__(self, answer=b"", fail=False):
        self.answer = answer
        self.fail = fail
        self.written = []

    def writeto(self, _address, data):
        if self.fail:
            raise OSError(5)
        self.written.append(bytes(data))

    def readfrom_into(self, _address, into):
        if self.fail:
            raise OSError(5)
        into[:] = self.answer[: len(into)]

    def readfrom_mem_into(self, _address, register, into):
        for i in range(len(into)):
            into[i] = self.answer[register + i]

    def writeto_mem(self, _address, register, data):
        held = bytearray(self.answer)
        held[register : register + len(data)] = data
        self.answer = bytes(held)


def check_sht4x_check_octet_of_the_data_sheet():
    """0xBEEF -> 0x92: the example of the maker's data sheet."""
    assert sht4x.crc8(b"\xbe\xef", 0, 2) == 0x92


def check_sht4x_reading():
    """S_T = 0x6666 is 25.0 C, S_RH = 0x8000 is 56.5 %, by the data sheet's formulas."""
    raw = bytearray(b"\x66\x66\x00\x80\x00\x00")
    raw[2] = sht4x.crc8(raw, 0, 2)
    raw[5] = sht4x.crc8(raw, 3, 2)
    air = sht4x.Air(_Wire(bytes(raw)), 68)
    air.turn()
    air.turn()
    assert abs(air.cdeg - 2500) <= 1 and 56 <= air.rh_pct <= 57
    air._bus.answer = bytes(6)  # check octets wrong
    air.turn()
    assert air.failures == 1 and air.cdeg == sht4x.NONE and air.rh_pct == 0
    air._bus.answer = bytes(raw)
    air.turn()
    assert air.failures == 0 and abs(air.cdeg - 2500) <= 1
    air._bus.fail = True
    air.turn()
    assert air.cdeg == sht4x.NONE


def check_ds3231_round_trip():
    wire = _Wire(bytes(19))
    chip = ds3231.ClockChip(wire, 104)
    for at_s in (189388800, 217400400, 250000000, 31536000 * 9 + 86400 * 2 + 59, 68169599, 68169600):
        chip.write(at_s)
        assert chip.read() == at_s, at_s
    held = bytearray(wire.answer)
    held[15] |= 0x80
    wire.answer = bytes(held)
    assert chip.read() == 0  # the oscillator had stopped


def check_ds3231_known_date():
    """2027-03-13 08:30:15 in the chip's BCD registers; by hand 2557 + 71 days after 2020-01-01."""
    answer = bytearray(19)
    answer[0:7] = b"\x15\x30\x08\x06\x13\x03\x27"
    assert ds3231.ClockChip(_Wire(bytes(answer)), 104).read() == (2628 * 24 + 8) * 3600 + 30 * 60 + 15
    answer[2] = 0x48 | 0x20  # 8 in the evening, twelve-hour mode
    assert ds3231.ClockChip(_Wire(bytes(answer)), 104).read() == (2628 * 24 + 20) * 3600 + 30 * 60 + 15


def check_ds3231_nonsense_is_no_time():
    good = bytearray(19)
    good[0:7] = b"\x15\x30\x08\x06\x13\x03\x27"
    for register, octet in ((0, 0x60), (1, 0x7F), (2, 0x25), (4, 0x00), (4, 0x32), (5, 0x13), (6, 0x19), (6, 0xA0)):
        bad = bytearray(good)
        bad[register] = octet
        assert ds3231.ClockChip(_Wire(bytes(bad)), 104).read() == 0, (register, octet)
    assert ds3231.ClockChip(_Wire(b"\xff" * 19), 104).read() == 0  # a bus that answers all ones


def check_clock_without_chip_says_so():
    keeper = clock.Clock(0, None)
    assert not keeper.ok
    keeper.set(217400400)
    assert keeper.ok and keeper.feed(61000) == 217400400 + 61
    assert keeper.feed(60999) == 217400400 + 61  # never backwards


def check_display_sends_only_what_changed():
    wire = _Wire()
    display = ssd1309.Display(wire, 60)
    display.begin(100)
    before = len(wire.written)
    assert display.show() == 0 and len(wire.written) == before
    display.buffer[3 * 128 + 7] = 0x55
    assert display.show() == 1
    data = [w for w in wire.written[before:] if w[0] == 0x40]
    assert len(data) == 1 and len(data[0]) == 129 and data[0][8] == 0x55
    window = wire.written[before]
    assert window == bytes((0, 0x21, 0, 127, 0x22, 3, 3))


def check_display_never_sends_the_charge_pump_command():
    wire = _Wire()
    ssd1309.Display(wire, 60).begin(100)
    for written in wire.written:
        if written[0] == 0:
            assert 0x8D not in written  # SSD1306 only


def check_trimmed_mean_ignores_wild_readings():
    codes = [30000 + i % 7 for i in range(64)]
    for i in range(0, 64, 5):
        codes[i] = 65535 if i % 2 else 0
    codes.sort()
    assert abs(sampler.mean_of_middle(codes) - 30003) <= 2


def check_sampler_channel_chain_against_the_table():
    """Divider codes of the published 103AT resistances give the published temperatures within 0.1 K, -20..60 C."""
    table = ((-20, 67770), (-10, 42470), (0, 27280), (10, 17960), (20, 12090), (30, 8313), (40, 5827), (50, 4160),
             (60, 3020))  # fmt: skip
    for celsius, ohm in table:
        channel = sampler.Channel(0, thermistor.curve("103at"), 18000, 0)
        for _ in range(2):
            channel.take(int(65535 * ohm / (ohm + 18000) + 0.5), 9)
        assert channel.fault == 0 and abs(channel.cdeg - 100 * celsius) <= 10, (celsius, channel.cdeg)


def check_one_good_reading_after_a_fault_is_not_trusted():
    channel = sampler.Channel(1, thermistor.curve("103at"), 18000, 0)
    channel.take(65500, 9)
    assert channel.fault == sampler.OPEN and channel.cdeg == NO_CDEG
    channel.take(26000, 9)
    assert channel.cdeg == NO_CDEG
    channel.take(26000, 9)
    assert channel.cdeg != NO_CDEG


def check_settings_round_trip_and_limits():
    values = config.Values(config.SETTINGS)
    values.set_text("contrast", "17")
    values.set_text("curve_probe", "3977")
    other = config.Values(config.SETTINGS)
    assert other.unpack(values.pack()) and other["contrast"] == 17 and other.text("curve_probe") == "3977"
    assert not other.unpack(b"\xff\xff\xff\x7f" * 3)
    for name, text in (("contrast", "900"), ("contrast", "x"), ("curve_probe", "beta")):
        try:
            values.set_text(name, text)
        except ValueError:
            continue
        raise AssertionError(name)


def check_seal_finds_every_single_octet_of_damage():
    sealed = S.seal(b"some settings")
    assert S.unseal(sealed) == b"some settings"
    for at in range(len(sealed)):
        broken = bytearray(sealed)
        broken[at] ^= 0x10
        assert S.unseal(broken) is None, at
    for at in range(len(sealed)):
        assert S.unseal(sealed[:at]) is None


def main():
    ran = 0
    for name in sorted(globals()):
        if name.startswith("check_"):
            try:
                globals()[name]()
            except Exception as problem:
                print("in", name)
                raise problem
            ran += 1
    print("ran", ran)


main()
