"""What really happened: every step planned and real, with its temperatures, from the journal and the samples.

Nothing is judged here; see `evidence`. Temperatures in °C, spans in s, NaN where there was no reading.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from shared_schedule import history
from shared_schedule import journal as J
from shared_schedule import plan as plans
from shared_schedule import states as S
from shared_schedule.units import NO_CDEG
from tourier.logbook.account import traces
from tourier.logbook.account.probe import Gap, gaps, owners
from tourier.logbook.account.traces import Trace, trace
from tourier.logbook.record.model import Batch, Floats, Record, step_title
from tourier.voice import Voice, span

STATE_WORDS = {S.WAITING: "not begun", S.RUNNING: "running", S.DONE: "done", S.SKIPPED: "skipped", S.READY: "ready"}
CAUSE_WORDS = {
    S.BY_BUTTON: "button", S.BY_LINK: "companion", S.BY_CLOCK: "time", S.BY_PROBE: "core", S.BY_PROOF: "dose",
    S.BY_UNDO: "undone", S.BY_EARLY: "early", S.BY_OVERRIDE: "override",
}  # fmt: skip

# Kinds whose window is the butter's, even where the plan step carries none of its own.
BUTTER_KINDS = (plans.LOCK_IN, plans.FOLD, plans.SHEET, plans.CUT, plans.SHAPE)
REST_KINDS = (plans.REST, plans.CHILL, plans.HOLD, plans.FREEZE)

_PASSING = (
    J.WINDOW_SOON, J.WINDOW_LEFT_WARM, J.WINDOW_LEFT_COLD, J.SENSOR_FAULT, J.PROOF_CAP, J.CLOCK_UNKNOWN,
)  # fmt: skip
_STICK_S = 45.0  # a needle moved into new dough needs this long: three time constants of a 3 mm probe in dough


@dataclass(frozen=True)
class StepAccount:
    """One step of the batch as it was. `from_s`/`to_s` are None when it never began or never ended."""

    step: plans.Step
    title: str
    state: int
    from_s: int | None
    ready_s: int | None  # when time, core or dose was reached and the timer called
    to_s: int | None
    ended_by: str
    low_c: float
    high_c: float
    probe: Trace
    bench: Trace
    dose_s: float = math.nan
    ticks: tuple[tuple[str, bool], ...] = ()
    unseen: bool = False  # the record of its beginning is lost: it began at or before from_s

    @property
    def planned_from_s(self) -> int:
        """Planned beginning."""
        return self.step.start_at_s

    @property
    def planned_to_s(self) -> int:
        """Planned end."""
        return self.step.start_at_s + self.step.planned_for_s

    @property
    def lasted_s(self) -> float:
        """Real length, NaN when it did not begin and end, or the log cannot tell: a lost record, a clock set back."""
        if self.from_s is None or self.to_s is None or self.unseen or self.to_s < self.from_s:
            return math.nan
        return float(self.to_s - self.from_s)

    @property
    def ratio(self) -> float:
        """Real length over planned length, NaN when unknown."""
        planned = self.step.planned_for_s or self.step.ideal_s
        return self.lasted_s / planned if planned else math.nan

    @property
    def late_s(self) -> float:
        """How much later than planned it began, NaN when it did not."""
        return math.nan if self.from_s is None else float(self.from_s - self.step.start_at_s)

    @property
    def rest_word(self) -> str:
        """'cut short', 'overdone', 'as planned' or '' for steps that are no rest."""
        if self.step.kind not in REST_KINDS or math.isnan(self.lasted_s):
            return ""
        if self.lasted_s < 0.75 * (self.step.min_s or self.step.planned_for_s):
            return "cut short"
        if self.lasted_s > max(self.step.max_s, 1.25 * self.step.planned_for_s):
            return "overdone"
        return "as planned"


@dataclass(frozen=True)
class Alarm:
    """One alarm and when it was acknowledged (None = never)."""

    at_s: int
    kind: int
    step_id: int
    cdeg: int
    acked_at_s: int | None

    @property
    def answer(self) -> str:
        """What became of it: the timer takes some alarms back by itself when their reason is gone."""
        if self.acked_at_s is not None:
            return f"answered after {span(self.acked_at_s - self.at_s)}"
        return "cleared by itself, not answered" if self.kind in _PASSING else "not answered"


@dataclass(frozen=True)
class Account:
    """The whole batch. `gaps` are the stretches in which a channel gave no reading."""

    batch: Batch
    steps: tuple[StepAccount, ...]
    owner: NDArray[np.int64] = field(repr=False)  # for each sample the place in `steps` the needle was in, or -1
    alarms: tuple[Alarm, ...]
    gaps: tuple[Gap, ...]
    bends: tuple[tuple[int, int, int], ...]  # at_s, cdeg, verdict
    notes: tuple[tuple[int, str], ...]
    boots: int
    dew_c: Floats = field(repr=False, default_factory=lambda: np.zeros(0))  # dew point at each sample
    wet_s: float = 0.0  # bench below the dew point
    slip_s: float = math.nan  # end of the last step against the plan

    @property
    def said(self) -> Voice:
        """How this batch's measures are said."""
        return self.batch.voice

    def deg(self, c: float) -> str:
        """A temperature in the cook's units, with tenths: '13.4 °C' or '56.1 °F'."""
        return self.said.tenths(c)

    def of_kind(self, *kinds: int) -> list[StepAccount]:
        """Return the steps of these kinds that began."""
        return [s for s in self.steps if s.step.kind in kinds and s.from_s is not None]

    def readings(self, step: StepAccount, bench: bool = False) -> tuple[Floats, Floats]:
        """Return (at_s, °C) of one step: the probe while it was in this dough, or the bench. Without gaps."""
        if step.from_s is None:
            return np.zeros(0), np.zeros(0)
        samples = self.batch.samples
        until = step.to_s if step.to_s is not None else self.batch.last_at_s + 1
        low, high = np.searchsorted(samples.at_s, [step.from_s, until])
        c = (samples.bench_c if bench else samples.probe_c)[low:high]
        pick = ~np.isnan(c)
        if not bench:
            pick &= self.owner[low:high] == self.steps.index(step)
        return samples.at_s[low:high][pick].astype(float), c[pick]

    def step(self, step_id: int) -> StepAccount | None:
        """Return the account of a step by its id."""
        return next((s for s in self.steps if s.step.step_id == step_id), None)


