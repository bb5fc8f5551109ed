"""Following one bench timer in a thread: connects by itself, stays connected, does jobs between two looks.

The thread owns the connection. It never touches a widget: it hands frozen records to `post`, which the application
turns into messages on its own loop.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from typing import Any

from shared_schedule import messages as m
from shared_schedule import plan as wire
from shared_schedule.plan_writer import encode_plan
from tourier.device.client import DayReport, Timer
from tourier.device.errors import LinkError
from tourier.device.reconnect import FIRST_WAIT_S, HOPELESS, Connected, Heard, Lost, stay
from tourier.device.sight import Sight, sight_of

_REPORT_EVERY_S = 5  # the steps' states change slowly; telemetry tells when one is at hand
_LOOK_EVERY_S = 0.2  # of this computer's time: a virtual timer in a hurry says more than anybody can read
_PROGRESS_EVERY_S = 0.1

Progress = Callable[[int, int], None]
Job = Callable[[Timer, Progress], Any]


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
class JobMoved:
    """How far a job is."""

    name: str
    done: int
    total: int


@dataclass(frozen=True)
class JobDone:
    """A job's result, or the sentence why it failed; `cancelled` when the cook broke it off.

    `way_out`: what one more press would do about the failure, in the words of its button.
    """

    name: str
    result: Any
    error: str = ""
    cancelled: bool = False
    way_out: str = ""


Happening = Found | Gone | Seen | JobMoved | JobDone


class JobCancelled(LinkError):
    """The cook let it be."""

    def __init__(self) -> None:
        super().__init__("Stopped. What had come already is kept, and the next try goes on from there.")


class _Leaving(Exception):
    """The application lets this timer go."""


class Follower:
    """Follows a timer until `stop`. Give it jobs with `do(name, callable taking the Timer and a progress callback)`."""

    def __init__(
        self,
        open_timer: Callable[[], Timer],
        post: Callable[[Happening], object],
        calm: Callable[[bool], None] = lambda _on: None,
    ) -> None:
        """`calm` is told before and after each job: a virtual timer's time then goes no faster than life."""
        self._calm = calm
        self._open_timer = open_timer
        self._post = post
        self._jobs: queue.Queue[tuple[str, Job]] = queue.Queue()
        self._stopping = threading.Event()
        self.ended = threading.Event()  # set when the port has been let go
        self._unwanted: set[str] = set()
        self._timer: Timer | None = None
        self._plan: wire.Plan | None = None
        self._last_report_s = 0
        self._last_look_s = self._asked_s = 0.0
        self._last_alarm = ""

    def do(self, name: str, job: Job) -> None:
        """Queue a job; it is done between two looks, at most a second later. The result comes as JobDone."""
        self._unwanted.discard(name)
        self._jobs.put((name, job))

    def cancel(self, name: str) -> None:
        """Break off a job, also one still queued; what a transfer has already brought is kept for the next try."""
        self._unwanted.add(name)

    def stop(self) -> None:
        """End; the thread leaves after its next look."""
        self._stopping.set()

    def run(self) -> None:
        """Follow; call it in a thread of its own."""
        try:
            while not self._stopping.is_set():
                try:
                    self._follow()
                    return
                except HOPELESS as problem:
                    self._post(Gone(str(problem), hopeless=True))
                    return
                except LinkError as problem:  # lost between two looks, in the middle of a question
                    self._lost(str(problem))
                    self._stopping.wait(FIRST_WAIT_S)
                except (ValueError, OSError) as problem:  # a plan that is none, a port that is no port
                    why = f"This timer cannot be followed: {problem}. Connect (c) tries again."
                    self._post(Gone(why, hopeless=True))
                    return
        except _Leaving:
            return
        finally:
            self._fail_the_rest()
            self.ended.set()

    def _lost(self, why: str) -> None:
        self._post(Gone(why))
        self._fail_the_rest()  # "go" pressed now must not come to pass minutes later

    def _follow(self) -> None:
        # Closed at once when a question fails, so that the port is free for the next try.
        with closing(stay(self._open, sleep=self._stopping.wait)) as happenings:
            for happening in happenings:
                if self._stopping.is_set():
                    return
                if isinstance(happening, Connected):
                    self._found(happening.state, happening.again)
                elif isinstance(happening, Lost):
                    self._lost(happening.why)
                elif isinstance(happening, Heard):
                    self._seen(happening)

    def _open(self) -> Timer:
        if self._stopping.is_set():
            raise _Leaving
        self._timer = self._open_timer()
        return self._timer

    def _found(self, report: DayReport, again: bool) -> None:
        assert self._timer is not None and self._timer.info is not None
        self._plan = wire.decode(self._timer.collect(m.STREAM_PLAN)) if report.plan_id else None
        info = self._timer.info
        self._post(Found(info.board_id, info.firmware, self._plan, report, again))
        self._last_report_s = 0

    def _seen(self, heard: Heard) -> None:
        assert self._timer is not None
        sight = sight_of(heard.values, self._plan)
        now_s = time.monotonic()
        if now_s - self._last_look_s >= _LOOK_EVERY_S or sight.alarm != self._last_alarm:
            report = None
            if abs(sight.at_s - self._last_report_s) >= _REPORT_EVERY_S and now_s - self._asked_s >= 1.0:
                self._last_report_s, self._asked_s = sight.at_s, now_s
                report = self._look_up()
            self._last_look_s, self._last_alarm = now_s, sight.alarm
            self._post(Seen(sight, report))
        while not self._stopping.is_set():
            try:
                name, job = self._jobs.get_nowait()
            except queue.Empty:
                return
            self._calm(True)
            try:
                if name in self._unwanted:
                    raise JobCancelled
                result = job(self._timer, self._progress(name))
            except JobCancelled as problem:
                self._post(JobDone(name, None, str(problem), cancelled=True))
            except Exception as problem:  # of the link, of plans and logs, of files: the thread must live on
                said = str(problem) or f"This did not work ({type(problem).__name__})."
                self._post(JobDone(name, None, said, way_out=getattr(problem, "way_out", "")))
            else:
                self._post(JobDone(name, result))
                self._look_up()
            finally:
                self._calm(False)

    def _look_up(self) -> DayReport:
        """Ask for the steps' states; when somebody has sent another plan meanwhile, take that one home first."""
        assert self._timer is not None
        report = self._timer.state()
        held = wire.plan_id(encode_plan(self._plan)) if self._plan is not None else 0
        if report.plan_id != held:
            self._timer.hello()
            self._found(report, again=True)
        return report

    def _progress(self, name: str) -> Progress:
        last_s = 0.0

        def show(done: int, total: int) -> None:
            nonlocal last_s
            if name in self._unwanted or self._stopping.is_set():
                raise JobCancelled
            if time.monotonic() - last_s >= _PROGRESS_EVERY_S or done >= total:
                last_s = time.monotonic()
                self._post(JobMoved(name, done, max(1, total)))

        return show

    def _fail_the_rest(self) -> None:
        while True:
            try:
                name, _job = self._jobs.get_nowait()
            except queue.Empty:
                return
            self._post(JobDone(name, None, "The timer is not connected any more, so this was not done."))
