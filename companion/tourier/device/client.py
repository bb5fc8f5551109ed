"""The bench timer as plain calls: open, hello, send a plan, ask for the state, collect logs, set the clock.

Blocking and single-threaded: one thread uses one Timer. All protocol lives in shared_schedule.link_host; this module
moves octets between it and a port, and turns its events into return values and the exceptions of errors.py.
"""

from __future__ import annotations

import binascii
import random
import struct
import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from shared_schedule import link_host, link_rules, plan
from shared_schedule import messages as m
from shared_schedule.history import History
from shared_schedule.states import DAY_RUNNING
from shared_schedule.units import EPOCH_UNIX_S
from tourier.device.errors import (
    BadAnswer,
    LinkError,
    LinkTimeout,
    LogMismatch,
    NoTimerFound,
    NotOurDevice,
    Refused,
    Restarted,
    VersionMismatch,
    plain,
)
from tourier.device.ports import Port, candidates
from tourier.device.trace import Capture

Progress = Callable[[int, int], None]
Watcher = Callable[[str, int, bytes], None]

_IDLE_S = 0.02  # the session's timers need a tick at least every 50 ms
_STUCK_S = 5.0  # a port that takes nothing for this long is given up; the device reads at least every second
_RAW_S = 0.7  # a raw prompt answers Ctrl-B at once
_TELEMETRY_KEPT = 64
_CLOCK_ROUNDS = 5  # the shortest of five round trips bounds the error by half of it
_CODE_NAMES = dict(m.CODES)


@dataclass(frozen=True)
class DeviceInfo:
    """What the device said of itself. `plan_id` 0: it holds no plan. Texts are fit for a terminal."""

    protocol: tuple[int, int]
    firmware: str
    board_id: str
    boot_id: int
    plan_id: int
    running: bool
    clock_ok: bool
    heap_free: int
    journal_octets: int
    samples_octets: int


@dataclass(frozen=True)
class DayReport:
    """The running day. `focus` is a step index, None = none; of `past` the device tells states, beginnings and ends."""

    plan_id: int
    at_s: int
    running: int
    focus: int | None
    alarm: int
    fault: int
    past: History


@dataclass(frozen=True)
class ClockReading:
    """The device's clock against this computer's. `error_s` device minus host, right within `within_s`."""

    error_s: float
    within_s: float
    offset_min: int
    ok: bool


def project_now() -> float:
    """Return this computer's time in seconds since 2020-01-01T00:00Z."""
    return time.time() - EPOCH_UNIX_S


