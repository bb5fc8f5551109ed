"""Framing against published values, two CRC libraries, and an independent receiver."""

from __future__ import annotations

import json
import random
from pathlib import Path

import fastcrc
import pytest
from crccheck.crc import Crc32
from hypothesis import given
from hypothesis import strategies as st

from shared_schedule import framing

VECTORS = json.loads((Path(__file__).parent.parent / "vectors" / "framing.json").read_text())


@pytest.mark.parametrize("row", VECTORS["stuffing"], ids=lambda row: row["plain"])
def test_published_stuffing(row):
    assert framing.stuff(bytes.fromhex(row["plain"])).hex() == row["stuffed"]
    assert framing.unstuff(bytes.fromhex(row["stuffed"])).hex() == row["plain"]


@pytest.mark.parametrize("row", VECTORS["unstuffing"], ids=lambda row: row["stuffed"])
def test_published_unstuffing(row):
    plain = framing.unstuff(bytes.fromhex(row["stuffed"]))
    assert (plain if plain is None else plain.hex()) == row["plain"]


@pytest.mark.parametrize("row", VECTORS["frames"], ids=lambda row: row["payload"][:12])
def test_independent_frames(row):
    payload, frame = bytes.fromhex(row["payload"]), bytes.fromhex(row["frame"])
    assert framing.encode(payload) == frame
    assert framing.Deframer(len(payload)).feed(frame) == [payload]


@given(st.binary(min_size=1, max_size=300))
def test_fcs_is_what_two_libraries_say(payload):
    """crccheck and fastcrc (CRC-32/ISO-HDLC) are independent of binascii's zlib code."""
    body = framing.unstuff(framing.encode(payload)[1:-1])
    fcs = int.from_bytes(body[-4:], "little")
    assert fcs == Crc32.calc(payload) == fastcrc.crc32.iso_hdlc(payload)
    assert Crc32.calc(body) == framing.GOOD_FCS


@given(st.lists(st.binary(min_size=1, max_size=80), max_size=6), st.randoms(use_true_random=False))
def test_any_frames_in_any_portions(payloads, chance):
    stream = b"".join(framing.encode(payload, opening=i == 0) for i, payload in enumerate(payloads))
    deframer = framing.Deframer(80)
    got, at = [], 0
    while at < len(stream):
        size = chance.randint(1, 40)
        got += deframer.feed(stream[at : at + size])
        at += size
    assert got == payloads
    assert b"\x03" not in stream
    assert deframer.damaged == 0


@given(st.binary(max_size=400))
def test_unstuffing_anything_never_raises(octets):
    framing.unstuff(octets)
    framing.Deframer(50).feed(octets)


def test_undetected_damage_is_as_rare_as_a_32_bit_check_makes_it():
    """20 000 frames with 1 to 6 flipped bits: none passes. (A 16-bit check would pass about 0.3 of them.)"""
    chance = random.Random(1662)
    noticed = 0
    for _ in range(20_000):
        payload = chance.randbytes(20)
        body = bytearray(framing.encode(payload)[1:-1])
        for _ in range(chance.randint(1, 6)):
            body[chance.randrange(len(body))] ^= 1 << chance.randrange(8)
        got = framing.decode(bytes(body))
        assert got in (None, payload)  # two flips of one bit undo each other
        noticed += got is None
    assert noticed > 19_900
