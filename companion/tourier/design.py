"""The one road from a batch file's text to a plan: text, hour and what is known go in, one typed design comes out.

Figures beside a form, pages, plan, sending, another day's thaw, the rest of a running day, rehearsal and papers all
come this way, and every function asks for `lessons`: nothing can be planned without saying what is known.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime, timedelta
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from tourier.batch.model import BatchSpec, Workup
from tourier.known import Known, Lessons, words

if TYPE_CHECKING:
    from shared_schedule import plan as wire
    from tourier.dayplan.model import DayPlan
    from tourier.dayplan.replan import Replanned
    from tourier.device.client import Timer

Say = Callable[[str], None]


@dataclass(frozen=True)
class Draft:
    """The first half of the road: a batch worked out, before the clock."""

    text: str
    known: Known
    workup: Workup

    @property
    def spec(self) -> BatchSpec:
        return self.workup.spec


@dataclass(frozen=True)
class Design:
    """A batch designed: the day, and the plan that a timer is given for it. `known`: the learned values used."""

    text: str
    known: Known
    day: DayPlan

    @property
    def spec(self) -> BatchSpec:
        return self.day.spec

    @property
    def workup(self) -> Workup:
        return self.day.workup

    @cached_property
    def plan(self) -> wire.Plan:
        """The timer's plan. Raises Refused when no timer can hold it."""
        from tourier.dayplan.device import to_device

        return to_device(self.day)

    @cached_property
    def data(self) -> bytes:
        """The timer's plan in octets."""
        from shared_schedule.plan_writer import encode_plan

        return encode_plan(self.plan)

    @property
    def plan_id(self) -> int:
        """The number both sides know the plan by."""
        from shared_schedule import plan as wire

        return wire.plan_id(self.data)


@dataclass(frozen=True)
class SharedDay:
    """Several batches planned as one day of one cook, in the order their files were named."""

    drafts: tuple[Draft, ...]
    day: DayPlan


def lessons_of(logbook: Path | None) -> Lessons:
    """Return all that a logbook has taught; nothing when there is none yet. Raises LogbookError where it is damaged."""
    if logbook is None or not logbook.exists():
        return Lessons()
    from tourier.logbook import Logbook
    from tourier.logbook.learning import ledger

    with Logbook(logbook) as book:
        return Lessons(tuple(ledger.in_force(book)))


def draft(text: str, where: str, now: datetime, lessons: Lessons) -> Draft:
    """Read and work out a batch file's text. Raises BatchError, Unworkable."""
    from tourier.batch.read import read_batch_text

    return _worked_out(text, read_batch_text(text, where, now), lessons)


def _worked_out(text: str, spec: BatchSpec, lessons: Lessons) -> Draft:
    from tourier.batch.workup import Unworkable, work_up

    known = lessons.about(spec.kitchen.name, spec.butter.profile)
    wrong = known.untrue
    if wrong is not None:
        raise Unworkable(
            f"The logbook holds a learned value that cannot be true: {wrong.subject}, {words(wrong.quantity)}. Take it "
            f'back with: tourier learn --forget "{wrong.quantity}@{wrong.subject}"',
            wrong.quantity,
        )
    return Draft(text, known, work_up(spec, known))


def design(text: str, where: str, now: datetime, lessons: Lessons, say: Say = lambda _: None) -> Design:
    """Read, work out and plan a batch file's text. Raises BatchError, Unworkable, Refused."""
    say("Working out sheets and rests")
    made = draft(text, where, now, lessons)
    say("Planning back from the hour")
    return timed(made, now)


def timed(made: Draft, now: datetime) -> Design:
    """Return the second half of the road: the best timetable of a batch worked out. Raises Refused."""
    from tourier.dayplan.plan import plan_days

    return Design(made.text, made.known, plan_days(made.spec, made.workup, now))


