"""`tourier replan`: plan the rest of the day anew from what has really happened, and send it."""

from __future__ import annotations

import argparse

from tourier.cli.common import batch_text, lessons, open_timer, progress_of
from tourier.cli.output import Output, table


def run(args: argparse.Namespace, out: Output) -> int:
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
        "ready_at": found.plan.ready_at.isoformat(), "late_s": found.late_s, "sentence": found.sentence,
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
