"""Checks of the temperature log: exact return, size on realistic days, damage, no allocation."""

import plans

from shared_schedule import samples as S
from shared_schedule.units import NO_CDEG

HEAP = "6m"  # a whole day of samples is held at once to compare; the writer itself needs 240 bytes


class Noise:
    """Plain 16-bit generator, the same on both interpreters (Numerical Recipes' ranqd1 constants, from memory)."""

    def __init__(self, seed):
        self.value = seed

    def below(self, count):
        self.value = (self.value * 1664525 + 1013904223) & 0xFFFFFFFF
        return (self.value >> 16) % count


def kitchen(hours, seed=1):
    """Return samples (at_s, bench, probe) of a day: slow bench, probe between fridge and bench, noise of 1-2 LSB.

    One LSB of the bench timer's converter is about 0.024 °C and its averaged noise well below that; +-0.03 °C here.
    """
    noise = Noise(seed)
    bench = 2150
    probe = 600
    found = []
    for place in range(hours * 720):
        at_s = plans.DAY_1 + place * 5
        phase = place % 1080  # an hour and a half: 20 min on the bench, the rest in the fridge
        goal = bench if phase < 240 else 400
        probe += (goal - probe) // 260
        wander = noise.below(3) - 1
        bench += wander if place % 40 == 0 else 0
        shown = probe + noise.below(7) - 3
        if phase in (240, 241, 242, 243):
            shown = NO_CDEG  # needle pulled out and put back
        found.append((at_s, bench + noise.below(5) - 2, shown))
    return found


def write(samples, interval_s, flush_every):
    writer = S.SampleWriter(interval_s)
    data = bytearray()
    pending = 0
    for at_s, bench, probe in samples:
        if not writer.add(at_s, (bench, probe)):
            data.extend(writer.block())
            assert writer.add(at_s, (bench, probe))
            pending = 0
        pending += 1
        if pending >= flush_every:
            data.extend(writer.block())
            pending = 0
    data.extend(writer.block())
    return bytes(data)


