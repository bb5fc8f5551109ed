"""Arguments of every command. Each command names the module that runs it; nothing heavy is imported here."""

from __future__ import annotations

import argparse
from importlib import metadata

_PORT_HELP = "serial port or pyserial URL of the bench timer; left out: the one timer that answers"


def _version() -> str:
    try:
        return metadata.version("tourier")
    except metadata.PackageNotFoundError:
        return "unknown"


def _json(command: argparse.ArgumentParser) -> None:
    command.add_argument("--json", action="store_true", help="print one JSON object instead of prose")


def _port(command: argparse.ArgumentParser) -> None:
    command.add_argument("--port", metavar="P", help=_PORT_HELP)
    command.add_argument("--capture", metavar="FILE", help="keep every byte of the link in FILE (see: link decode)")


def _book(command: argparse.ArgumentParser) -> None:
    command.add_argument("--logbook", metavar="FILE", help="logbook to use instead of the usual one (see: where)")


def _papers(command: argparse.ArgumentParser) -> None:
    command.add_argument("--ics", metavar="FILE", help="write the timetable as a calendar")
    command.add_argument("--card", metavar="FILE", help="write the printable bench card (HTML)")
    command.add_argument("--write", metavar="FILE", help="write the plan's bytes as the timer holds them")


def build_parser() -> argparse.ArgumentParser:
    """Return the parser; its `module` is MODULE (whose `run` is meant) or MODULE.FUNCTION in tourier.cli."""
    parser = argparse.ArgumentParser(
        prog="tourier",
        description="Plan laminated dough back from the hour it is wanted, run the day on the bench timer, "
        "and find out afterwards which fold went wrong. With no command: the desk application.",
        epilog="Exit codes: 0 done, 1 a bug in Tourier, 2 your input, 3 the timer or its link.",
    )
    parser.add_argument("--version", action="version", version=f"tourier {_version()}")
    parser.set_defaults(module="begin.desk", file=None, port=None, json=False)
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")

    def command(name: str, module: str, text: str) -> argparse.ArgumentParser:
        added = commands.add_parser(name, help=text, description=text[0].upper() + text[1:] + ".")
        added.set_defaults(module=module)
        return added

    rehearse = command(
        "rehearse", "rehearse", "play the whole job on the virtual bench timer: plan, send, two days, review"
    )
    rehearse.add_argument(
        "batch", nargs="?", metavar="BATCH.toml", help="batch file; left out: the built-in demo batch"
    )
    rehearse.add_argument(
        "--scenario", default="warm-third-fold", metavar="NAME", help="how the day goes (list: rehearse --scenarios)"
    )
    rehearse.add_argument("--scenarios", action="store_true", help="list the scenarios and stop")
    rehearse.add_argument("--seed", type=int, default=1, metavar="N", help="which virtual kitchen (default 1)")
    rehearse.add_argument(
        "--keep", metavar="DIR", help="keep everything made in DIR (default: a new folder, named at the end)"
    )
    _json(rehearse)

    plan = command("plan", "plan", "work out sheets, weights and the timetable of a batch file")
    plan.add_argument("batch", metavar="BATCH.toml", nargs="+", help="several: one day of one cook in one kitchen")
    _papers(plan)
    plan.add_argument("--cut-map", metavar="FILE", help="write the cut map (SVG)")
    plan.add_argument("--table", action="store_true", help="every step's end, hands-on time, time to spare, place")
    plan.add_argument("--checks", action="store_true", help="say how each figure was found")
    _book(plan)
    _json(plan)

    thaw = command("thaw", "thaw", "plan the day of pieces that were frozen raw: thaw, proof, bake")
    thaw.add_argument("batch", metavar="BATCH", help="number of the batch in the logbook, or its batch file")
    thaw.add_argument("--ready", required=True, metavar="TIME", help='"Sunday 08:30" or "2026-12-20 08:30"')
    thaw.add_argument("--frozen", metavar="TIME", help="when they were frozen; left out: as the batch's log says")
    _papers(thaw)
    thaw.add_argument("--send", action="store_true", help="put the plan on the bench timer")
    _port(thaw)
    _book(thaw)
    _json(thaw)
    thaw.set_defaults(cut_map=None)

    send = command("send", "timer.send", "send the day's plan to the bench timer")
    send.add_argument("batch", metavar="BATCH.toml")
    send.add_argument("--replace", action="store_true", help="replace the plan of this batch while its day runs")
    send.add_argument("--another-day", action="store_true", help="with --replace: also by a plan for another day")
    send.add_argument("--keep-clock", action="store_true", help="plan by the timer's clock instead of setting it")
    _port(send)
    _json(send)

    watch = command("watch", "watch", "follow the bench timer while the day runs")
    watch.add_argument("--plain", action="store_true", help="one line a change, for scripts and screen readers")
    watch.add_argument("--for", dest="for_s", type=float, metavar="SECONDS", help="stop after so long")
    _port(watch)
    _json(watch)

    collect = command("collect", "timer.collect", "bring the log home into the logbook")
    collect.add_argument(
        "--keep-on-timer", action="store_true", help="do not tell the timer that its log was collected"
    )
    _port(collect)
    _book(collect)
    _json(collect)

    review = command("review", "review", "say what happened in a batch, and what to change")
    review.add_argument("batch", nargs="?", metavar="BATCH", help="number of the batch; left out: the newest")
    review.add_argument(
        "--saw",
        action="append",
        default=[],
        metavar="SYMPTOM",
        help="what you saw; repeat it (list: review --symptoms)",
    )
    review.add_argument("--symptoms", action="store_true", help="list the symptoms and stop")
    review.add_argument("--html", metavar="FILE", help="write the report as one HTML file")
    review.add_argument("--csv", metavar="FILE", help="write the samples as CSV, the steps beside them (FILE-steps)")
    review.add_argument("--log", metavar="FILE", help="write the whole batch in the open log format")
    _book(review)
    _json(review)

    virtual = command("virtual", "virtual", "serve a virtual bench timer on a port, for every other command")
    virtual.add_argument(
        "--speed", type=float, default=1.0, metavar="X", help="kitchen seconds in one second (default 1)"
    )
    virtual.add_argument(
        "--at", metavar="TIME", help='what its clock says at first, "2027-03-12 17:00+01:00" (default: now)'
    )
    virtual.add_argument("--flash", metavar="FILE", help="flash image to use and keep (default: a new one)")
    virtual.add_argument("--scenario", default="good", metavar="NAME", help="how the virtual cook works")
    virtual.add_argument("--seed", type=int, default=1, metavar="N")
    virtual.add_argument("--no-cook", action="store_true", help="nobody presses the buttons")
    virtual.add_argument("--for", dest="for_s", type=float, metavar="SECONDS", help="stop after so long")

    replan = command(
        "replan", "timer.replan", "plan the rest of the day anew from what has really happened, and send it"
    )
    replan.add_argument("batch", metavar="BATCH.toml")
    replan.add_argument("--ready", metavar="TIME", help="a new hour to be ready at")
    replan.add_argument("--dry-run", action="store_true", help="show the new plan, send nothing")
    _port(replan)
    _json(replan)

    batches = command("batches", "logbook.batches", "list the batches in the logbook")
    _book(batches)
    _json(batches)
    compare = command("compare", "logbook.compare", "say what changed between two batches")
    compare.add_argument(
        "batches", nargs="*", metavar="BATCH", help="two or more; left out: newest against the last good one"
    )
    _book(compare)
    _json(compare)
    learn = command("learn", "logbook.learn", "fit fridge, bench, proof and butter from the logs")
    learn.add_argument("--forget", metavar="WHAT", help="take back one learned value")
    _book(learn)
    _json(learn)
    outcome = command("outcome", "logbook.outcome", "write down how a batch came out")
    outcome.add_argument("batch", metavar="BATCH")
    outcome.add_argument("--saw", action="append", default=[], metavar="SYMPTOM")
    outcome.add_argument("--rating", type=int, metavar="1-5")
    outcome.add_argument("--note", metavar="TEXT")
    outcome.add_argument("--photo", metavar="FILE")
    _book(outcome)
    _json(outcome)
    book = command("logbook", "logbook.logbook", "look after the logbook: check, back up, restore, import")
    book.add_argument("what", choices=["check", "backup", "restore", "import"])
    book.add_argument("file", nargs="?", metavar="FILE")
    _book(book)
    _json(book)

    link = command("link", "link", "look at the bytes of the link")
    link_parts = link.add_subparsers(dest="part", metavar="PART", required=True)
    trace = link_parts.add_parser("trace", help="show the link live, as text")
    trace.add_argument("--for", dest="for_s", type=float, metavar="SECONDS", help="stop after so long")
    _port(trace)
    decode = link_parts.add_parser("decode", help="turn captured bytes into text")
    decode.add_argument("file", metavar="FILE")

    device = command("device", "device", "install, check and calibrate the bench timer")
    device.add_argument(
        "part",
        choices=[
            "list", "install", "start", "check", "clock", "settings", "ice-point", "boil-point", "forget", "backup",
            "restore",
        ],
    )
    device.add_argument(
        "file", nargs="?", metavar="FILE", help="for backup and restore; for settings NAME=VALUE, left out: show them"
    )
    device.add_argument("--yes", action="store_true", help="for forget: also in a running day, also uncollected")
    device.add_argument("--probe", choices=["bench", "probe"], default="probe", help="which sensor to calibrate")
    device.add_argument("--altitude", metavar="HEIGHT", help='for boil-point: "300 m" or "1000 ft"')
    device.add_argument("--pressure", metavar="PRESSURE", help='for boil-point: station pressure, "980 hPa"')
    _port(device)
    _json(device)

    where = command("where", "begin.where", "print the paths that are used")
    _json(where)
    example = command("example", "begin.example", "print a batch file to start from")
    example.add_argument("name", nargs="?", metavar="NAME", help="left out: the demo batch; a wrong name lists them")
    desk = command("desk", "begin.desk", "open the desk application")
    desk.add_argument("file", nargs="?", metavar="BATCH.toml", help="batch file to open")
    desk.add_argument("--port", metavar="P", help="serial port or pyserial URL of the one timer to follow")
    return parser
