"""`tourier send`: plan a batch file and put the plan on the bench timer."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime

from tourier.cli.common import check_batch, clock, design_file, open_timer, progress_of, refuse_second_day, span
from tourier.cli.output import Output
from tourier.cli.run import UserError

_CLOCK_GOOD_S = 2.0  # a timer's crystal drifts about this much in a day; no reason to touch it


def run(args: argparse.Namespace, out: Output) -> int:
    """Plan, set the clock if need be, send, and say that the timer now holds the plan."""
    from shared_schedule import plan as wire
    from shared_schedule.units import EPOCH_UNIX_S
    from tourier import files
    from tourier.device.client import project_now

    check_batch(args.batch, None if args.keep_clock else datetime.now(UTC))
    with open_timer(args, out) as timer:
        info = timer.info
        assert info is not None
        now_s = project_now()
        if args.keep_clock:
            if not info.clock_ok:
                raise UserError("The timer does not know the time: send without --keep-clock, and its clock is set.")
            now_s += timer.read_clock().error_s
        made = design_file(args.batch, datetime.fromtimestamp(EPOCH_UNIX_S + now_s, UTC), out)
        plan = made.plan
        refuse_second_day(timer, plan, args.replace)
        clock_words = "left as it is"
        if not args.keep_clock:
            reading = timer.read_clock()
            if not reading.ok or abs(reading.error_s) > _CLOCK_GOOD_S:
                offset_min = wire.offset_min_at(plan, int(now_s))
                reading = timer.set_clock(offset_min=offset_min)
                clock_words = f"set, right within {max(reading.within_s, 0.001) * 1000:.0f} ms"
            else:
                clock_words = f"right, {abs(reading.error_s):.1f} s off"
        files.keep_sent(made.plan_id, made.text)
        stored = timer.send_plan(made.data, progress_of(out, "Sending the plan"))
    begins = plan.steps[0].start_at_s
    result = {
        "schema": "tourier/send/1", "plan_id": f"{made.plan_id:08x}", "bytes": len(made.data),
        "steps": len(plan.steps), "stored": stored, "already_held": not stored, "board": info.board_id,
        "clock": clock_words, "begins_in_s": begins - int(now_s), "ready_at": made.day.ready_at.isoformat(),
    }  # fmt: skip
    out.result(result)
    out.line(
        f"The timer now holds this plan: {plan.name}, {len(plan.steps)} steps, {len(made.data)} bytes"
        + ("." if stored else " (it had it already).")
    )
    out.line(f"Clock: {clock_words}.")
    out.line(
        f"First step {clock(begins, wire.offset_min_at(plan, begins))} ({plan.steps[0].name}), "
        f"in {span(begins - now_s)}; ready {made.day.ready_at.strftime('%a %H:%M')}."
    )
    return 0
