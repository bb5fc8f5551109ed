"""Two sessions and a bad line in one process, in simulated time: thousands of transfers a minute, all seeded."""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field

from line_faults import LineFaults

from shared_schedule import link_host as lh
from shared_schedule import messages as m
from shared_schedule.link import DeviceSession

OCTET_MS = 10_000 / 115_200  # 8N1 at 115200
WAY_MS = 1.0  # USB or UART driver, each way
STEP_MS = 4


@dataclass
class Line:
    """One direction: octets leave at line rate, in chunks, through the faults."""

    direction: str
    faults: LineFaults
    chunk: int
    free_ms: float = 0.0
    flying: list = field(default_factory=list)
    count: int = 0

    def send(self, octets: bytes, now_ms: float) -> None:
        for at in range(0, len(octets), self.chunk):
            part = octets[at : at + self.chunk]
            self.free_ms = max(self.free_ms, now_ms) + len(part) * OCTET_MS
            parts, stall_s = self.faults.apply(self.direction, part)
            self.free_ms += stall_s * 1000
            for one in parts:
                self._fly(one)

    def _fly(self, part: bytes) -> None:
        self.count += 1
        heapq.heappush(self.flying, (self.free_ms + WAY_MS, self.count, part))

    def arrived(self, now_ms: float) -> bytes:
        if not self.flying:
            for part in self.faults.flush(self.direction):
                self._fly(part)
        got = b""
        while self.flying and self.flying[0][0] <= now_ms:
            got += heapq.heappop(self.flying)[2]
        return got

    def cut(self) -> None:
        self.flying.clear()


class Bench:
    """A device with a handler, a host, and the line between them."""

    def __init__(self, handler, faults: LineFaults | None = None, chunk: int = 64, session: int = 1) -> None:
        self.handler = handler
        self.faults = faults or LineFaults()
        self.device = DeviceSession(handler)
        self.up, self.down = Line(">", self.faults, chunk), Line("<", self.faults, chunk)
        self.now_ms = 0
        self.sessions = session
        self.connected = False
        self.pull_after: int | None = None  # octets of this connection after which the cable comes out
        self.octets = 0
        self.pulls = 0
        self.connect()

    def connect(self) -> None:
        """Plug in: a new connection, as a repeated command makes it."""
        self.sessions += 1
        self.host = lh.HostSession(lh.quiet_session(self.sessions * 7919))
        self.connected = True
        self.octets = 0

    def pull(self) -> None:
        self.pulls += 1
        self.connected = False
        self.pull_after = None
        self.up.cut()
        self.down.cut()
        self.faults.forget()
        self.device.disconnected()

    def restart(self) -> None:
        """Cut the device's power: its session forgets, the handler's flash does not."""
        self.handler.boot_id += 1
        self.device = DeviceSession(self.handler)
        self.down.cut()

    def step(self) -> list[lh.Event]:
        now_ms = self.now_ms
        if self.up.free_ms <= now_ms + STEP_MS and (out := self.host.output(now_ms & 0x3FFFFFFF)):
            self.octets += len(out)
            self.up.send(out, now_ms)
        if got := self.up.arrived(now_ms):
            self.device.feed(got, now_ms & 0x3FFFFFFF)
        self.device.tick(now_ms & 0x3FFFFFFF)
        if self.down.free_ms <= now_ms + STEP_MS and (out := self.device.output(now_ms & 0x3FFFFFFF)):
            self.octets += len(out)
            self.down.send(bytes(out), now_ms)
            self.device.sent(len(out))
        if got := self.down.arrived(now_ms):
            self.host.feed(got, now_ms & 0x3FFFFFFF)
        self.host.tick(now_ms & 0x3FFFFFFF)
        self.now_ms += STEP_MS
        if self.pull_after is not None and self.octets >= self.pull_after:
            self.pull()
        return self.host.events()

    def run(self, limit_s: float = 600) -> lh.Event | None:
        """Until the host's job ends (its last event), or the cable is out (None)."""
        end = self.now_ms + limit_s * 1000
        while self.now_ms < end:
            for event in self.step():
                if event.kind in (lh.DONE, lh.FAILED):
                    return event
            if not self.connected:
                return None
        raise AssertionError(f"no end after {limit_s} simulated seconds")

    # -- what a person does: repeat the command until it says done ---------------------------------------------

    def persist(self, start, tries: int = 30) -> tuple[lh.Event, int]:
        """Connect, greet, start(host); repeat after failure. Returns (DONE event, connections used)."""
        for attempt in range(1, tries + 1):
            if attempt > 1:
                self.connect()
            self.host.hello()
            event = self.run()
            if event is None or event.kind != lh.DONE:
                continue
            start(self.host)
            event = self.run()
            if event is not None and event.kind == lh.DONE:
                return event, attempt
        raise AssertionError(f"not done in {tries} connections")

    def send_plan(self, data: bytes, plan_id: int) -> int:
        event, attempts = self.persist(lambda host: host.send_plan(plan_id, data))
        assert event.values["code"] in (m.OK, m.ALREADY), event
        return attempts

    def fetch(self, stream: int, end: int) -> tuple[bytes, int]:
        """Fetch, resuming with what arrived before."""
        kept = b""

        def start(host) -> None:
            nonlocal kept
            if self.host_before is not None:
                kept += self.host_before.take_log()[1]
            self.host_before = host
            host.fetch(stream, len(kept), end)

        self.host_before = None
        _event, attempts = self.persist(start)
        return kept + self.host.take_log()[1], attempts
