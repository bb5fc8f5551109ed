"""The client against a DeviceSession on a real MicroPython interpreter, over a pty and over TCP."""

from __future__ import annotations

import os
import socket
import threading
import time

import pytest
from limits import wait_for
from line_faults import LineFaults
from model_timer import ModelTimer
from tourier.device import client as client_module
from tourier.device.client import Timer, project_now
from tourier.device.errors import (
    LinkError,
    LinkTimeout,
    NotOurDevice,
    PortVanished,
    Refused,
    Restarted,
    VersionMismatch,
)
from tourier.device.virtual.bridge import raw_pty

from shared_schedule import messages as m
from shared_schedule import plan as plans
from shared_schedule.link import DeviceSession


def test_the_whole_conversation(board, record_property):
    record_property("interpreter", "micropython")
    one = board(samples=20_480)
    with Timer.open(
        one.port,
    ) as timer:
        assert timer.info.board_id == b"MODEL\x03}~".hex()
        assert timer.info.protocol == (m.PROTOCOL_MAJOR, m.PROTOCOL_MINOR)
        assert timer.info.samples_octets == 20_480 and not timer.warnings
        data = os.urandom(4000)
        seen = []
        assert timer.send_plan(data, lambda done, total: seen.append((done, total))) is True
        assert timer.send_plan(data) is False
        assert timer.hello().plan_id == plans.plan_id(data)
        assert seen and seen[-1][1] == 4000
        assert timer.collect(m.STREAM_PLAN) == data
        samples = timer.collect(m.STREAM_SAMPLES)
        assert samples == bytes([(i * i + i // 7) & 0xFF for i in range(256)]) * 80
        report = timer.state()
        assert report.plan_id == plans.plan_id(data) and report.focus is None and len(report.past.steps) == 3
        timer.command(m.ACTION_STEP_DONE, 3)
        with pytest.raises(Refused, match="no action 99"):
            timer.command(99)
        timer.note("butter soft\x1b[31m")
        timer.set_setting("beep", b"\x01")
        assert timer.setting("beep") == b"\x01"
        with pytest.raises(Refused, match="no setting"):
            timer.setting("boop")
        assert timer.device_counters()["frames_in"] > 10
        assert timer.self_test() == (True, ["display ok", "probe ok"])
        heard = list(timer.telemetry(2.2))
        assert 1 <= len(heard) <= 3 and heard[0]["probe_cdeg"] == m.NO_READING
        assert timer.counters["resent"] == 0 and timer.counters["damaged"] == 0


def test_clock_is_set_within_the_round_trip(board, record_property):
    record_property("interpreter", "micropython")
    one = board(bits_per_s=19_200)
    with Timer.open(one.port) as timer:
        assert not timer.info.clock_ok
        before = timer.read_clock()
        assert before.error_s < -1e8 and not before.ok
        after = timer.set_clock(offset_min=-90)
        assert after.ok and after.offset_min == -90
        # The model's clock stands still once set, so it lags by the time passed since: at most a few round trips.
        assert abs(after.error_s) < 12 * after.within_s + 0.1
        assert 0.005 < after.within_s < 0.1


def test_clock_correction_removes_the_way_there(monkeypatch):
    """With a way of 0.2 s each, the device's clock is set right, not 0.2 s late."""
    clock = {"now": 1000.0, "device": 0.0}
    timer = Timer.__new__(Timer)

    def ask(number, values=None, **_):
        clock["now"] += 0.2
        if number == m.CLOCK_SET:
            clock["device"] = values["now_s"] + values["ms"] / 1000 - clock["now"]
        said = clock["now"] + clock["device"]
        clock["now"] += 0.2
        return {"now_s": int(said), "ms": int((said - int(said)) * 1000), "offset_min": 0, "ok": 1}

    monkeypatch.setattr(timer, "_ask", ask)
    reading = timer.set_clock(lambda: clock["now"])
    assert abs(clock["device"]) < 0.002
    assert abs(reading.error_s) < 0.002 and reading.within_s == pytest.approx(0.2, abs=1e-6)


def test_project_now_is_this_century():
    # Independent: 2020-01-01T00:00Z is 1577836800 in Unix time (date -u -d 2020-01-01 +%s).
    before_s = time.time()
    assert before_s <= project_now() + 1_577_836_800 <= time.time()


def test_pulled_cable_is_reported_and_repeating_goes_on(board, record_property):
    record_property("interpreter", "micropython")
    one = board(samples=30_720, bits_per_s=115_200)
    whole = bytes([(i * i + i // 7) & 0xFF for i in range(256)]) * 120
    with Timer.open(one.port) as timer:
        threading.Thread(target=lambda: (wait_for(lambda: one.bridge.octets[1] > 6000), one.bridge.pull())).start()
        with pytest.raises(PortVanished, match="repeat the command") as caught:
            timer.collect(m.STREAM_SAMPLES)
    kept = caught.value.partial
    assert 1000 < len(kept) < len(whole) and whole.startswith(kept)
    time.sleep(0.3)  # what the board still had to say goes nowhere
    one.bridge.plug()
    before = one.bridge.octets[1]
    with Timer.open(one.port) as timer:
        assert timer.collect(m.STREAM_SAMPLES, into=kept) == whole
    assert one.bridge.octets[1] - before < (len(whole) - len(kept)) * 1.1 + 1500


def test_wrong_octets_kept_from_before_are_fetched_again(board, record_property):
    record_property("interpreter", "micropython")
    one = board(samples=5120)
    with Timer.open(one.port) as timer:
        whole = timer.collect(m.STREAM_SAMPLES)
        assert timer.collect(m.STREAM_SAMPLES, into=b"another batch's octets") == whole
        assert timer.collect(m.STREAM_SAMPLES, into=whole) == whole


def test_pulled_cable_during_a_plan(board, record_property):
    record_property("interpreter", "micropython")
    one = board(bits_per_s=115_200)
    data = os.urandom(8000)
    with Timer.open(one.port) as timer:
        threading.Timer(0.3, one.bridge.pull).start()
        with pytest.raises(PortVanished):
            timer.send_plan(data)
    one.bridge.plug()
    with Timer.open(one.port) as timer:
        assert timer.info.plan_id == 0
        assert timer.send_plan(data) is True
        assert timer.collect(m.STREAM_PLAN) == data


def test_over_a_bad_line(board, record_property):
    """The real interpreter behind a line with bit errors, losses and doubles: slower, but whole."""
    record_property("interpreter", "micropython")
    faults = LineFaults(seed=11, bit_errors=2e-5, lost=0.03, doubled=0.03, reordered=0.02)
    one = board(samples=10_240, faults=faults, bits_per_s=921_600)
    whole = bytes([(i * i + i // 7) & 0xFF for i in range(256)]) * 40
    data = os.urandom(2000)
    with Timer.open(one.port) as timer:
        assert timer.send_plan(data) is True
        assert timer.collect(m.STREAM_PLAN) == data
        assert timer.collect(m.STREAM_SAMPLES) == whole
        for step_id in range(10):
            timer.command(m.ACTION_STEP_DONE, step_id)
    assert all(faults.fired[name] for name in ("bit_error", "lost", "doubled", "reordered")), faults.fired


def test_restart_in_the_middle_is_told(board, record_property):
    record_property("interpreter", "micropython")
    one = board(samples=61_440, bits_per_s=115_200)
    with Timer.open(one.port) as timer:
        threading.Timer(0.5, one.restart).start()
        with pytest.raises(Restarted, match="restarted while"):
            timer.collect(m.STREAM_SAMPLES)
        timer.hello()
        assert timer.state().running == 0


def test_nobody_there(monkeypatch):
    monkeypatch.setattr("shared_schedule.link_host.HELLO_TRIES", 4)
    master, slave, path = raw_pty()
    try:
        with pytest.raises(NotOurDevice, match="answers like a bench timer"):
            Timer.open(path)
    finally:
        os.close(master)
        os.close(slave)


def test_bare_prompt_is_named(board, record_property):
    record_property("interpreter", "micropython")
    one = board(program=False)
    wait_for(lambda: one.bridge.octets[1])  # its greeting
    with pytest.raises(NotOurDevice, match="MicroPython prompt") as caught:
        Timer.open(one.port)
    assert caught.value.prompt


class Loop:
    """A timer in this process behind a TCP port, for pyserial's socket:// URL."""

    def __init__(self, handler) -> None:
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.url = f"socket://127.0.0.1:{self.listener.getsockname()[1]}"
        self.session = DeviceSession(handler)
        self.stop = False
        self.mute = False
        self.thread = threading.Thread(target=self.run, daemon=True)
        self.thread.start()

    def run(self) -> None:
        while not self.stop:
            self.listener.settimeout(0.1)
            try:
                link, _ = self.listener.accept()
            except TimeoutError:
                continue
            link.settimeout(0.005)
            while not self.stop:
                now_ms = int(time.monotonic() * 1000)
                try:
                    octets = link.recv(4096)
                    if not octets:
                        break
                    self.session.feed(octets, now_ms)
                except TimeoutError:
                    pass
                except OSError:
                    break
                self.session.tick(now_ms)
                while not self.mute and (out := self.session.output(now_ms)):
                    link.sendall(out)
                    self.session.sent(len(out))
            link.close()
            self.session.disconnected()

    def close(self) -> None:
        self.stop = True
        self.thread.join()
        self.listener.close()


@pytest.fixture
def loop():
    made = []

    def make(handler=None):
        made.append(Loop(handler or ModelTimer()))
        return made[-1]

    yield make
    for one in made:
        one.close()


def test_over_tcp(loop):
    timer = ModelTimer()
    timer.streams[m.STREAM_JOURNAL] = os.urandom(50_000)
    one = loop(timer)
    with Timer.open(one.url) as link:
        data = os.urandom(3000)
        assert link.send_plan(data) and timer.plan == data
        assert link.collect(m.STREAM_JOURNAL) == timer.streams[m.STREAM_JOURNAL]
        timer.first[m.STREAM_JOURNAL] = 1234
        assert link.collect(m.STREAM_JOURNAL) == timer.streams[m.STREAM_JOURNAL][1234:]
        assert link.log_start == 1234
        link.drop(timer.plan_id, m.STREAM_JOURNAL, 2000)
        assert timer.effects[-1] == ("drop", m.STREAM_JOURNAL, 2000)


def test_tcp_peer_that_hangs_up(loop):
    one = loop()
    with Timer.open(one.url) as link:
        one.close()
        with pytest.raises(PortVanished):
            for _ in range(3):
                link.state()


def test_url_handlers_that_cannot_be_polled():
    """pyserial's loop:// has no descriptor, as a Windows port has none; it echoes, so what is there is no timer."""
    with pytest.raises(NotOurDevice):
        Timer.open("loop://")


def test_other_versions(loop, monkeypatch):
    one = loop()
    monkeypatch.setattr(client_module.m, "PROTOCOL_MINOR", 5)
    # Both ends are in this process and share the table, so the reply is bent on its way instead.
    bent = {"major": 1, "minor": 4}
    real = Timer._check_version
    monkeypatch.setattr(Timer, "_check_version", lambda self, values: real(self, {**values, **bent}))
    with Timer.open(one.url) as link:
        assert len(link.warnings) == 1 and "1.4" in link.warnings[0]
    bent["major"] = 7
    bent["firmware"] = "9.9\x1b]0;x\x07"
    with pytest.raises(VersionMismatch, match=r"7\.4.*update the companion") as caught:
        Timer.open(one.url)
    assert str(caught.value).isprintable()


def test_silence_in_the_middle(loop, monkeypatch):
    one = loop()
    monkeypatch.setattr("shared_schedule.link_host.HELLO_TRIES", 2)
    with Timer.open(one.url) as link:
        one.mute = True
        with pytest.raises(LinkTimeout, match="stopped answering"):
            link.state()
        one.mute = False
        assert link.hello()


def test_text_from_the_device_is_harmless(loop):
    timer = ModelTimer()
    timer.refuse_plan = "no\x1b[2J\x07\u202e more " * 20
    one = loop(timer)
    with Timer.open(one.url) as link:
        with pytest.raises(Refused) as caught:
            link.send_plan(b"x" * 50)
        assert str(caught.value).isprintable() and len(str(caught.value)) < 200
        assert isinstance(caught.value, LinkError)