def _c(cdeg: int) -> float:
    return math.nan if cdeg == NO_CDEG else cdeg / 100.0


def window_of(plan: plans.Plan, step: plans.Step) -> tuple[float, float]:
    """Return (low, high) of the probe's window while a step runs, NaN where there is none."""
    low, high = _c(step.low_cdeg), _c(step.high_cdeg)
    if step.kind in (plans.TEMPER, plans.THAW):
        low = math.nan  # it comes from the cold: only the warm edge can be left
    if step.kind in BUTTER_KINDS:
        low = _c(plan.butter_low_cdeg) if math.isnan(low) else low
        high = _c(plan.butter_high_cdeg) if math.isnan(high) else high
    return low, high


def _alarms(records: tuple[Record, ...]) -> tuple[Alarm, ...]:
    out: list[Alarm] = []
    open_at: dict[tuple[int, int], int] = {}
    for record in records:
        if record.type == J.ALARM:
            kind, step_id, cdeg = record.body[:3]
            if (kind, step_id) not in open_at:
                open_at[(kind, step_id)] = len(out)
                out.append(Alarm(record.at_s, kind, step_id, cdeg, None))
        elif record.type == J.ACK:
            place = open_at.pop((record.body[0], record.body[1]), None)
            if place is not None:
                old = out[place]
                out[place] = Alarm(old.at_s, old.kind, old.step_id, old.cdeg, record.at_s)
    return tuple(out)


