"""Working a batch out beside the form: the newest text only, sizes at once and the timetable when the hand rests.

The threads touch no widget; they hand frozen records to `post`. A text that has been overtaken gives no result.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tourier.batch.model import Workup
    from tourier.design import Design, Draft

# Typing pauses: sizes follow the hand, the solver waits until the hand rests.
SIZES_AFTER_S = 0.08
TIMES_AFTER_S = 0.5


@dataclass(frozen=True)
class Sized:
    """Sheets, cuts and masses of a text, or what is wrong with it: problems by key, or one sentence."""

    text: str
    draft: Draft | None = None
    problems: tuple[tuple[str, str], ...] = ()
    refused: str = ""

    @property
    def workup(self) -> Workup | None:
        return None if self.draft is None else self.draft.workup


@dataclass(frozen=True)
class Timing:
    """The timetable of a text is being looked for."""

    text: str


@dataclass(frozen=True)
class Timed:
    """The timetable of a text, or the sentence why there is none and what could be given up."""

    text: str
    planned: Design | None = None
    refused: str = ""
    offers: tuple[str, ...] = ()


Result = Sized | Timing | Timed


def size(text: str, where: str, now: datetime, logbook: Path | None) -> Sized:
    """Read a text and work its sheets out; never raises."""
    from tourier import design
    from tourier.batch.fields import BatchError
    from tourier.batch.workup import Unworkable
    from tourier.logbook import LogbookError

    try:
        return Sized(text, design.draft(text, where, now, design.lessons_of(logbook)))
    except BatchError as error:
        return Sized(text, problems=tuple((problem.key, problem.sentence) for problem in error.problems))
    except (Unworkable, LogbookError) as error:
        return Sized(text, refused=str(error))
    except Exception as error:  # the thread must live on, and the cook hear of it
        return Sized(text, refused=_unexpected(error))


def _unexpected(error: Exception) -> str:
    return f"This batch could not be worked out ({type(error).__name__}: {str(error)[:200]}); undo the last edit."


def time_it(made: Draft, now: datetime) -> Timed:
    """Plan what was sized; never raises."""
    from tourier.dayplan.model import Impossible, Refused
    from tourier.dayplan.words import offers
    from tourier.design import timed

    try:
        return Timed(made.text, timed(made, now))
    except Impossible as error:
        return Timed(made.text, refused=str(error), offers=offers(error))
    except Refused as error:
        return Timed(made.text, refused=str(error))
    except Exception as error:
        return Timed(made.text, refused=_unexpected(error))


class Workbench:
    """`ask(text)` as often as one types; results come to `post`, those of overtaken texts never."""

    def __init__(
        self, post: Callable[[Result], object], now: Callable[[], datetime], logbook: Callable[[], Path | None]
    ) -> None:
        self._post, self._now, self._logbook = post, now, logbook
        self._turn = threading.Condition()
        self._wanted: tuple[str, str] | None = None
        self._to_time: tuple[Draft, int] | None = None
        self._number = 0
        self._ended = False

    def ask(self, text: str, where: str) -> None:
        """Work this text out next."""
        with self._turn:
            self._number += 1
            self._wanted = (text, where)
            self._turn.notify_all()

    def cancel(self) -> None:
        """Let what is being looked for go."""
        with self._turn:
            self._number += 1
            self._wanted = None
            self._turn.notify_all()

    def stop(self) -> None:
        """End the threads."""
        with self._turn:
            self._ended = True
            self._number += 1
            self._turn.notify_all()

    def start(self) -> None:
        """Begin: one thread for sizes, which follow every keystroke, one for timetables, which take seconds."""
        for work in (self._sizes, self._times):
            threading.Thread(target=work, name=f"workbench{work.__name__}", daemon=True).start()

    def _sizes(self) -> None:
        while True:
            with self._turn:
                self._turn.wait_for(lambda: self._wanted is not None or self._ended)
                if self._ended:
                    return
                assert self._wanted is not None
                (text, where), number = self._wanted, self._number
                self._wanted = None
            if self._overtaken(number, SIZES_AFTER_S):
                continue
            sized = size(text, where, self._now(), self._logbook())
            if self._give(number, sized) and sized.draft is not None:
                with self._turn:
                    self._to_time = (sized.draft, number)
                    self._turn.notify_all()

    def _times(self) -> None:
        while True:
            with self._turn:
                self._turn.wait_for(lambda: self._to_time is not None or self._ended)
                if self._ended:
                    return
                assert self._to_time is not None
                made, number = self._to_time
                self._to_time = None
            if self._overtaken(number, TIMES_AFTER_S) or not self._give(number, Timing(made.text)):
                continue
            self._give(number, time_it(made, self._now()))

    def _overtaken(self, number: int, wait_s: float) -> bool:
        with self._turn:
            return self._turn.wait_for(lambda: self._number != number, wait_s)

    def _give(self, number: int, result: Result) -> bool:
        with self._turn:
            if self._number != number:
                return False
        self._post(result)
        return True
