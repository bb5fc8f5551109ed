"""Stay connected: a policy, apart from the client that it opens and closes.

States: connected -> (trouble) -> waiting -> trying -> connected or waiting. The wait doubles from half a second up to
eight; it says that the connection was lost once, not at every try. Troubles that waiting cannot cure end it.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Generator
from dataclasses import dataclass

from tourier.device.client import DayReport, Timer
from tourier.device.errors import LinkError, PortDenied, Refused, VersionMismatch

FIRST_WAIT_S = 0.5  # a board that resets is back after 1 to 2 s: one or two tries
LONGEST_WAIT_S = 8.0  # a cook who plugs in again should not wait longer than that
HOPELESS = (PortDenied, VersionMismatch, Refused)


@dataclass
class Backoff:
    """The waits: doubling, capped, back to the first after success."""

    first_s: float = FIRST_WAIT_S
    longest_s: float = LONGEST_WAIT_S
    _next_s: float = 0.0

    def next(self) -> float:
        """Return the wait before the next try, in seconds."""
        wait_s = self._next_s or self.first_s
        self._next_s = min(self.longest_s, 2 * wait_s)
        return wait_s

    def reset(self) -> None:
        """Start over."""
        self._next_s = 0.0


@dataclass(frozen=True)
class Connected:
    """Connected, again or for the first time, with the state asked for afresh."""

    state: DayReport
    again: bool


@dataclass(frozen=True)
class Lost:
    """The connection broke, or the first try failed; said once until it is back."""

    why: str


@dataclass(frozen=True)
class Heard:
    """Telemetry (fields of TELEMETRY)."""

    values: dict


def stay(
    open_timer: Callable[[], Timer],
    timeout_s: float | None = None,
    sleep: Callable[[float], object] = time.sleep,
    now: Callable[[], float] = time.monotonic,
) -> Generator[Connected | Lost | Heard, None, None]:
    """Watch a timer through unplugging, resets and a sleeping laptop. Raises what waiting cannot cure."""
    backoff = Backoff()
    end = None if timeout_s is None else now() + timeout_s
    ever = told = False
    while end is None or now() < end:
        try:
            with open_timer() as timer:
                yield Connected(timer.state(), ever)
                ever, told = True, False
                backoff.reset()
                for values in timer.telemetry(None if end is None else end - now()):
                    yield Heard(values)
        except HOPELESS:
            raise
        except LinkError as problem:
            if not told:
                yield Lost(str(problem))
                told = True
            wait_s = backoff.next()
            sleep(wait_s if end is None else max(0.0, min(wait_s, end - now())))