class Timer:
    """A connection. Use as `with Timer.open(port) as timer:`; hello() has been done when open() returns.

    Attributes: info (DeviceInfo), warnings (sentences to be shown once), noise (last octets that were no frame).
    """

    def __init__(self, port: Port, watchers: tuple[Watcher, ...] = (), seed: int | None = None) -> None:
        self._port = port
        self._watchers = watchers
        self._host = link_host.HostSession(link_host.quiet_session(random.Random(seed).randrange(52 * 52)))
        self._started = time.monotonic()
        self._recorder: Capture | None = None
        self._out = b""
        self._taken_at = self._started
        self._telemetry: deque[dict] = deque(maxlen=_TELEMETRY_KEPT)
        self._prompt = False
        self.info: DeviceInfo | None = None
        self.warnings: list[str] = []
        self.noise = b""
        self.log_start = 0

    @classmethod
    def open(
        cls, url: str | None = None, capture: Path | None = None, watchers: tuple[Watcher, ...] = (), greet: bool = True
    ) -> Timer:
        """Open a port (None: search for a timer) and say hello.

        `capture`: file that receives every octet, for `tourier link decode`; one that exists is added to.
        `watchers`: called with (direction, ms, octets). Raises the classes of errors.py.
        """
        if url is None:
            return cls._search(capture, watchers)
        port = Port(url)
        recorder = None
        try:
            if capture is not None:
                recorder = Capture(capture)
                watchers = (*watchers, recorder)
            timer = cls(port, watchers)
            timer._recorder = recorder
            if greet:
                timer.hello()
        except BaseException:
            port.close()
            if recorder is not None:
                recorder.close()
            raise
        return timer

    @classmethod
    def _search(cls, capture: Path | None, watchers: tuple[Watcher, ...]) -> Timer:
        seen = []
        for candidate in candidates():
            try:
                return cls.open(candidate.port, capture, watchers)
            except LinkError as problem:
                seen.append((candidate.port, str(problem)))
        raise NoTimerFound(seen)

    def __enter__(self) -> Timer:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the port, and the capture."""
        self._port.close()
        if self._recorder is not None:
            self._recorder.close()

    @property
    def counters(self) -> dict[str, int]:
        """This end's counters: resent, hellos, stray, illegal, mismatched, frames, damaged, noise_octets."""
        deframer = self._host.deframer
        own = {"frames": deframer.frames, "damaged": deframer.damaged, "noise_octets": deframer.noise_octets}
        return {**self._host.counters, **own}

    # -- moving octets ----------------------------------------------------------------------------------------

    def _now_ms(self) -> int:
        return int((time.monotonic() - self._started) * 1000)

    def _pump(self, wait_s: float = _IDLE_S) -> list[link_host.Event]:
        """Move what can be moved, wait for more at most wait_s; return the events for the job at hand."""
        host, now_ms = self._host, self._now_ms()
        if not self._out:
            self._out = host.output(now_ms)
        if self._out:
            taken = self._port.write(self._out)
            if taken:
                self._watch(">", self._out[:taken])
                self._out = self._out[taken:]
                self._taken_at = time.monotonic()
                wait_s = 0.0
            elif time.monotonic() - self._taken_at > _STUCK_S:
                raise LinkTimeout("the port took no data")
            else:
                self._port.wait_writable(wait_s)
                wait_s = 0.0
        else:
            self._taken_at = time.monotonic()
        data = self._port.read(wait_s if host.busy or wait_s > _IDLE_S else 0.0)
        now_ms = self._now_ms()
        if data:
            self._watch("<", data)
            host.feed(data, now_ms)
        host.tick(now_ms)
        return [event for event in host.events() if self._keep(event)]

    def _watch(self, direction: str, octets: bytes) -> None:
        for watcher in self._watchers:
            watcher(direction, self._now_ms(), octets)

    def _keep(self, event: link_host.Event) -> bool:
        """Put aside what belongs to no job; True for the others."""
        if event.kind == link_host.TELEMETRY:
            self._telemetry.append(event.values)
        elif event.kind == link_host.NOISE:
            self.noise = event.values
        elif event.kind == link_host.PROMPT:
            self._prompt = True
        else:
            return True
        return False

    def _run(self, what: str, progress: Progress | None = None) -> link_host.Event:
        """Pump until the job at hand ends; return its DONE event."""
        self._prompt = False
        try:
            while True:
                for event in self._pump():
                    if event.kind == link_host.PROGRESS:
                        if progress is not None:
                            progress(*event.values)
                    elif event.kind == link_host.DONE:
                        return event
                    else:
                        raise self._failure(event.values, what)
                if self._prompt:
                    raise NotOurDevice(self._port.url, prompt=True, said=self._said())
        except BaseException:
            self._host.cancel()
            raise

    def _said(self) -> bytes:
        return self.noise + self._host.deframer.tail(200)

    def _failure(self, values: dict, what: str) -> LinkError:
        if values["reason"] == "refused":
            return Refused(values["code"], _CODE_NAMES.get(values["code"], "?"), values["text"])
        return Restarted(what) if values["reason"] == "rebooted" else LinkTimeout(what)

    def _ask(
        self, number: int, values: dict | None = None, what: str = "", patience_ms: int = link_rules.REPLY_MS
    ) -> dict:
        """One request and its reply; a RESULT that is not ok or already raises Refused."""
        self._host.request(number, values, patience_ms)
        event = self._run(what or f"answering {m.name_of(number)}")
        if event.number == m.RESULT and event.values["code"] not in (m.OK, m.ALREADY):
            raise self._failure({"reason": "refused", **event.values}, what)
        if event.number != m.REPLY_OF.get(number, m.RESULT):
            raise BadAnswer(f"{m.name_of(event.number)} to {m.name_of(number)}")
        return event.values

    def _at_raw_prompt(self) -> bool:
        """Ask what listens in silence for the friendly prompt (Ctrl-B): a raw prompt echoes nothing, but has that."""
        self._port.write(b"\r\x02")
        said, until = b"", time.monotonic() + _RAW_S
        while time.monotonic() < until and not said.endswith(b">>> "):
            said += self._port.read(0.05)
        return said.endswith(b">>> ")

    # -- calls ------------------------------------------------------------------------------------------------

    def hello(self) -> DeviceInfo:
        """Greet, judge the version, return who is there. Raises NotOurDevice, VersionMismatch."""
        self._host.hello()
        try:
            values = self._run("being greeted").values
        except LinkTimeout as problem:
            prompt = self._at_raw_prompt()
            raise NotOurDevice(self._port.url, prompt, said=self._said()) from problem
        self._check_version(values)
        self.info = DeviceInfo(
            protocol=(values["major"], values["minor"]),
            firmware=plain(values["firmware"], 24),
            board_id=values["board_id"].hex(),
            boot_id=values["boot_id"],
            plan_id=values["plan_id"],
            running=values["running"] == DAY_RUNNING,  # a day that is finished has a number of its own
            clock_ok=bool(values["clock_ok"]),
            heap_free=values["heap_free"],
            journal_octets=values["journal_octets"],
            samples_octets=values["samples_octets"],
        )
        return self.info

    def _check_version(self, values: dict) -> None:
        device, host = (values["major"], values["minor"]), (m.PROTOCOL_MAJOR, m.PROTOCOL_MINOR)
        if device[0] != host[0]:
            raise VersionMismatch(device, host, values["firmware"])
        if device[1] != host[1]:
            self.warnings.append(
                f"The timer speaks link protocol {device[0]}.{device[1]}, this companion {host[0]}.{host[1]}: "
                "they understand each other, but update the older one."
            )

    def ping(self) -> float:
        """Return the round-trip time in seconds."""
        start = time.monotonic()
        self._ask(m.PING)
        return time.monotonic() - start

    def send_plan(self, data: bytes, progress: Progress | None = None) -> bool:
        """Give the device a plan (canonical bytes). True: stored; False: it had it already. Raises Refused."""
        self._host.send_plan(plan.plan_id(data), data)
        values = self._run("taking the plan", progress).values
        if values["code"] not in (m.OK, m.ALREADY):
            raise self._failure({"reason": "refused", **values}, "")
        return values["code"] == m.OK

    def state(self) -> DayReport:
        """Return the day as the device has it."""
        values = self._ask(m.STATE_GET)
        records = list(struct.iter_unpack(m.STEP_RECORD, _whole(values["steps"])))
        past = History(len(records))
        for index, record in enumerate(records):
            past.steps[index], past.started_at_s[index], past.ended_at_s[index] = record
        return DayReport(
            plan_id=values["plan_id"],
            at_s=values["at_s"],
            running=values["running"],
            focus=None if values["focus"] == 255 else values["focus"],
            alarm=values["alarm"],
            fault=values["fault"],
            past=past,
        )

    def extent(self, stream: int) -> tuple[int, int]:
        """Return (first, end): the offsets that can be read."""
        values = self._ask(m.LOG_INFO, {"stream": stream})
        if not 0 <= values["end"] - values["first"] <= m.LOG_MAX:
            raise BadAnswer(f"a log from {values['first']} to {values['end']}")
        return values["first"], values["end"]

    def collect(self, stream: int, into: bytes = b"", progress: Progress | None = None) -> bytes:
        """Return a stream's octets, checked against the device's checksum.

        `into`: octets fetched before, from the stream's start; only what is missing is asked for, and if they turn
        out to be another stream's, all is fetched again. Octets the device has already dropped cannot be given:
        `log_start` tells the offset of the first one returned. A LinkError, and a KeyboardInterrupt while octets come,
        has what did arrive in `.partial`.
        """
        first, end = self.extent(stream)
        goes_on = first <= len(into) <= end
        self.log_start = 0 if goes_on else first
        data = self._fetch(stream, into if goes_on else b"", end, progress)
        if self._sum(stream, first, end) == _crc(data[first - self.log_start :]):
            return data
        if goes_on and into:
            self.log_start = first
            data = self._fetch(stream, b"", end, progress)
            if self._sum(stream, first, end) == _crc(data):
                return data
        raise LogMismatch

    def _fetch(self, stream: int, have: bytes, end: int, progress: Progress | None) -> bytes:
        start = self.log_start + len(have)
        self._host.fetch(stream, start, end)

        def shifted(done: int, _total: int) -> None:
            if progress is not None:
                progress(start + done, end)

        try:
            self._run("sending its log", shifted)
        except (LinkError, KeyboardInterrupt) as problem:
            problem.partial = have + self._host.take_log()[1]  # pyright: ignore[reportAttributeAccessIssue]
            raise
        return have + self._host.take_log()[1]

    def _sum(self, stream: int, start: int, end: int) -> int:
        values = {"stream": stream, "offset": start, "length": end - start}
        # The device sums 4 KiB a pass of its loop, some 50 ms each at worst.
        patience_ms = link_rules.REPLY_MS + (end - start) // 4096 * 50
        return self._ask(m.LOG_SUM, values, "summing its log", patience_ms)["crc32"]

    def drop(self, plan_id: int, stream: int, upto: int) -> None:
        """Tell the device that the octets before `upto` are stored safely here."""
        self._ask(m.LOG_DROP, {"plan_id": plan_id, "stream": stream, "upto": upto})

    def read_clock(self, now_s: Callable[[], float] = project_now) -> ClockReading:
        """Compare clocks. `now_s` gives seconds since 2020-01-01T00:00Z."""
        best: tuple[float, float, dict] | None = None
        for _ in range(_CLOCK_ROUNDS):
            before = now_s()
            values = self._ask(m.CLOCK_GET)
            after = now_s()
            error_s = values["now_s"] + values["ms"] / 1000 - (before + after) / 2
            if best is None or after - before < 2 * best[1]:
                best = (error_s, (after - before) / 2, values)
        assert best is not None
        return ClockReading(best[0], best[1], best[2]["offset_min"], bool(best[2]["ok"]))

    def set_clock(self, now_s: Callable[[], float] = project_now, offset_min: int = 0) -> ClockReading:
        """Set the device's clock, corrected for the way there; return how well it stands then.

        The way there is half the shortest of five round trips (Cristian 1989): the device's answer cannot be older
        than the question nor newer than its arrival, so the error is at most half that round trip.
        """
        way_s = self.read_clock(now_s).within_s
        total_ms = int((now_s() + way_s) * 1000 + 0.5)
        self._ask(m.CLOCK_SET, {"now_s": total_ms // 1000, "ms": total_ms % 1000, "offset_min": offset_min})
        return self.read_clock(now_s)

    def command(self, action: int, step_id: int = 0, arg: int = 0) -> str:
        """Do what a button does (messages.ACTION_*). Returns the device's remark. Raises Refused."""
        return plain(self._ask(m.COMMAND, {"action": action, "step_id": step_id, "arg": arg})["text"])

    def note(self, text: str) -> None:
        """Put a remark into the journal; longer ones are cut at 120 octets."""
        self._ask(m.NOTE, {"text": link_rules.clip(plain(text, m.TEXT_MAX), m.TEXT_MAX)})

    def setting(self, key: str) -> bytes:
        """Return a setting. Raises Refused when there is none of that name."""
        return self._ask(m.SETTING_GET, {"key": key})["value"]

    def set_setting(self, key: str, value: bytes) -> None:
        """Set a setting (at most 64 octets)."""
        self._ask(m.SETTING_SET, {"key": key, "value": value})

    def device_counters(self) -> dict[str, int]:
        """Return the device's counters."""
        return self._ask(m.COUNTERS_GET)

    def self_test(self) -> tuple[bool, list[str]]:
        """Run the device's self-test; (passed, lines)."""
        values = self._ask(m.SELF_TEST, None, "testing itself", link_rules.SLOW_MS)
        lines = values["text"].decode("utf-8", "replace").splitlines()
        return bool(values["passed"]), [plain(line) for line in lines]

    def telemetry(self, timeout_s: float | None = None) -> Iterator[dict]:
        """Yield telemetry (fields of TELEMETRY) as it comes, for timeout_s seconds (None: until something breaks).

        Raises LinkTimeout when the device falls silent, Restarted when it started anew: ask for the state again.
        """
        end = None if timeout_s is None else time.monotonic() + timeout_s
        pinged = float("-inf")
        self._telemetry.clear()  # what came during earlier calls is old news
        while end is None or time.monotonic() < end:
            if time.monotonic() - pinged > link_rules.PING_MS / 1000:
                self.ping()
                pinged = time.monotonic()
            while self._telemetry:
                yield self._telemetry.popleft()
            self._pump(0.05)


def _whole(steps: bytes) -> bytes:
    return steps[: len(steps) // 9 * 9]


def _crc(data: bytes) -> int:
    return binascii.crc32(data)