def account(batch: Batch) -> Account:
    """Return the account of a batch. Never raises for a log that is short, odd or empty."""
    plan = batch.plan
    past = history.replay(plan, batch.records)
    steps = []
    at_s = batch.samples.at_s
    owner = owners(plan, past, batch.samples, batch.last_at_s)
    for place, step in enumerate(plan.steps):
        state, bits = past.steps[place], past.ticked[place]
        from_s, ready_s, to_s = (at[place] or None for at in (past.started_at_s, past.ready_at_s, past.ended_at_s))
        low_c, high_c = window_of(plan, step)
        probe = bench = Trace()
        dose_s = math.nan
        until = to_s if to_s is not None else (batch.last_at_s if state in (S.RUNNING, S.READY) else None)
        if from_s is not None and until is not None and until > from_s:
            low, high = np.searchsorted(at_s, [from_s, until])
            if high > low:
                here = at_s[low:high].astype(float)
                own = owner[low:high] == place
                probe_c = batch.samples.probe_c[low:high]
                probe = trace(here[own], probe_c[own], low_c, high_c, from_s, until, _STICK_S)
                bench = trace(here, batch.samples.bench_c[low:high], math.nan, math.nan, from_s, until, 0.0)
                if step.kind in (plans.PROOF, plans.BULK):
                    dose_s = traces.gathered_s(plan, here, np.where(own, probe_c, np.nan))
        ticks = tuple((text, bool(bits >> n & 1)) for n, text in enumerate(step.ticks))
        steps.append(StepAccount(
            step, step_title(step), state, from_s, ready_s, to_s,
            CAUSE_WORDS.get(past.cause[place], ""), low_c, high_c, probe, bench, dose_s, ticks,
            bool(past.unsure[place] & history.UNSEEN),
        ))  # fmt: skip
    dew_c = dew_points(batch)
    wet = batch.samples.bench_c < dew_c if len(batch.samples) else np.zeros(0, bool)
    interval = np.minimum(np.diff(batch.samples.at_s, append=batch.samples.at_s[-1:]), 60) if len(wet) else np.zeros(0)
    ended = [s.to_s for s in steps if s.to_s is not None and s.state == S.DONE]
    return Account(
        batch=batch, steps=tuple(steps), owner=owner, alarms=_alarms(batch.records), gaps=gaps(batch),
        bends=tuple((r.at_s, r.body[0], r.body[1]) for r in batch.records if r.type == J.BEND),
        notes=tuple((r.at_s, str(r.body[0])) for r in batch.records if r.type == J.NOTE),
        boots=sum(1 for r in batch.records if r.type == J.BOOT),
        dew_c=dew_c, wet_s=float(np.sum(interval[wet])) if len(wet) else 0.0,
        slip_s=float(max(ended) - plan.ready_at_s) if ended and all(s.state in (S.DONE, S.SKIPPED) for s in steps)
        else math.nan,
    )  # fmt: skip


def dew_points(batch: Batch) -> Floats:
    """Return the room's dew point at each sample, °C: from AIR records where there are any, else as planned.

    Magnus form, coefficients of Alduchov and Eskridge 1996 (from memory), above 0 °C.
    """
    at_s = batch.samples.at_s.astype(float)
    air = [(r.at_s, r.body[0] / 100.0, r.body[1]) for r in batch.records if r.type == J.AIR and r.body[0] != NO_CDEG]
    if air:
        times = np.array([a[0] for a in air], float)
        t = np.interp(at_s, times, np.array([a[1] for a in air]))
        rh = np.interp(at_s, times, np.array([a[2] for a in air], float))
    else:
        room = _c(batch.plan.room_cdeg)
        t = np.full(len(at_s), room)
        rh = np.full(len(at_s), float(batch.plan.room_rh_pct) or math.nan)
    return dew_point_c(t, rh)


def dew_point_c(t_c: Floats | float, rh_pct: Floats | float) -> Floats:
    """Return dew points of air at t_c with rh_pct, °C; NaN stays NaN."""
    gamma = np.log(np.clip(rh_pct, 1.0, 100.0) / 100.0) + 17.625 * np.asarray(t_c) / (243.04 + np.asarray(t_c))
    return np.where(np.isnan(rh_pct), np.nan, 243.04 * gamma / (17.625 - gamma))