def shared_day(
    files: Sequence[tuple[str, str]], now: datetime, lessons: Lessons, say: Say = lambda _: None
) -> SharedDay:
    """Plan several batch files, each (text, name), as one day of one cook. Raises BatchError, Unworkable, Refused."""
    from tourier.batch.read import read_batch_text
    from tourier.batch.workup import Unworkable
    from tourier.dayplan.model import BadWish, Impossible, Job
    from tourier.dayplan.plan import plan_together
    from tourier.voice import span

    specs = [read_batch_text(text, where, now) for text, where in files]
    for (_, where), spec in zip(files, specs, strict=True):
        if other := _elsewhere(specs[0], spec):
            raise BadWish(
                where, f"is not made in the kitchen of {files[0][1]}: {', '.join(other)} differ; plan them apart."
            )
    say("Working out sheets and rests")
    drafts = []
    for (text, where), spec in zip(files, _named_apart(specs), strict=True):
        try:
            drafts.append(_worked_out(text, spec, lessons))
        except Unworkable as error:
            error.args = (f"{where}: {error}",)
            raise
    say("Planning back from the hours")
    slack_s = int(max(spec.buffer_s for spec in specs))
    try:
        day = plan_together([Job(made.spec, made.workup) for made in drafts], now, slack_s=slack_s)
    except Impossible as error:
        if slack_s and error.nearest is not None:
            error.args = (f"{error.sentence} The buffer of {span(slack_s)} before each hour comes on top of that.",)
        raise
    return SharedDay(tuple(drafts), day)


_UNITS = ("_c", "_pct", "_m", "_s", "_kg", "_k")


def _elsewhere(one: BatchSpec, other: BatchSpec) -> list[str]:
    """Return in words what of two batches' kitchens differs; two batches of one cook share one of everything."""
    named = [f.name for f in fields(one.kitchen) if getattr(one.kitchen, f.name) != getattr(other.kitchen, f.name)]
    bare = [next((name.removesuffix(unit) for unit in _UNITS if name.endswith(unit)), name) for name in named]
    zones = ["time zone"] if one.zone != other.zone else []
    return [f"kitchen {name.replace('_', ' ')}" for name in bare] + zones


def _named_apart(specs: Sequence[BatchSpec]) -> list[BatchSpec]:
    """Give batches of one name a number, so that a table, a calendar and the JSON can tell them apart."""
    taken: set[str] = set()
    told = []
    for spec in specs:
        name, number = spec.name, 1
        while name in taken:
            number += 1
            name = f"{spec.name} ({number})"
        taken.add(name)
        told.append(replace(spec, name=name))
    return told


def thawed(made: Draft, frozen_at: datetime, wished_at: datetime, now: datetime) -> Design:
    """Return the other day of the pieces a batch froze raw. Raises Refused."""
    from tourier.dayplan.later import plan_frozen

    return Design(made.text, made.known, plan_frozen(made.spec, made.workup, frozen_at, wished_at, now))


def redesign(timer: Timer, text: str, where: str, wish: str | None, lessons: Lessons) -> tuple[Design, Replanned]:
    """Return the best rest of the day that runs on a timer, and what is to be said about it.

    `wish`: a new hour as written in a batch file, None to keep the one the timer works towards. Raises BadWish when
    the timer holds no plan or another batch's, Impossible when nothing fits, BatchError, Unworkable, LinkError.
    """
    from shared_schedule import messages as m
    from shared_schedule import plan as wire
    from tourier.batch.read import read_batch_text
    from tourier.batch.when import moment
    from tourier.dayplan.model import BadWish, Job, from_at_s
    from tourier.dayplan.plan import adopt
    from tourier.dayplan.replan import happened, replan

    report = timer.state()
    if not report.plan_id:
        raise BadWish("timer", "holds no plan; send one first.")
    held = wire.decode(timer.collect(m.STREAM_PLAN))
    # "Sunday" in the file means the Sunday it meant when the plan was made.
    spec = read_batch_text(text, where, from_at_s(held.made_at_s))
    zone = ZoneInfo(spec.zone)
    # The hour the timer works towards is the wish, also when an earlier replan changed it or it has passed since.
    made = _worked_out(text, replace(spec, wished_at=from_at_s(held.ready_at_s).astimezone(zone)), lessons)
    running = adopt([Job(made.spec, made.workup)], held)
    now = from_at_s(report.at_s)
    wished: datetime | None = None
    if wish is not None:
        try:
            wished = moment(wish, zone, now, forward=True, least=timedelta(0))
        except ValueError as error:
            raise BadWish("ready time", f"{error}.") from None
        if wished <= now:
            raise BadWish("ready time", f"{wished:%Y-%m-%d %H:%M} is already past; name one ahead, or none to keep it.")
    found = replan(running, happened(running, report.past), now, ready=wished, chance=True)
    return Design(text, made.known, found.plan), found
