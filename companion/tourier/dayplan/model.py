"""Records of the day planner: the finished plan, its steps, and the two ways it can say no."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

from shared_schedule.units import EPOCH_UNIX_S
from tourier.batch.model import BatchSpec, ProcessStep, Workup
from tourier.batch.rising import LoadRise

_EPOCH = datetime.fromtimestamp(EPOCH_UNIX_S, UTC)


def to_at_s(moment: datetime) -> int:
    """Return whole seconds since 2020-01-01Z of an aware datetime; raises ValueError for one without a zone."""
    if moment.tzinfo is None or moment.utcoffset() is None:
        raise ValueError("a time without a zone cannot be planned with")
    return (moment.astimezone(UTC) - _EPOCH) // timedelta(seconds=1)


def from_at_s(at_s: int) -> datetime:
    """Return the UTC datetime of whole seconds since 2020-01-01Z."""
    return _EPOCH + timedelta(seconds=at_s)


def by_clock(at_s: int, zone: ZoneInfo) -> datetime:
    """Return what the clock on the wall says, for people, with the offset of that instant.

    The offset is a fixed one: between two moments of one `ZoneInfo` Python reckons by the wall, so that a night in
    which the clocks change would last an hour too long or too short.
    """
    moment = from_at_s(at_s).astimezone(zone)
    return moment.astimezone(timezone(moment.utcoffset() or timedelta(0)))


class Refused(ValueError):
    """A wish the planner does not turn into a plan; `sentence` is for the cook."""

    def __init__(self, sentence: str):
        super().__init__(sentence)
        self.sentence = sentence


class BadWish(Refused):
    """The wish contradicts itself or is incomplete; `what` names the part of the batch file or the step."""

    def __init__(self, what: str, sentence: str):
        super().__init__(f"{what}: {sentence}")
        self.what = what


class Impossible(Refused):
    """No timetable exists. `nearest` is the earliest possible ready time (aware, or None when none was found)

    within a week), `give_up` sentences each name one thing that would make the wish possible, `steps` and `hours`
    name what does not fit where.
    """

    def __init__(
        self,
        sentence: str,
        nearest: datetime | None = None,
        *,
        give_up: tuple[str, ...] = (),
        steps: tuple[str, ...] = (),
        hours: tuple[tuple[datetime, datetime, str], ...] = (),
    ):
        super().__init__(sentence)
        self.nearest = nearest
        self.give_up = give_up
        self.steps = steps
        self.hours = hours


@dataclass(frozen=True)
class Job:
    """One batch to be planned: the wish and what the craft maths made of it."""

    spec: BatchSpec
    workup: Workup


@dataclass(frozen=True)
class PlannedStep:
    """One step: its times in seconds since 2020-01-01Z, and the same by the clock of the batch's zone, for people.

    `slack_s` is how much later it may start with the ready time still kept, when every later rest may shrink to its
    minimum and the order of hands-on work stays. `step_id` is the place in the work-up plus one: it does not change
    when the plan does, so a journal stays readable after a replan.
    """

    step_id: int
    process: ProcessStep
    job: int
    start_at_s: int
    end_at_s: int
    zone: ZoneInfo
    slack_s: int
    done: bool = False

    @property
    def start(self) -> datetime:
        return by_clock(self.start_at_s, self.zone)

    @property
    def end(self) -> datetime:
        return by_clock(self.end_at_s, self.zone)

    @property
    def duration_s(self) -> int:
        return self.end_at_s - self.start_at_s

    @property
    def hands_off(self) -> datetime:
        """When the cook's hands are free again."""
        return by_clock(self.start_at_s + self.process.attended_s, self.zone)

    @property
    def keeps_until(self) -> datetime:
        """When the step has lasted as long as it may."""
        return by_clock(self.start_at_s + self.process.max_s, self.zone)


@dataclass(frozen=True)
class Chance:
    """How likely the plan is to be ready by the hour, from `runs` simulated days.

    `ready_by` is 0..1; `late_s` holds the 5 %, 50 % and 95 % points of (ready - wished), negative when early;
    `slack_for_95_s` is how much earlier to aim so that 95 % of the days are ready by the hour; `weak` names the
    steps that most often set the delay.
    """

    ready_by: float
    late_s: tuple[int, int, int]
    slack_for_95_s: int
    runs: int
    weak: tuple[str, ...] = ()


@dataclass(frozen=True)
class AwayInterval:
    """Absolute hours without hands-on work: seconds since 2020-01-01Z; why is "sleep" or "away"."""

    from_s: int
    to_s: int
    why: str


@dataclass(frozen=True)
class DayPlan:
    """The timetable of one or several batches, steps in order of start."""

    jobs: tuple[Job, ...]
    steps: tuple[PlannedStep, ...]
    made_at: datetime
    planned_at: datetime  # when the last piece is ready
    wished: tuple[datetime, ...]  # ready time wished, one for each job
    zone: str
    away: tuple[AwayInterval, ...]
    duty_s: int  # hours on duty: first to last hands-on work of each waking stretch, summed
    proven: bool  # the solver proved that no better plan exists
    chance: Chance | None = None
    warnings: tuple[str, ...] = ()
    rises: tuple[tuple[LoadRise, ...], ...] = ()  # of each job: what every load has risen by when it is baked
    cost: dict[str, int] = field(default_factory=dict)  # reached value of each stage of the objective

    @property
    def workup(self) -> Workup:
        return self.jobs[0].workup

    @property
    def spec(self) -> BatchSpec:
        return self.jobs[0].spec

    @property
    def name(self) -> str:
        return " + ".join(job.spec.name for job in self.jobs)

    @property
    def numbers_patons(self) -> bool:
        """Whether a pâton must be told by its number: a batch of the day has several."""
        return any(job.workup.patons > 1 for job in self.jobs)

    @property
    def numbered(self) -> DayPlan:
        """The same plan, every step's name led by its batch's number where there are several, for tables and bars."""
        if len(self.jobs) == 1:
            return self
        steps = tuple(
            replace(step, process=replace(step.process, name=f"{step.job + 1}. {step.process.name}"))
            for step in self.steps
        )
        return replace(self, steps=steps)

    def step(self, key: str, job: int = 0) -> PlannedStep:
        """Return the step with a work-up key; raises KeyError."""
        for step in self.steps:
            if step.process.key == key and step.job == job:
                return step
        raise KeyError(key)
