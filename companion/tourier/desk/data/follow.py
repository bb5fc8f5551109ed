"""Following one bench timer in a thread: connects by itself, stays connected, does jobs between two looks.

The thread owns the connection. It never touches a widget: it hands frozen records to `post`, which the application
turns into messages on its own loop.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from shared_schedule import messages as m
from shared_schedule import plan as wire
from tourier.device.client import DayReport, Timer
from tourier.device.errors import LinkError
from tourier.device.reconnect import Connected, Heard, Lost, stay
from tourier.device.sight import Sight, sight_of

_REPORT_EVERY_S = 5  # the steps' states change slowly; telemetry tells when one is at hand


@dataclass(frozen=True)
class Found:
    """Connected, with what the timer holds. `plan` None: nothing."""

    board_id: str
    firmware: str
    plan: wire.Plan | None
    report: DayReport
    again: bool


@dataclass(frozen=True)
class Gone:
    """The connection is lost; `why` is a sentence. `hopeless`: waiting will not mend it, the thread has ended."""

    why: str
    hopeless: bool = False


@dataclass(frozen=True)
class Seen:
    """One look, and now and then the steps' states."""

    sight: Sight
    report: DayReport | None


@dataclass(frozen=True)
class JobDone:
    """A job's result, or the sentence why it failed."""

    name: str
    result: Any
    error: str = ""


Happening = Found | Gone | Seen | JobDone


class Follower:
    """Follows a timer until `stop`. Give it jobs with `do(name, callable taking the Timer)`."""

    def __init__(self, open_timer: Callable[[], Timer], post: Callable[[Happening], None]) -> None:
        self._open_timer = open_timer
        self._post = post
        self._jobs: queue.Queue[tuple[str, Callable[[Timer], Any]]] = queue.Queue()
        self._stopping = threading.Event()
        self._timer: Timer | None = None
        self._plan: wire.Plan | None = None

    def do(self, name: str, job: Callable[[Timer], Any]) -> None:
        """Queue a job; it is done between two looks, at most a second later. The result comes as JobDone."""
        self._jobs.put((name, job))

    def stop(self) -> None:
        """End; the thread leaves after its next look."""
        self._stopping.set()

    def run(self) -> None:
        """Follow; call it in a thread of its own."""
        try:
            for happening in stay(self._open, sleep=self._stopping.wait):
                if self._stopping.is_set():
                    return
                if isinstance(happening, Connected):
                    self._found(happening)
                elif isinstance(happening, Lost):
                    self._post(Gone(happening.why))
                elif isinstance(happening, Heard):
                    self._seen(happening)
        except LinkError as problem:
            self._post(Gone(str(problem), hopeless=True))

    def _open(self) -> Timer:
        if self._stopping.is_set():
            raise _Stopped
        self._timer = self._open_timer()
        return self._timer

    def _found(self, connected: Connected) -> None:
        assert self._timer is not None and self._timer.info is not None
        self._plan = None
        if connected.state.plan_id:
            self._plan = wire.decode(self._timer.collect(m.STREAM_PLAN))
        info = self._timer.info
        self._post(Found(info.board_id, info.firmware, self._plan, connected.state, connected.again))
        self._last_report_s = 0

    def _seen(self, heard: Heard) -> None:
        assert self._timer is not None
        sight = sight_of(heard.values, self._plan)
        report = None
        if abs(sight.at_s - self._last_report_s) >= _REPORT_EVERY_S:
            self._last_report_s = sight.at_s
            report = self._timer.state()
            held = wire.plan_id(wire.encode(self._plan)) if self._plan is not None else 0
            if report.plan_id != held:  # somebody sent another plan meanwhile
                self._plan = wire.decode(self._timer.collect(m.STREAM_PLAN)) if report.plan_id else None
                self._found_again(report)
        self._post(Seen(sight, report))
        while True:
            try:
                name, job = self._jobs.get_nowait()
            except queue.Empty:
                return
            try:
                self._post(JobDone(name, job(self._timer)))
            except LinkError as problem:
                self._post(JobDone(name, None, str(problem)))

    def _found_again(self, report: DayReport) -> None:
        assert self._timer is not None and self._timer.info is not None
        info = self._timer.info
        self._post(Found(info.board_id, info.firmware, self._plan, report, again=True))


class _Stopped(LinkError):
    """The application is leaving."""
