"""Framing on both interpreters. Published values: RFC 1662 (STD 51), sections 4.2, 4.3 and C.3."""

import binascii

from shared_schedule.framing import (
    GOOD_FCS,
    Deframer,
    encode,
    encode_quiet,
    stuff,
    unstuff,
)

NASTY = (0x00, 0x03, 0x20, 0x23, 0x5D, 0x5E, 0x7D, 0x7E)


def slow_decode(octets):
    """An independent receiver, octet by octet as RFC 1662 describes it, with a bitwise CRC of its own."""
    payloads = []
    frame = []
    escaped = False
    for octet in octets:
        if octet == 0x7E:
            if not escaped and len(frame) > 4:
                register = 0xFFFFFFFF
                for value in frame:
                    register ^= value
                    for _ in range(8):
                        register = (register >> 1) ^ (0xEDB88320 if register & 1 else 0)
                if register == 0xDEBB20E3:
                    payloads.append(bytes(frame[:-4]))
            frame = []
            escaped = False
        elif octet == 0x7D:
            escaped = True
        elif octet == 0x03:
            pass
        else:
            frame.append(octet ^ 0x20 if escaped else octet)
            escaped = False
    return payloads


def noise(seed):
    """A small generator of octets that is the same on both interpreters (Numerical Recipes' LCG, from memory)."""
    while True:
        seed = (seed * 1664525 + 1013904223) & 0xFFFFFFFF
        yield seed >> 24


def check_fcs_values():
    # Published: RFC 1662 C.3 gives 0xDEBB20E3 for the register; complemented it is 0x2144DF1C.
    assert binascii.crc32(b"123456789") == 0xCBF43926
    assert GOOD_FCS == 0xDEBB20E3 ^ 0xFFFFFFFF
    assert binascii.crc32(b"123456789\x26\x39\xf4\xcb") == GOOD_FCS


def check_stuffing_of_the_rfc():
    assert stuff(b"\x7e") == b"\x7d\x5e"
    assert stuff(b"\x7d") == b"\x7d\x5d"
    assert stuff(b"\x03") == b"\x7d\x23"
    assert unstuff(b"\x7d\x31") == b"\x11"
    assert unstuff(b"A\x7d\x20B\x7d\x5e") == b"A\x00B\x7e"
    assert unstuff(b"AB\x7d") is None
    assert unstuff(b"A\x03B") == b"AB"


def check_every_short_string_of_nasty_octets():
    # Wrong order of replacing fails on tens of thousands of such strings; four long is 4680 of them.
    count = 0
    for length in range(1, 5):
        for number in range(8**length):
            plain = bytes([NASTY[number >> 3 * at & 7] for at in range(length)])
            out = stuff(plain)
            assert b"\x03" not in out and b"\x7e" not in out
            assert unstuff(out) == plain
            count += 1
    assert count == 8 + 64 + 512 + 4096


def check_independent_receiver_agrees():
    source = noise(7)
    stream = b""
    sent = []
    for length in (1, 2, 3, 5, 17, 64, 200, 255):
        payload = bytes([NASTY[next(source) % 8] if length % 2 else next(source) for _ in range(length)])
        sent.append(payload)
        stream += encode(payload)
    assert b"\x03" not in stream
    assert slow_decode(stream) == sent
    assert Deframer(300).feed(stream) == sent


def check_any_portions_give_the_same():
    frames = [b"abc", b"\x03\x7d\x7e" * 20, b"x" * 50]
    stream = b"boot\r\n>>> " + b"".join([encode(frame) for frame in frames]) + b"~~~~"
    for size in (1, 2, 3, 7, 64, 1000):
        deframer = Deframer(80)
        got = []
        for at in range(0, len(stream), size):
            got += deframer.feed(memoryview(stream)[at : at + size])
        assert got == frames, size
        assert deframer.take_noise() == b"boot\r\n>>> "
        assert deframer.damaged == 1 and deframer.noise_octets == 10
        assert deframer.take_noise() == b""


def check_noise_between_and_after():
    deframer = Deframer(80)
    assert deframer.feed(encode(b"one") + b"Traceback:\r\n  File ~x~" + encode(b"two") + b"MicroPython\r\n>>> ") == [
        b"one",
        b"two",
    ]
    assert deframer.tail().endswith(b">>> ")
    assert b"Traceback" in deframer.take_noise()


def check_one_flag_between_frames():
    stream = encode(b"one") + encode(b"two", False) + encode(b"three", False)
    assert Deframer(80).feed(stream) == [b"one", b"two", b"three"]


def check_every_damaged_octet_is_noticed():
    good = encode(b"step 7 is done")
    for at in range(1, len(good) - 1):
        for flip in (0x01, 0x20, 0x80, 0xFF):
            bad = bytearray(good)
            bad[at] ^= flip
            assert Deframer(80).feed(bytes(bad) + b"~") == [], at
    # and after damage the next frame is found
    deframer = Deframer(80)
    assert deframer.feed(good[:-3] + encode(b"next")) == [b"next"]
    assert deframer.damaged == 1


def check_cap_holds():
    deframer = Deframer(16)
    for _ in range(100):
        deframer.feed(b"x" * 64)
        assert len(deframer._held) <= 2 * (16 + 4)
    assert deframer.overruns == 1
    assert deframer.feed(encode(b"y" * 16)) == [b"y" * 16]
    assert deframer.feed(encode(b"z" * 17)) == []
    assert deframer.overruns == 2
    assert deframer.feed(encode(b"\x03" * 16)) == [b"\x03" * 16]


def check_quiet_frames():
    made = 0
    for loud in (b"}", b"~", b"(", b"\xff", b"\\"):
        for i in range(200):
            assert encode_quiet(b"H" + loud + bytes((65 + i % 26, 65 + i // 26))) is None
    for i in range(3000):
        payload = b"H\x01\x1f" + bytes((65 + i % 26, 65 + i // 26 % 26, 65 + i // 676))
        frame = encode_quiet(payload)
        if frame is not None:
            made += 1
            assert slow_decode(frame) == [payload]
            for octet in frame:
                assert 0x20 <= octet < 0x7F
                assert octet not in b"()[]{\\`"
    assert made > 30, made
