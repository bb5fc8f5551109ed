"""The commands that bring a plan to the bench timer and its log home: send, replan, collect."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime
from pathlib import Path

from tourier.cli.common import (
    batch_text,
    check_batch,
    design_file,
    lessons,
    open_timer,
    progress_of,
    refuse_second_day,
)
from tourier.cli.output import Output, table
from tourier.cli.run import UserError
from tourier.voice import clock, span, step_name

_CLOCK_GOOD_S = 2.0  # a timer's crystal drifts about this much in a day; no reason to touch it


def send(args: argparse.Namespace, out: Output) -> int:
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
        refuse_second_day(timer, plan, args.replace, args.another_day)
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
        "clock": clock_words, "begins_in_s": begins - int(now_s), "ready_at": made.day.planned_at.isoformat(),
    }  # fmt: skip
    out.result(result)
    out.line(
        f"The timer now holds this plan: {plan.name}, {len(plan.steps)} steps, {len(made.data)} bytes"
        + ("." if stored else " (it had it already).")
    )
    out.line(f"Clock: {clock_words}.")
    out.line(
        f"First step {clock(begins, wire.offset_min_at(plan, begins))} ({step_name(plan.steps[0])}), "
        f"in {span(begins - now_s)}; ready {made.day.planned_at.strftime('%a %H:%M')}."
    )
    return 0


def replan(args: argparse.Namespace, out: Output) -> int:
    """Ask the timer what happened, plan, say what moves, and send unless --dry-run."""
    from tourier import design, files
    from tourier.dayplan.replan import by_words, hold_words

    text, name = batch_text(args.batch)
    with open_timer(args, out) as timer:
        made, found = design.redesign(timer, text, name, args.ready, lessons())
        if not args.dry_run:
            files.keep_sent(made.plan_id, text)
            timer.send_plan(made.data, progress_of(out, "Sending the new plan"))
    out.result({
        "schema": "tourier/replan/1", "sent": not args.dry_run, "plan_id": f"{made.plan_id:08x}",
        "ready_at": found.plan.planned_at.isoformat(), "late_s": found.late_s, "sentence": found.sentence,
        "chance": found.plan.chance and found.plan.chance.ready_by,
        "moved": [
            {"id": m.step_id, "name": m.name, "was": m.was.isoformat(), "now": m.now.isoformat(), "by_s": m.by_s}
            for m in found.moved
        ],
        "broken": [{"id": b.step_id, "name": b.name, "by_s": b.by_s, "sentence": b.sentence} for b in found.broken],
        "cold_holds": [
            {"id": h.step_id, "name": h.name, "until": h.until.isoformat(), "free_s": h.free_s} for h in found.holds
        ],
    })  # fmt: skip
    out.line(found.sentence)
    out.lines(f"{broken.sentence}." for broken in found.broken[3:])  # the sentence names the first three
    if found.plan.chance is not None:
        wished = found.plan.wished[0].strftime("%a %H:%M")
        out.line(f"Chance to be ready by {wished}: {round(found.plan.chance.ready_by * 100)} % (from simulated days).")
    if found.moved:
        rows = [["step", "was", "now", "moves"]]
        rows += [[m.name, f"{m.was:%a %H:%M}", f"{m.now:%a %H:%M}", by_words(m)] for m in found.moved]
        out.lines(table(rows, frozenset({3})))
    for hold in found.holds[1:]:  # the sentence names the first
        out.line(f"A delay may also go into {hold.name}: {hold_words(found.plan, hold)}.")
    out.line("Nothing was sent (--dry-run)." if args.dry_run else "The timer now holds the new plan; its log goes on.")
    return 0


def collect(args: argparse.Namespace, out: Output) -> int:
    """Collect plan, journal and samples, and put them into the logbook; nothing is half taken in."""
    from tourier import files, places
    from tourier.device.collecting import collect_batch
    from tourier.logbook.record.store import Logbook

    book_file = Path(args.logbook) if args.logbook else places.logbook_file()
    with open_timer(args, out) as timer:
        info = timer.info
        assert info is not None
        if not info.plan_id:
            raise UserError("The timer holds no plan and no log: there is nothing to collect.")
        log = collect_batch(timer, places.partial_logs_folder(), progress=progress_of(out, "Collecting the log"))
        text = files.sent_text(log.plan_id)
        with Logbook(book_file) as book:
            batch_id = book.collect(info.board_id, log.plan, log.journal, log.samples, text)
            name = book.load(batch_id).name
        if not args.keep_on_timer and not info.running:
            log.tell_collected(timer)
        log.forget_partial()
    out.result({
        "schema": "tourier/collect/1", "batch": batch_id, "name": name, "logbook": str(book_file),
        "journal_bytes": len(log.journal), "sample_bytes": len(log.samples), "running": info.running,
        "crash_log": log.crash.decode("utf-8", "replace"),
    })  # fmt: skip
    out.line(f"Batch {batch_id} ({name}) is in the logbook {book_file}.")
    out.line(f"{len(log.journal)} bytes of journal, {len(log.samples)} bytes of temperatures.")
    if log.crash:
        out.line("The timer kept a crash log as well; it is with the batch in --json.")
    if info.running:
        out.line("The day is still running: collect again when it is over, nothing is kept twice.")
    out.line(f"Next: tourier review {batch_id}")
    return 0