def check_a_day_comes_back_exactly_and_small():
    samples = kitchen(14)
    for flush_every, cap_hundredths in ((6, 300), (10000, 150)):
        data = write(samples, 5, flush_every)
        reader = S.read_blocks(data)
        place = 0
        for sample in reader:
            assert sample == samples[place], (place, sample, samples[place])
            place += 1
        assert place == len(samples) and reader.unread == 0
        hundredths = len(data) * 100 // len(samples)
        print("samples: %d.%02d bytes a pair, flushed every %d" % (hundredths // 100, hundredths % 100, flush_every))
        assert hundredths <= cap_hundredths


def check_two_weeks_fit_in_a_megabyte():
    hundredths = len(write(kitchen(14), 5, 6)) * 100 // (14 * 720)
    assert hundredths * (14 * 86400 // 5) // 100 <= 1000000


def check_extremes_and_gaps():
    values = (0, -32767, 32767, NO_CDEG, NO_CDEG, 32767, 7, 0, -7, -8, 8, NO_CDEG, 8, 30000, -5500, NO_CDEG)
    samples = []
    for first in range(len(values)):
        for second in values:
            samples.append((1000 + 5 * len(samples), values[first], second))
    for flush_every in (1, 2, 7, 1000):
        assert list(S.read_blocks(write(samples, 5, flush_every))) == samples


def check_one_to_four_channels_come_back_whatever_they_say():
    noise = Noise(3)
    for channels in ((5,), (0, 1), (1, 0), (0, 1, 7), (0, 1, 2, 255)):
        writer = S.SampleWriter(5, channels)
        rows = []
        data = bytearray()
        for place in range(400):
            readings = tuple([(NO_CDEG, 2000, -7, 30000, noise.below(60000) - 30000)[noise.below(5)] for _ in channels])
            rows.append((1000 + 5 * place,) + readings)
            if not writer.add(1000 + 5 * place, readings):
                data.extend(writer.block())
                assert writer.add(1000 + 5 * place, readings)
            if noise.below(9) == 0:
                data.extend(writer.block())
        data.extend(writer.block())
        assert data[0] == (83 if channels == (0, 1) else 75)
        reader = S.read_blocks(bytes(data))
        assert list(reader) == rows and reader.unread == 0 and reader.channels == channels
    for bad in ((), (0, 1, 2, 3, 4), (0, 0), (0, 256), (-1, 0)):
        try:
            S.SampleWriter(5, bad)
        except ValueError:
            continue
        raise AssertionError(bad)


def check_layout_of_format_2_octet_for_octet():
    # Independent: written out by hand from the description; the CRC-32 by the interpreter's own function.
    import binascii

    writer = S.SampleWriter(5, (0, 1, 3))
    for at_s, readings in ((0x01020304, (2000, 400, NO_CDEG)), (0x01020309, (2003, 300, 50))):
        assert writer.add(at_s, readings)
    head = bytes.fromhex("4b16020403020105020003000103d00790010080b008c80165")
    head = bytes((75, len(head) - 2)) + head[2:]
    crc = binascii.crc32(head) & 0xFFFFFFFF
    assert bytes(writer.block()) == head + bytes((crc & 255, crc >> 8 & 255, crc >> 16 & 255, crc >> 24))


def check_blocks_of_another_format_and_nonsense_are_passed_over_whole():
    import binascii

    def sealed(block):
        block = bytes((75, len(block))) + block
        crc = binascii.crc32(block) & 0xFFFFFFFF
        return block + bytes((crc & 255, crc >> 8 & 255, crc >> 16 & 255, crc >> 24))

    good = write([(1000 + 5 * i, 20, 30) for i in range(4)], 5, 9)
    time = bytes((4, 3, 2, 1, 5, 1, 0))
    for bad in (
        sealed(b"\x03" + time + b"\x01\x00\x00\x00"), sealed(b"\x02" + time + b"\x00"),
        sealed(b"\x02" + time + b"\x05" + bytes(15)), sealed(b"\x02" + time + b"\x02\x07\x07" + bytes(4)),
        sealed(b"\x02" + time + b"\x02\x00\x01\x00\x00"),
    ):  # fmt: skip
        reader = S.read_blocks(bad + good)
        assert len(list(reader)) == 4 and reader.unread == len(bad), bad
    # The nibble that fills the last byte of an odd number of channels is 8 and nothing else.
    two = b"\x02" + bytes((4, 3, 2, 1, 5, 2, 0)) + b"\x01\x07\x00\x00"
    assert len(list(S.read_blocks(sealed(two + b"\x98")))) == 2
    assert len(list(S.read_blocks(sealed(two + b"\x99")))) == 1


def check_time_gap_and_jitter():
    writer = S.SampleWriter(5)
    assert writer.add(100, (1, 2)) and writer.add(106, (1, 2)) and writer.add(109, (1, 2))
    assert not writer.add(160, (1, 2))
    data = bytes(writer.block())
    assert writer.add(160, (1, 2))
    data += bytes(writer.block())
    assert [at_s for at_s, _b, _p in S.read_blocks(data)] == [100, 105, 110, 160]
    assert data[0] == data[data.rfind(b"S")] and data.count(b"S") >= 2
    writer.restart()
    writer.add(165, (1, 2))
    assert writer.block()[0] == 83


def check_damage_loses_only_until_the_next_key():
    samples = kitchen(2)
    data = bytearray(write(samples, 5, 6))
    seen = 0
    for place in range(0, len(data), 97):
        data[place] ^= 0x55
        reader = S.read_blocks(bytes(data))
        found = list(reader)
        good = {}
        for at_s, bench, probe in samples:
            good[at_s] = (bench, probe)
        for at_s, bench, probe in found:
            assert good[at_s] == (bench, probe)  # nothing invented
        assert reader.unread > 0 and len(samples) - len(found) <= S.KEY_EVERY, (place, len(found))
        seen += 1
        data[place] ^= 0x55
    assert seen > 20


def check_torn_end():
    data = write(kitchen(1), 5, 6)
    whole = len(list(S.read_blocks(data)))
    for cut in range(len(data) - 40, len(data)):
        found = len(list(S.read_blocks(data[:cut])))
        assert whole - 20 <= found < whole, cut


def check_block_never_exceeds_its_cap():
    noise = Noise(7)
    writer = S.SampleWriter(1)
    longest = 0
    for at_s in range(3000):
        bench = noise.below(60000) - 30000
        probe = noise.below(60000) - 30000
        if not writer.add(at_s, (bench, probe)):
            longest = max(longest, len(writer.block()))
            assert writer.add(at_s, (bench, probe))
    assert 200 < longest <= S.BLOCK


def check_hostile_numbers_in_a_sound_block_stop_there():
    import binascii
    import struct

    head = bytes([83, 13, 0, 0, 0, 0, 5, 9, 0, 0, 0, 0, 0, 0, 255])  # escape, then a number that never ends
    data = head + struct.pack("<I", binascii.crc32(head) & 0xFFFFFFFF)
    reader = S.read_blocks(data)
    assert len(list(reader)) <= 1


def check_add_allocates_nothing():
    try:
        import micropython
    except ImportError:
        return  # only the device's interpreter can show it
    writer = S.SampleWriter(5)
    writer.add(0, (2000, 400))
    at_s = 5
    ok = True
    readings = [0, 0]
    micropython.heap_lock()
    try:
        while at_s < 500:
            readings[0] = 2000 + (at_s & 3)
            readings[1] = NO_CDEG if at_s & 64 else 400 + at_s
            ok = writer.add(at_s, readings) and ok
            at_s += 5
    finally:
        micropython.heap_unlock()
    assert writer.count > 20
