"""Each trouble with a port has its own sentence, with advice."""

from __future__ import annotations

import errno
import os
import threading

import pytest
import serial
from tourier.device import errors, ports
from tourier.device.client import Timer
from tourier.device.ports import Candidate, Port, candidates
from tourier.device.virtual.bridge import raw_pty


@pytest.fixture
def pty():
    master, slave, path = raw_pty()
    yield master, slave, path
    for fd in (master, slave):
        try:
            os.close(fd)
        except OSError:
            pass


def test_missing_port():
    with pytest.raises(errors.PortMissing, match="no port /dev/nothing-here: check the cable"):
        Port("/dev/nothing-here")


def test_refused_tcp_port():
    with pytest.raises(errors.PortMissing):
        Port("socket://127.0.0.1:9")


def test_busy_port(pty):
    first = Port(pty[2])
    with pytest.raises(errors.PortBusy, match="in use: close the other program"):
        Port(pty[2])
    first.close()
    Port(pty[2]).close()


def test_a_port_let_go_in_the_same_moment_is_had(pty):
    """The lock of a port lives on in a child process between fork and exec: opening waits for that moment."""
    first = Port(pty[2])
    letting_go = threading.Timer(0.3, first.close)
    letting_go.start()
    second = Port(pty[2])  # without waiting: PortBusy, as in the test above
    assert not letting_go.is_alive() or letting_go.finished.is_set()
    second.close()
    letting_go.join()


def test_nonsense_url():
    with pytest.raises(errors.PortProblem, match="check its name"):
        Port("nonsense://\x1b[31mred")


def raising(problem):
    def open_port(*_args, **_kwargs):
        raise problem

    return open_port


def test_denied_port_names_the_group(monkeypatch, tmp_path):
    node = tmp_path / "ttyACM0"
    node.touch(mode=0o660)
    node.chmod(0o660)
    import grp

    group = grp.getgrgid(node.stat().st_gid).gr_name
    problem = serial.SerialException(errno.EACCES, "could not open port: [Errno 13] Permission denied")
    monkeypatch.setattr(ports.serial, "serial_for_url", raising(problem))
    with pytest.raises(errors.PortDenied, match=f"usermod -aG {group} .*log out and in"):
        Port(str(node))
    with pytest.raises(errors.PortDenied, match="whoever looks after"):
        Port("/dev/not-a-node")


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("could not open port 'COM7': PermissionError(13, 'Access is denied.', None, 5)", errors.PortBusy),
        (
            "could not open port 'COM9': FileNotFoundError(2, 'No file', None, 2)",
            errors.PortMissing,
        ),
        ("Cannot configure port, something went wrong", errors.PortProblem),
    ],
)
def test_windows_reports_by_text_alone(monkeypatch, text, kind):
    """pyserial on Windows raises SerialException without errno; texts from memory of pyserial 3.5's serialwin32."""
    monkeypatch.setattr(ports.serial, "serial_for_url", raising(serial.SerialException(text)))
    with pytest.raises(kind):
        Port("COM7")


def test_vanishing_port(pty):
    port = Port(pty[2])
    os.close(pty[0])
    os.close(pty[1])
    with pytest.raises(errors.PortVanished, match="went away"):
        for _ in range(20):
            port.read(0.02)
    with pytest.raises(errors.PortVanished):
        for _ in range(20):
            port.write(b"x")
    port.close()
    with pytest.raises(errors.PortVanished):
        port.read(0.0)


def test_full_port_takes_nothing_and_does_not_wait(pty):
    port = Port(pty[2])
    taken = 0
    for _ in range(1000):
        count = port.write(b"x" * 1000)
        taken += count
        if not count:
            break
    assert 1000 < taken < 1_000_000
    assert port.write(b"x") == 0
    port.close()


def test_reading_returns_what_is_there(pty):
    port = Port(pty[2])
    assert port.read(0.0) == b""
    os.write(pty[0], b"abc\x00\x03\x11\x13\r\n\xff")
    assert port.read(1.0) == b"abc\x00\x03\x11\x13\r\n\xff"
    port.close()


class Info:
    def __init__(self, device, vid, pid, serial_number="E66"):
        self.device, self.vid, self.pid, self.serial_number, self.description = device, vid, pid, serial_number, "Board"


def test_discovery_looks_at_the_usb_id(monkeypatch):
    found = [Info("/dev/ttyS0", None, None), Info("/dev/ttyACM1", 0x2E8A, 5), Info("/dev/ttyACM0", 0x2E8A, 5)]
    found.append(Info("/dev/ttyUSB0", 0x0403, 0x6001))
    monkeypatch.setattr(ports.list_ports, "comports", lambda: found)
    assert [c.port for c in candidates()] == ["/dev/ttyACM0", "/dev/ttyACM1"]


def test_discovery_also_wants_a_hello(monkeypatch, board, record_property):
    record_property("interpreter", "micropython")
    bare, ours = board(program=False), board()
    listed = [Candidate("/dev/nothing-here", "", ""), Candidate(bare.port, "", ""), Candidate(ours.port, "", "")]
    monkeypatch.setattr("tourier.device.client.candidates", lambda: listed)
    with Timer.open() as timer:
        assert timer.info.firmware == "0.1.0"
    monkeypatch.setattr("tourier.device.client.candidates", lambda: listed[:2])
    with pytest.raises(errors.NoTimerFound, match="MicroPython prompt") as caught:
        Timer.open()
    assert [port for port, _ in caught.value.seen] == ["/dev/nothing-here", bare.port]
    monkeypatch.setattr("tourier.device.client.candidates", lambda: [])
    with pytest.raises(errors.NoTimerFound, match="carries data"):
        Timer.open()


def test_every_sentence_is_fit_for_a_terminal():
    nasty = "\x1b]0;owned\x07\u202e\n" * 50
    made = [
        errors.PortMissing(nasty),
        errors.PortBusy(nasty),
        errors.PortDenied(nasty, nasty),
        errors.PortVanished(nasty),
        errors.PortProblem(nasty, nasty),
        errors.NotOurDevice(nasty, True),
        errors.NotOurDevice(nasty, False),
        errors.NoTimerFound([(nasty, nasty)] * 9),
        errors.VersionMismatch((9, 9), (1, 0), nasty),
        errors.Refused(2, nasty, nasty),
        errors.LinkTimeout(nasty),
        errors.Restarted(nasty),
        errors.LogMismatch(),
    ]
    for problem in made:
        assert str(problem).isprintable() and 20 < len(str(problem)) < 1700
        assert str(problem).endswith(".") or str(problem).endswith("...)")
        assert isinstance(problem, errors.LinkError) and problem.partial == b""
