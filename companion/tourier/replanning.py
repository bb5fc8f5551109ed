"""A new plan for a day that runs on a timer: ask what happened, plan the rest. Command line and desk share it."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from shared_schedule import messages as m
from shared_schedule import plan as wire
from tourier import planning
from tourier.dayplan.model import BadWish, Job, from_at_s
from tourier.dayplan.plan import adopt
from tourier.dayplan.replan import Replanned, happened, replan

if TYPE_CHECKING:
    from tourier.device.client import DayReport, Timer


class _Happened:
    """A DayReport in the shape of a day's state."""

    def __init__(self, report: DayReport) -> None:
        self.steps = [step.state for step in report.steps]
        self.started_at_s = [step.started_at_s for step in report.steps]
        self.ended_at_s = [step.ended_at_s for step in report.steps]


def replan_from_timer(timer: Timer, text: str, where: str, ready: str | None, logbook: Path | None) -> Replanned:
    """Return the best rest of the day. `ready`: a new ready time as written in a batch file, None to keep it.

    Raises BadWish when the timer holds no plan or another batch's, Impossible when nothing fits, BatchError, LinkError.
    """
    from tourier.batch.read import read_batch_text
    from tourier.batch.when import moment
    from tourier.batch.workup import work_up

    report = timer.state()
    if not report.plan_id:
        raise BadWish("timer", "holds no plan; send one first.")
    held = wire.decode(timer.collect(m.STREAM_PLAN))
    made = from_at_s(held.made_at_s)
    # "Sunday" in the file means the Sunday it meant when the plan was made.
    spec = read_batch_text(text, where, made)
    # The hour the timer works towards is the wish, also when an earlier replan changed it or it has passed since.
    spec = replace(spec, ready_at=from_at_s(held.ready_at_s).astimezone(ZoneInfo(spec.zone)))
    spec, figures = planning.apply(spec, planning.learned_values(spec, logbook))
    running = adopt([Job(spec, work_up(spec, figures or None))], held)
    now = from_at_s(report.at_s)
    wished: datetime | None = None
    if ready is not None:
        try:
            wished = moment(ready, ZoneInfo(spec.zone), now, forward=True, least=timedelta(0))
        except ValueError as error:
            raise BadWish("ready time", f"{error}.") from None
        if wished <= now:
            raise BadWish("ready time", f"{wished:%Y-%m-%d %H:%M} is already past; name one ahead, or none to keep it.")
    return replan(running, happened(running, _Happened(report)), now, ready=wished, chance=True)
