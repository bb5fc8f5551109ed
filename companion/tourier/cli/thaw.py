"""`tourier thaw`: the day of pieces frozen raw, planned from the batch they were kept with."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from tourier.cli.common import batch_text, lessons, open_timer, progress_of, refuse_second_day
from tourier.cli.output import Output
from tourier.cli.plan import write_files
from tourier.cli.run import UserError
from tourier.plantext import rise_lines, timetable_lines

if TYPE_CHECKING:
    from tourier.design import Design


def run(args: argparse.Namespace, out: Output) -> int:
    """Plan thaw, proof and bake of the frozen pieces for another hour; write and send as asked."""
    from tourier.batch.when import WhenError
    from tourier.dayplan.jsonable import plan_json

    try:
        made = _design(args)
    except WhenError as error:
        raise UserError(f"{str(error)[0].upper()}{str(error)[1:]}.") from None
    day = made.day
    sent = _send(args, out, made) if args.send else None
    written = write_files(args, made)
    out.result({**plan_json(day), "sent": sent})
    out.heading(day.name)
    out.line(f"Ready {day.planned_at.strftime('%A %d %B, %H:%M')}.")
    out.lines(timetable_lines(day))
    out.lines(rise_lines(day))
    if day.chance is not None:
        sure = round(day.chance.ready_by * 100)
        out.line(f"Chance to be ready by {day.wished[0]:%H:%M}, the hour you asked for: {sure} % of simulated days.")
    out.lines(f"- {warning}" for warning in day.warnings)
    for file in written:
        out.line(f"Written: {file}")
    if sent:
        out.line(f"The timer now holds this plan ({sent}).")
    return 0


def _design(args: argparse.Namespace) -> Design:
    from tourier import design
    from tourier.batch.when import moment

    now = datetime.now(UTC)
    text, name, frozen = _stored(args)
    made = design.draft(text, name, frozen or now, lessons(args.logbook))
    zone = ZoneInfo(made.spec.zone)
    if args.frozen:
        frozen = moment(args.frozen, zone, now, forward=False)
    if frozen is None:
        raise UserError('Say when the pieces were frozen: --frozen "2026-11-28 15:00".')
    if frozen > now:
        raise UserError(f"The pieces were frozen {frozen.astimezone(zone):%a %d %b %H:%M}, and that is still to come.")
    return design.thawed(made, frozen, moment(args.ready, zone, now, forward=True, least=timedelta(0)), now)


def _stored(args: argparse.Namespace) -> tuple[str, str, datetime | None]:
    """Return (batch text, name, when its pieces were frozen or None) of a batch of the logbook, or of a file."""
    if not args.batch.isdecimal() or Path(args.batch).exists():
        return (*batch_text(args.batch), None)
    from shared_schedule import day as D
    from shared_schedule import journal as J
    from shared_schedule import plan as wire
    from tourier.cli.logbook import batch_number, open_book
    from tourier.dayplan.model import from_at_s

    with open_book(args) as logbook:
        batch = logbook.load(batch_number(args.batch))
    if not batch.batch_text:
        raise UserError(f"Batch {args.batch} was collected without its batch file; name the file instead.")
    kinds = {step.step_id: step.kind for step in batch.plan.steps}
    ends = [
        record.at_s for record in batch.records
        if record.type == J.STEP and kinds.get(record.body[0]) == wire.FREEZE and record.body[2] == D.DONE
    ]  # fmt: skip
    return batch.batch_text, batch.name, from_at_s(min(ends)) if ends else None


def _send(args: argparse.Namespace, out: Output, made: Design) -> str:
    """Put the plan on the timer; return its number."""
    from tourier import files

    with open_timer(args, out) as timer:
        assert timer.info is not None
        refuse_second_day(timer, made.plan, replace=True, another_day=True)
        if not timer.info.clock_ok:
            raise UserError("The timer does not know the time: set it first (tourier device clock).")
        files.keep_sent(made.plan_id, made.text)
        timer.send_plan(made.data, progress_of(out, "Sending the plan"))
    return f"{made.plan_id:08x}"
