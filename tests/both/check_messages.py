"""The message table and its codec on both interpreters."""

import struct

from shared_schedule import messages as m
from shared_schedule import plan

# Regression: changes only together with the version. See tests/link/test_protocol_doc.py.


def samples(kind, cap):
    if kind in m._INTEGERS:
        low, high = m._INTEGERS[kind][2:]
        return (low, 0, 1, high)
    if kind == "fix":
        return (bytes(cap), b"\x03" * cap)
    if kind == "str":
        return ("", "x" * cap, "\xe9" * (cap // 2))
    return (b"", b"\xff" * cap)


def check_every_message_there_and_back():
    count = 0
    for number, _name, _direction, fields in m.TABLE:
        for pick in range(4):
            values = {}
            for name, kind, cap in fields:
                choices = samples(kind, cap)
                values[name] = choices[pick % len(choices)]
            payload = m.encode(number, 0x1234, 0xFFFF, values)
            assert m.decode(payload) == (number, 0x1234, 0xFFFF, values)
            cap = m.DEVICE_CAP if m.direction_of(number) == ">" else m.HOST_CAP
            assert len(payload) <= cap, (number, len(payload))
            count += 1
    assert count == 4 * len(m.TABLE)


def check_layout_is_little_endian_and_in_order():
    # Independent: written out by hand from the rule in the module's head.
    payload = m.encode(m.COMMAND, 0x0102, 3, {"action": 2, "step_id": 7, "arg": -2})
    assert payload == b"\x28\x02\x01\x03\x00\x02\x07\xfe\xff\xff\xff"
    payload = m.encode(m.SETTING_SET, 1, 2, {"key": "ab", "value": b"\x00"})
    assert payload == b"\x2c\x01\x00\x02\x00\x02ab\x01\x00"


def check_cut_short_is_refused_everywhere():
    refused = 0
    for number, _name, _direction, fields in m.TABLE:
        values = {}
        for name, kind, cap in fields:
            values[name] = samples(kind, cap)[1]
        payload = m.encode(number, 1, 1, values)
        tail = m.HEADER_OCTETS
        rest = 0
        if fields and fields[-1][1] == "rest":
            rest = fields[-1][2]
        for size in range(len(payload) - rest):
            try:
                m.decode(payload[:size])
            except m.MessageError:
                refused += 1
            else:
                raise AssertionError((number, size))
        assert len(payload) >= tail
    assert refused > 300


def check_values_out_of_range_are_refused_not_wrapped():
    bad = (
        (m.COMMAND, {"action": 256}),
        (m.COMMAND, {"action": -1}),
        (m.COMMAND, {"arg": 1 << 31}),
        (m.CLOCK_SET, {"offset_min": 40000}),
        (m.NOTE, {"text": "x" * 121}),
        (m.SETTING_SET, {"value": bytes(65)}),
        (m.HELLO, {"filler": b"123"}),
        (m.NOTE, {"txt": "a field it does not have"}),
    )
    for number, values in bad:
        try:
            m.encode(number, 1, 1, values)
        except m.MessageError as problem:
            assert m.name_of(number) in str(problem)
        else:
            raise AssertionError(values)


def check_oversize_lengths_are_refused_before_use():
    head = struct.pack("<BHH", m.NOTE, 1, 1)
    for size in (121, 200, 255):
        try:
            m.decode(head + bytes((size,)) + b"x" * size)
        except m.MessageError:
            continue
        raise AssertionError(size)
    try:
        m.decode(struct.pack("<BHH", m.PLAN_DATA, 1, 1) + bytes(9) + bytes(m.PLAN_CHUNK_MAX + 1))
    except m.MessageError:
        pass
    else:
        raise AssertionError("long rest")


def check_text_must_be_utf8():
    try:
        m.decode(struct.pack("<BHH", m.NOTE, 1, 1) + b"\x02\xff\xfe")
    except m.MessageError:
        return
    raise AssertionError("not refused")


def check_later_minor_versions_may_add_fields():
    payload = m.encode(m.PING, 1, 1) + b"what a later version adds"
    assert m.decode(payload)[0] == m.PING


def check_numbers_and_names_are_unique():
    numbers = {row[0] for row in m.TABLE}
    names = {row[1] for row in m.TABLE}
    assert len(numbers) == len(names) == len(m.TABLE)
    for codes in (m.CODES, m.ACTIONS):
        assert len({code for code, _ in codes}) == len(codes)


def check_caps_match_the_plan():
    assert m.PLAN_MAX == plan.MAX_PLAN_BYTES
    assert m.STEPS_MAX == plan.MAX_STEPS
    assert struct.calcsize(m.STEP_RECORD) == 9


def check_masks():
    for mask in (0, 1, 0x20, 0xFF):
        for data in (b"", b"\x00", b"\x03" * 100, bytes(range(256))):
            hidden = m.masked(data, mask)
            assert hidden == bytes([octet ^ mask for octet in data])
            assert m.masked(hidden, mask) == data
    assert m.mask_for(b"plain text") == 0


def check_mask_bounds_the_escapes_whatever_the_data():
    # The promise of mask_for: at most 1 octet in 64. The worst data there is holds one octet of each unlucky set.
    worst = []
    for mask in range(256):
        if not mask & 0x41:
            worst.append(0x03 ^ mask)
    cases = [bytes(worst) * 4, bytes(range(256)) * 4, b"\x03\x7d\x7e" * 300, b"\x23\x03\x2b\xa3\x97" * 100]
    for data in cases:
        hidden = m.masked(data, m.mask_for(data))
        escapes = hidden.count(b"\x03") + hidden.count(b"\x7d") + hidden.count(b"\x7e")
        assert escapes * 64 <= len(data), (escapes, len(data))
