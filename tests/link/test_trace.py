"""Trace and capture: what went over the wire, for a person, and nothing of it unescaped."""

from __future__ import annotations

import struct

from hypothesis import given
from hypothesis import strategies as st
from tourier.device import trace
from tourier.device.client import Timer

from shared_schedule import messages as m
from shared_schedule.framing import encode


def test_capture_of_a_conversation_reads_back(board, tmp_path, record_property):
    record_property("interpreter", "micropython")
    one = board(samples=2048)
    file = tmp_path / "wire.cap"
    live: list[str] = []
    tracer = trace.Tracer()
    watch = (lambda way, ms, octets: live.extend(tracer.lines(way, ms, octets)),)
    with Timer.open(one.port, capture=file, watchers=watch) as timer:
        timer.command(m.ACTION_STEP_DONE, 7)
        timer.collect(m.STREAM_SAMPLES)
    lines = list(trace.decode_file(file))
    assert [line.split(maxsplit=1)[1] for line in lines] == [line.split(maxsplit=1)[1] for line in live]
    names = [line.split()[2] for line in lines]
    assert names[:2] == ["HELLO", "HELLO_REPLY"]
    for name in ("COMMAND", "RESULT", "LOG_INFO", "LOG_READ", "LOG_DATA", "LOG_END", "LOG_SUM_REPLY"):
        assert name in names
    command = next(line for line in lines if " COMMAND " in line)
    assert "action=step_done" in command and "step_id=7" in command and " > " in command
    assert "code=ok" in next(line for line in lines if " RESULT " in line)


def test_file_of_bare_octets(tmp_path):
    file = tmp_path / "octets.bin"
    noise = b"MicroPython\r\n>>> \x1b[2J"
    file.write_bytes(noise + encode(m.encode(m.NOTE, 1, 2, {"text": "soft\x1b[31m \u00e9"})) + encode(b"\xc8zzzz"))
    lines = list(trace.decode_file(file))
    assert len(lines) == 3
    assert all(line.isprintable() for line in lines)
    assert any("that are no frame: MicroPython" in line for line in lines)
    assert any('text="soft [31m \u00e9"' in line for line in lines)
    assert any("200 is not known" in line for line in lines)


def test_torn_capture_is_read_up_to_the_tear(tmp_path):
    file = tmp_path / "torn.cap"
    frame = encode(m.encode(m.PING, 1, 2))
    for i in range(3):
        capture = trace.Capture(file)  # a reconnecting command adds to its capture
        capture(">", i, frame)
        capture.close()
    whole = file.read_bytes()
    assert whole.count(trace.MAGIC) == 1
    for cut in range(len(frame) + struct.calcsize("<cIH")):
        file.write_bytes(whole[: len(whole) - cut])
        lines = list(trace.decode_file(file))
        assert len([line for line in lines if "PING" in line]) == (3 if cut == 0 else 2)


def test_temperatures_and_ids_are_shown_for_a_person():
    payload = m.encode(m.TELEMETRY, 1, 0, {"probe_cdeg": m.NO_READING, "bench_cdeg": 2150, "left_s": -1})
    text = trace.message_text(payload)
    assert "probe_cdeg=none" in text and "bench_cdeg=2150" in text and "left_s=-1" in text
    assert "plan_id=0000002a" in trace.message_text(m.encode(m.STATE, 1, 1, {"plan_id": 42}))


@given(st.binary(max_size=600), st.sampled_from([">", "<", ""]))
def test_nothing_reaches_a_terminal_unescaped(octets, way):
    for line in trace.Tracer().lines(way, 5, octets + b"~" + encode(octets[:50] or b"x")):
        assert line.isprintable()


@given(st.text(max_size=400), st.integers(4, 200))
def test_plain_is_printable_and_short(text, cap):
    shown = trace.plain(text, cap)
    assert shown.isprintable() and len(shown) <= cap
