"""`tourier rehearse`: the main job from batch file to review, on the virtual bench timer."""

from __future__ import annotations

import argparse
import os
import tempfile
from datetime import UTC, datetime
from pathlib import Path

from tourier.cli.output import Output
from tourier.cli.run import UserError
from tourier.files import save


def run(args: argparse.Namespace, out: Output) -> int:
    """Rehearse and print what a cook wants to see, and where everything was kept."""
    from tourier.device.virtual.scenarios import SCENARIOS

    if args.scenarios:
        out.result({name: scenario.sentence for name, scenario in SCENARIOS.items()})
        out.lines(f"{name:18} {scenario.sentence}" for name, scenario in SCENARIOS.items())
        return 0
    if args.scenario not in SCENARIOS:
        raise UserError(f"There is no scenario {args.scenario}; there are: {', '.join(SCENARIOS)}.")
    from tourier import places, rehearsal
    from tourier.device.virtual.interpreter import ready
    from tourier.known import Lessons

    ready()

    if args.batch:
        from tourier.cli.common import batch_text, lessons

        (text, where), now, learned = batch_text(args.batch), datetime.now(UTC), lessons()
    else:
        from tourier.batch.examples import demo_text

        # Nothing learned here: the same seed gives the same rehearsal in every kitchen.
        text, where, now, learned = demo_text(), "demo batch", rehearsal.DEMO_NOW, Lessons()
    if args.keep:
        keep, instead_of = Path(args.keep), None
        if keep.exists() and not keep.is_dir():
            raise UserError(f"{keep} is a file; --keep needs a folder.")
        if (keep / "flash.img").exists():
            raise UserError(f"{keep} holds another rehearsal; name a new folder.")
    else:
        # A rehearsal is nobody's only copy of anything: a home that is read-only is no reason not to play one.
        usual = places.rehearsals_folder()
        instead_of = None if _writable(usual) else usual
        parent = usual if instead_of is None else Path(tempfile.mkdtemp(prefix="tourier-rehearsals-"))
        keep = rehearsal.new_folder(parent, datetime.now())
    done = rehearsal.rehearse(text, where, now, learned, args.scenario, args.seed, keep, out.progress)
    html = keep / "report.html"
    _write_report(done, html)
    out.result(_json(done, html))
    _show(out, done, html)
    if instead_of:
        out.line(f"It is kept there because {instead_of} cannot be written.")
    return 0


def _writable(folder: Path) -> bool:
    """Whether a folder can be written, or made where the nearest one above it that exists can be; makes nothing."""
    there = next(one for one in (folder, *folder.parents) if one.exists())
    return there.is_dir() and os.access(there, os.W_OK | os.X_OK)


def _write_report(done, html: Path) -> None:
    from tourier.logbook.reports.html import report_html

    save(html, report_html(done.review))


def _json(done, html: Path) -> dict:
    from tourier.dayplan.jsonable import plan_json
    from tourier.logbook.reports.json import review_dict

    return {
        "schema": "tourier/rehearsal/1", "scenario": done.scenario, "seed": done.seed, "kept": str(done.kept),
        "report": str(html), "plan": plan_json(done.design.day), "review": review_dict(done.review),
        "log_bytes": done.log_bytes, "wall_s": done.wall_s, "timer": done.counters,
    }  # fmt: skip


def _show(out: Output, done, html: Path) -> None:
    from tourier.cli.plan import show_plan
    from tourier.cli.review import show_review

    show_plan(out, done.design.day)
    out.heading("Played on the virtual bench timer")
    out.line(f"Scenario {done.scenario} (seed {done.seed}): {done.sentence}")
    out.line(
        f"Plan of {done.log_bytes['plan']} bytes sent; journal of {done.log_bytes['journal']} and temperatures of "
        f"{done.log_bytes['samples']} bytes collected."
    )
    out.line("Seconds: " + ", ".join(f"{name} {seconds:.1f}" for name, seconds in done.wall_s.items()) + ".")
    show_review(out, done.review.account.batch, done.review)
    out.line()
    out.line(f"Kept in {done.kept}")
    out.line(f"Report: {html}")
    out.line(f"Look again: tourier review --logbook {done.kept / 'logbook.sqlite'}")
