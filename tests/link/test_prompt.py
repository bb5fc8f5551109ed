"""Living with the prompt: the port is MicroPython's own console, and mpremote must always get through."""

from __future__ import annotations

import os
import select
import subprocess
import sys
import time

import pytest
from limits import PATIENCE_S
from tourier.device.client import Timer
from tourier.device.errors import NotOurDevice
from tourier.device.ports import Port

from shared_schedule import link_host
from shared_schedule import messages as m


def mpremote(port: str, *arguments: str) -> str:
    """Run mpremote on a port; `resume`, because the unix interpreter ends at a soft reset."""
    command = [sys.executable, "-m", "mpremote", "connect", port, "resume", *arguments]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def talk(fd: int, octets: bytes, wait_s: float = 0.25) -> bytes:
    """Write to a console and return what it says until it is quiet."""
    os.write(fd, octets)
    said = b""
    while select.select([fd], [], [], wait_s)[0]:
        said += os.read(fd, 4096)
    return said


def test_mpremote_gets_through_a_running_program(board, tmp_path, record_property):
    record_property("interpreter", "micropython")
    one = board(samples=20_480)
    with Timer.open(one.port) as timer:
        timer.collect(m.STREAM_SAMPLES)
    assert mpremote(one.port, "exec", "print(6*7)").strip() == "42"
    # The program is interrupted now, and a companion says so instead of waiting.
    with pytest.raises(NotOurDevice, match="MicroPython prompt") as found:
        Timer.open(one.port)
    assert f"device start --port {one.port}" in str(found.value)
    # mpremote left a raw prompt once, when it was killed: that one echoes nothing, and is known all the same.
    fd = os.open(one.port, os.O_RDWR | os.O_NOCTTY)
    assert talk(fd, b"\r\x01").endswith(b"raw REPL; CTRL-B to exit\r\n>")
    os.close(fd)
    with pytest.raises(NotOurDevice, match="MicroPython prompt"):
        Timer.open(one.port)
    # A file goes in and comes out whole, with every octet there is.
    payload = tmp_path / "all.bin"
    payload.write_bytes(bytes(range(256)) * 8)
    target = tmp_path / "on_board.bin"
    mpremote(one.port, "fs", "cp", str(payload), f":{target}")
    assert target.read_bytes() == payload.read_bytes()
    # Started again, the program serves again.
    one.restart()
    with Timer.open(one.port) as timer:
        assert timer.state().running == 0


@pytest.mark.parametrize("session", [link_host.quiet_session(i) for i in (0, 1234)])
def test_first_octets_do_no_harm_at_a_prompt(board, record_property, session):
    record_property("interpreter", "micropython")
    one = board(program=False)
    fd = os.open(one.port, os.O_RDWR | os.O_NOCTTY)
    try:
        talk(fd, b"\r")
        hello = link_host.hello_frame(session)
        said = talk(fd, hello * 3)
        assert b"\r\n" not in said  # nothing was run, the line is still being edited
        # Whoever presses Enter then gets one error line and the prompt, not a continuation.
        said = talk(fd, b"\r")
        assert b"SyntaxError" in said and said.endswith(b">>> ")
        assert b"42" in talk(fd, b"print(6*7)\r")
        # and mpremote gets through although half a line stands there
        talk(fd, hello)
    finally:
        os.close(fd)
    assert mpremote(one.port, "exec", "print(6*7)").strip() == "42"


def test_every_hello_is_printable():
    """All 2704 sessions, and the versions a later release may have."""
    for number in range(0, 52 * 52, 13):
        frame = link_host.hello_frame(link_host.quiet_session(number), 0, 1 + number % 4, number % 7)
        assert all(0x20 <= octet < 0x7F for octet in frame)
        assert not set(frame) & set(b"()[]{\\`") and b'"""' not in frame and b"'''" not in frame
        assert len(frame) % link_host.HELLO_BLOCK == 0


def test_no_interrupt_octet_is_ever_sent(board, record_property):
    record_property("interpreter", "micropython")
    one = board(samples=5120)
    sent: list[bytes] = []
    with Timer.open(
        one.port, watchers=(lambda way, _ms, octets: sent.append(octets) if way == ">" else None,)
    ) as timer:
        timer.send_plan(bytes(range(256)) * 8 + b"\x03" * 2000)
        timer.note("\x03\x03")
        timer.set_setting("\x03", b"\x03" * 64)
        for i in range(12):
            timer.command(m.ACTION_TICK, 3, 0x03030303 + i)
        timer.collect(m.STREAM_SAMPLES)
    assert sum(map(len, sent)) > 4000
    assert b"\x03" not in b"".join(sent)


def test_host_that_does_not_read_does_not_stall_the_day(board, record_property):
    record_property("interpreter", "micropython")
    one = board(samples=131_072)
    port = Port(one.port)
    host = link_host.HostSession(link_host.quiet_session(5))
    host.hello()
    started = time.monotonic()

    def pump(read: bool, seconds: float) -> None:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            now_ms = int((time.monotonic() - started) * 1000)
            out = host.output(now_ms)
            while out:
                out = out[port.write(out) :]
            if read:
                host.feed(port.read(0.01), now_ms)
                host.tick(now_ms)
                if not host.busy:
                    return
            else:
                time.sleep(0.01)

    pump(True, PATIENCE_S)
    host.fetch(m.STREAM_SAMPLES, 0, 131_072)
    for _ in range(14):  # 14 windows of 8 KiB: more than the pty, the cable and the interpreter hold together
        host._job.reads = []
        host._job._ask(host)
        pump(False, 0.25)
    host.cancel()
    port.close()
    with Timer.open(one.port) as timer:
        counters = timer.device_counters()
    assert counters["telemetry_dropped"] >= 1
    assert counters["loop_worst_ms"] < 1500, counters  # of the 3.5 s in which nobody read
