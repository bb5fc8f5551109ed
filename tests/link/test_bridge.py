"""The cable of the virtual timer does what a cable does: rate, pulling, faults, nothing lost or changed otherwise."""

from __future__ import annotations

import os
import select
import time

import pytest
from limits import PATIENCE_S, Metronome
from line_faults import LineFaults
from tourier.device.ports import Port
from tourier.device.virtual.bridge import Bridge, raw_pty


class Device:
    """The interpreter's side of a cable, played by the test."""

    def __init__(self, **options) -> None:
        self.master, self.slave, _ = raw_pty()
        os.set_blocking(self.slave, False)
        self.bridge = Bridge(self.master, **options)

    def say(self, octets: bytes) -> None:
        while octets:
            select.select([], [self.slave], [], 1)
            octets = octets[os.write(self.slave, octets) :]

    def hear(self, count: int) -> bytes:
        heard = b""
        end = time.monotonic() + PATIENCE_S
        while len(heard) < count and time.monotonic() < end:
            if select.select([self.slave], [], [], 0.05)[0]:
                heard += os.read(self.slave, 4096)
        return heard

    def close(self) -> None:
        self.bridge.close()
        os.close(self.master)
        os.close(self.slave)


@pytest.fixture
def cable():
    made = []

    def make(**options):
        made.append(Device(**options))
        return made[-1]

    yield make
    for one in made:
        one.close()


def listen(port: Port, count: int) -> bytes:
    heard = b""
    end = time.monotonic() + PATIENCE_S
    while len(heard) < count and time.monotonic() < end:
        heard += port.read(0.05)
    return heard


def test_every_octet_both_ways(cable):
    seen = []
    one = cable(capture=lambda way, ms, octets: seen.append((way, octets)))
    port = Port(one.bridge.port)
    every = bytes(range(256)) * 20
    one.say(every)
    assert listen(port, len(every)) == every
    out = every
    while out:
        out = out[port.write(out) :]
    assert one.hear(len(every)) == every
    one.bridge.close()  # the mover counts after it has moved
    assert one.bridge.octets == (len(every), len(every))
    for way in "><":
        assert b"".join(octets for direction, octets in seen if direction == way) == every
    port.close()


@pytest.mark.parametrize("bits_per_s", [9600, 115_200])
def test_line_rate(cable, bits_per_s):
    """8N1: ten bits an octet. Never faster; slower by no more than a busy machine's scheduling."""
    one = cable(bits_per_s=bits_per_s)
    port = Port(one.bridge.port)
    count = bits_per_s // 10  # one second's worth
    rest = count - min(count, 4000)
    started = time.monotonic()
    with Metronome() as machine:
        one.say(b"x" * min(count, 4000))
        heard = listen(port, 4000 if rest else count)
        while rest:
            part = min(rest, 4000)
            one.say(b"x" * part)
            heard += listen(port, part)
            rest -= part
    took_s = time.monotonic() - started
    assert len(heard) == count
    assert took_s >= 0.99 and machine.seconds < 1.6
    port.close()


def test_pulling_and_plugging(cable):
    one = cable()
    name = one.bridge.port
    port = Port(name)
    one.say(b"before")
    assert listen(port, 6) == b"before"
    one.bridge.pull()
    assert not one.bridge.plugged and not os.path.exists(name)
    one.say(b"into the void")
    time.sleep(0.3)
    one.bridge.plug()
    assert one.bridge.port == name and one.bridge.plugged
    again = Port(name)
    one.say(b"after")
    assert listen(again, 5) == b"after"
    again.close()
    port.close()


def test_another_interpreter_on_the_same_cable(cable):
    one, other = cable(), cable()
    port = Port(one.bridge.port)
    one.bridge.attach(other.master)
    other.bridge.close()
    other.say(b"restarted")
    assert listen(port, 9) == b"restarted"
    port.close()


def test_faults_are_seeded_and_counted():
    """The same seed gives the same faults; every kind fires; rates are what was asked for (within 5 sigma)."""

    def run(seed):
        faults = LineFaults(seed=seed, bit_errors=1e-3, lost=0.05, doubled=0.05, reordered=0.05, stalled=0.05)
        out = [faults.apply("<", b"x" * 100) for _ in range(2000)]
        return out, faults.fired

    first, fired = run(3)
    assert run(3) == (first, fired)
    assert run(4)[0] != first
    for kind in ("lost", "doubled", "stalled"):
        assert 50 < fired[kind] < 150, fired  # 100 expected, sigma about 10
    assert 1300 < fired["bit_error"] < 1750, fired  # 2000 x 0.95 x 800 bits x 1e-3 = 1520, sigma 39
    assert fired["reordered"] > 40
    assert sum(stall_s for _, stall_s in first) > 0


def test_reordered_octets_are_not_lost():
    faults = LineFaults(seed=1, reordered=0.3)
    sent = [bytes((i,)) for i in range(200)]
    got = []
    for part in sent:
        got += faults.apply(">", part)[0]
    got += faults.flush(">")
    assert sorted(got) == sent and got != sent
