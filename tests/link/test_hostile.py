"""A hostile peer: oversize, deep, lying or rude. Refused, named, state intact; nothing unescaped for the terminal."""

from __future__ import annotations

import os
import struct
import threading
import time

import pytest
from model_timer import ModelTimer
from tourier.device.client import Timer
from tourier.device.errors import BadAnswer, LinkError, LogMismatch, NotOurDevice
from tourier.device.virtual.bridge import raw_pty

from shared_schedule import link_host as lh
from shared_schedule import messages as m
from shared_schedule.framing import Deframer, encode
from shared_schedule.link import DeviceSession


class Device:
    """A device session that was greeted, and what it answers."""

    def __init__(self) -> None:
        self.timer = ModelTimer()
        self.session = DeviceSession(self.timer)
        self.host = lh.quiet_session(3)
        self.seq = 0
        self.send(lh.hello_frame(self.host))

    def send(self, octets: bytes) -> list[tuple]:
        self.session.feed(octets, 0)
        answers = []
        while self.session.pending() and (out := self.session.output(0)):
            self.session.sent(len(out))
            answers += [m.decode(payload) for payload in Deframer(m.HOST_CAP).feed(out)]
            self.session.tick(0)
        return answers

    def raw(self, number: int, body: bytes) -> list[tuple]:
        self.seq += 1
        return self.send(encode(struct.pack(m.HEADER, number, self.host, self.seq) + body))

    def untouched(self) -> bool:
        return not self.timer.effects and not self.timer.plan and self.session._last_seq == 0


ILLEGAL = {
    "note longer than its cap": (m.NOTE, b"\xff" + b"x" * 255),
    "note cut short": (m.NOTE, b"\x20abc"),
    "note that is no text": (m.NOTE, b"\x02\xc3\x28"),
    "setting with a key beyond the cap": (m.SETTING_SET, b"\x19" + b"k" * 25 + b"\x00"),
    "setting with a value beyond the cap": (m.SETTING_SET, b"\x01k\x41" + b"v" * 65),
    "command cut short": (m.COMMAND, b"\x02\x01\x00"),
    "plan part beyond the cap": (m.PLAN_DATA, bytes(9) + b"x" * 1001),
    "message number that is not there": (200, b"anything"),
    "empty command": (m.COMMAND, b""),
}


@pytest.mark.parametrize("name", ILLEGAL)
def test_illegal_requests_are_refused_and_named(name):
    device = Device()
    answers = device.raw(*ILLEGAL[name])
    assert device.untouched()
    for number, _session, seq, values in answers:
        assert number == m.RESULT and seq == device.seq
        assert values["code"] in (m.BAD_VALUE, m.UNKNOWN) and values["text"].isprintable()
    assert answers or name == "plan part beyond the cap"  # longer than any frame the device takes
    assert device.raw(m.COMMAND, struct.pack("<BBi", 2, 1, 0))[0][3]["code"] == m.OK


def test_nested_frames_and_escapes():
    """A frame in a frame in a frame, and escapes of escapes: only data."""
    device = Device()
    inner = m.encode(m.COMMAND, device.host, 1, {"action": 2})
    for _ in range(4):
        inner = m.encode(m.NOTE, device.host, 1, {"text": "x"})[:5] + encode(inner)
    device.send(encode(inner))
    device.send(b"~" + b"}" * 2000 + b"~")
    device.send(b"~" + b"}]" * 600 + b"~")
    assert device.untouched()


def test_plan_that_would_fill_the_flash():
    device = Device()
    device.timer.room = 2000
    for length in (2001, 12_288, 1 << 31, 0xFFFFFFFF):
        answer = device.raw(m.PLAN_OFFER, struct.pack("<III", 9, length, 0))[0][3]
        assert answer["code"] == m.TOO_LARGE and str(length) in answer["text"]
        assert device.session._plans.pull is None
    assert device.raw(m.PLAN_OFFER, struct.pack("<III", 9, 0, 0))[0][3]["code"] == m.BAD_VALUE
    assert device.untouched()


def test_plan_parts_nobody_asked_for():
    device = Device()
    assert device.raw(m.PLAN_DATA, struct.pack("<IIB", 9, 0, 0) + b"x" * 100) == []
    assert device.untouched()


def test_ranges_outside_a_log():
    device = Device()
    device.timer.streams[m.STREAM_SAMPLES] = b"x" * 100
    for offset, length in ((0, 101), (101, 0), (0xFFFFFFFF, 0xFFFFFFFF), (0, 0xFFFFFFFF)):
        read = device.raw(m.LOG_READ, struct.pack("<BBIIH", 2, 0, offset, length, 65535))
        assert [values["code"] for _, _, _, values in read] == [m.BAD_VALUE]
        total = device.raw(m.LOG_SUM, struct.pack("<BII", 2, offset, length))
        assert [values["code"] for _, _, _, values in total] == [m.BAD_VALUE]
    whole = device.raw(m.LOG_READ, struct.pack("<BBIIH", 2, 0, 0, 100, 65535))
    assert [number for number, *_ in whole] == [m.LOG_DATA, m.LOG_END]


def test_commands_for_somebody_else():
    device = Device()
    for session in (0, 0xFFFF, device.host ^ 1):
        frame = encode(m.encode(m.COMMAND, session, 1, {"action": 2}))
        assert device.send(frame) == []
    assert device.untouched()


class Liar:
    """A device that answers as it is told to."""

    def __init__(self, answer) -> None:
        self.master, self.slave, self.path = raw_pty()
        self.answer = answer
        self.stop = False
        self.thread = threading.Thread(target=self.run, daemon=True)
        self.thread.start()

    def run(self) -> None:
        deframer = Deframer(m.HOST_CAP)
        while not self.stop:
            try:
                octets = os.read(self.master, 4096)
            except BlockingIOError:
                time.sleep(0.002)
                continue
            except OSError:
                return
            for payload in deframer.feed(octets):
                number, session, seq, values = m.decode(payload)
                if number == m.HELLO:
                    out = encode(m.encode(m.HELLO_REPLY, session, seq, {"major": 1, "boot_id": 1}))
                else:
                    out = self.answer(number, session, seq, values)
                if out:
                    os.write(self.master, out)

    def close(self) -> None:
        self.stop = True
        self.thread.join()
        os.close(self.master)
        os.close(self.slave)


@pytest.fixture
def liar():
    made = []

    def make(answer):
        made.append(Liar(answer))
        return made[-1].path

    yield make
    for one in made:
        one.close()


def test_device_that_claims_a_log_of_gigabytes(liar):
    claims = iter([(0, 0xFFFFFFFF), (5, 4), (0, m.LOG_MAX + 1)])

    def answer(number, session, seq, values):
        first, end = next(claims)
        return encode(m.encode(m.LOG_INFO_REPLY, session, seq, {"stream": 2, "first": first, "end": end}))

    with Timer.open(liar(answer)) as timer:
        for _ in range(3):
            with pytest.raises(BadAnswer, match="cannot be"):
                timer.collect(2)


def test_device_that_answers_another_question(liar):
    def answer(number, session, seq, values):
        return encode(m.encode(m.RESULT, session, seq, {"code": m.OK}))

    with Timer.open(liar(answer)) as timer:
        for call in (timer.state, timer.device_counters, lambda: timer.extent(2), lambda: timer.setting("beep")):
            with pytest.raises(BadAnswer, match="RESULT to"):
                call()


def test_device_that_sends_octets_outside_the_range(liar):
    """Frames that lie about their place never grow what the host set aside; the log is then not complete."""

    def answer(number, session, seq, values):
        if number == m.LOG_INFO:
            return encode(m.encode(m.LOG_INFO_REPLY, session, seq, {"stream": 2, "end": 100}))
        if number == m.LOG_READ:
            wild = [
                encode(m.encode(m.LOG_DATA, session, seq, {"offset": at, "data": b"x" * 60})) for at in (60, 1 << 31)
            ]
            good = encode(m.encode(m.LOG_DATA, session, seq, {"offset": 0, "data": b"y" * 100}))
            return b"".join(wild) + good
        return encode(m.encode(m.LOG_SUM_REPLY, session, seq, {"stream": 2, "end": 100, "crc32": 1}))

    with Timer.open(liar(answer)) as timer:
        with pytest.raises(LogMismatch):
            timer.collect(2)
        assert timer.counters["illegal"] == 2


def test_device_that_talks_control_characters(liar):
    def answer(number, session, seq, values):
        text = "\x1b]0;pwned\x07\x9b31m\u202e"
        return encode(m.encode(m.RESULT, session, seq, {"code": m.REFUSED, "text": text})) + b"\x1b[2J"

    with Timer.open(liar(answer)) as timer:
        with pytest.raises(LinkError) as caught:
            timer.note("hello")
        assert str(caught.value).isprintable()


def test_crashed_program_is_named():
    """What it last said stands in the sentence, fit for a terminal."""
    master, slave, path = raw_pty()
    said = b"Traceback (most recent call last):\r\n  File x\r\nOSError: flash \x1b[31m worn out\r\n>>> "

    def crash() -> None:
        while True:
            try:
                os.read(master, 4096)
                break
            except BlockingIOError:
                time.sleep(0.005)
        os.write(master, said)

    thread = threading.Thread(target=crash, daemon=True)
    thread.start()
    try:
        with pytest.raises(NotOurDevice, match="it said: OSError: flash .*worn out") as caught:
            Timer.open(path)
        assert str(caught.value).isprintable() and caught.value.prompt
    finally:
        thread.join()
        os.close(master)
        os.close(slave)


def test_terminal_that_only_echoes(liar):
    """A modem or a shell that sends everything back is no timer."""
    master, slave, path = raw_pty()
    stop = threading.Event()

    def echo() -> None:
        while not stop.is_set():
            try:
                os.write(master, os.read(master, 4096))
            except BlockingIOError:
                time.sleep(0.005)

    thread = threading.Thread(target=echo, daemon=True)
    thread.start()
    try:
        with pytest.raises(NotOurDevice):
            Timer.open(path)
    finally:
        stop.set()
        thread.join()
        os.close(master)
        os.close(slave)
