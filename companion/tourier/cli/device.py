"""`tourier device`: list, install, start, check, clock, settings, calibrate, forget, back up, restore."""

from __future__ import annotations

import argparse
import time
from dataclasses import asdict
from pathlib import Path

from tourier.cli.common import open_timer
from tourier.cli.output import Output, table
from tourier.cli.run import UserError

_STARTS_S = 15  # from the reset at the end of an installation until the timer answers


def run(args: argparse.Namespace, out: Output) -> int:
    """Run one part."""
    if args.file and args.part not in ("settings", "backup", "restore"):
        raise UserError(f"device {args.part} takes no {args.file}; see tourier device --help.")
    return _PARTS[args.part](args, out)


def _list(args: argparse.Namespace, out: Output) -> int:
    from tourier.device.upkeep import list_timers

    found = list_timers()
    out.result({"schema": "tourier/device/1", "ports": [asdict(one) for one in found]})
    rows = [["port", "board", "program", "plan"]]
    for one in found:
        if one.info is None:
            rows.append([one.port, one.serial_number, one.why, ""])
        else:
            rows.append([one.port, one.info.board_id, one.info.firmware, f"{one.info.plan_id:08x}"])
    out.lines(table(rows) if found else ["No bench timer is plugged in."])
    return 0


def _need_port(args: argparse.Namespace) -> str:
    if args.port:
        return args.port
    from tourier.device.ports import candidates

    ports = candidates()
    if len(ports) != 1:
        raise UserError(f"{len(ports)} boards are plugged in: name one with --port (device list shows them).")
    return ports[0].port


def _need_file(args: argparse.Namespace) -> Path:
    if not args.file:
        raise UserError(f"device {args.part} needs a FILE.")
    return Path(args.file)


def _install(args: argparse.Namespace, out: Output) -> int:
    from tourier.device.install import install

    done = install(_need_port(args), lambda name, n, total: out.progress(f"Installing {name}", n / max(1, total)))
    out.result({"schema": "tourier/device/1", **asdict(done)})
    out.line(f"{done.written} files written and verified, {done.unchanged} were right already, {done.removed} removed.")
    out.line("Journal, settings and calibration were left alone. The timer starts with the new program.")
    out.line(_clock_after_install(args, out))
    return 0


def _clock_after_install(args: argparse.Namespace, out: Output) -> str:
    """Set the clock of a board that has just started anew; a sentence about it."""
    from tourier.device.errors import LinkError
    from tourier.device.upkeep import set_clock

    until = time.monotonic() + _STARTS_S
    while True:
        try:
            with open_timer(args, out) as timer:
                set_clock(timer)
            return "Its clock is set."
        except LinkError:
            if time.monotonic() > until:
                return "Its clock is not set yet: tourier device clock does that."
            time.sleep(1)


def _start(args: argparse.Namespace, out: Output) -> int:
    from tourier.device.prompt import start_again

    port = _need_port(args)
    start_again(port)
    out.result({"schema": "tourier/device/1", "started": True})
    out.line("The board starts anew; the day goes on where its journal ends.")
    return 0


def _check(args: argparse.Namespace, out: Output) -> int:
    from tourier.device.upkeep import check

    with open_timer(args, out) as timer:
        health = check(timer)
    out.result({"schema": "tourier/device/1", **asdict(health)})
    out.lines(health.lines)
    out.line(f"Self-test: {'passed' if health.passed else 'NOT passed'}")
    out.line(
        f"Clock: {'known' if health.clock.ok else 'not known'}, {health.clock.error_s:+.1f} s against this computer"
    )
    out.line("Worst turn by task: " + ", ".join(f"{name} {ms:.1f} ms" for name, ms in health.worst_ms.items()))
    out.line("Counters: " + ", ".join(f"{name} {value}" for name, value in health.counters.items()))
    years = "more than 9000" if health.wear_years >= 9999 else str(health.wear_years)
    out.line(f"Flash lasts {years} years at this pace.")
    return 0 if health.passed else 3


def _clock(args: argparse.Namespace, out: Output) -> int:
    from tourier.device.upkeep import set_clock

    with open_timer(args, out) as timer:
        reading = set_clock(timer)
    out.result({"schema": "tourier/device/1", **asdict(reading)})
    out.line(f"The timer's clock is set, right within {max(reading.within_s, 0.001) * 1000:.0f} ms.")
    return 0


def _ice(args: argparse.Namespace, out: Output) -> int:
    from tourier.device.upkeep import ice_point, voice

    with open_timer(args, out) as timer:
        offset, said = ice_point(timer, args.probe), voice(timer)
    out.result({"schema": "tourier/device/1", "channel": args.probe, "offset_cdeg": offset})
    more = said.difference(offset / 100, 2, sign=True)
    out.line(f"Ice point kept for {args.probe}: {more} are added to its readings from now on.")
    return 0


def _boil(args: argparse.Namespace, out: Output) -> int:
    from tourier.craft import probe as craft_probe
    from tourier.device.upkeep import boil_point, voice

    expected_c = _boiling_c(args, craft_probe)
    with open_timer(args, out) as timer:
        error, said = boil_point(timer, args.probe, round(expected_c * 100)), voice(timer)
    out.result({"schema": "tourier/device/1", "channel": args.probe, "expected_c": expected_c, "error_cdeg": error})
    out.line(
        f"Water boils at {said.tenths(expected_c)} here; {args.probe} reads "
        f"{said.difference(error / 100, 2, sign=True)} off. Nothing was changed."
    )
    out.line(f"The ice point matters more: dough and butter live at {said.window(0, 30)}.")
    return 0


def _boiling_c(args: argparse.Namespace, craft_probe) -> float:
    from tourier.quantities import length_m, pressure_pa

    try:
        if args.pressure:
            return craft_probe.boiling_point_c(pressure_pa(args.pressure))
        if args.altitude:
            return craft_probe.boiling_point_c(craft_probe.pressure_at_altitude_pa(length_m(args.altitude)))
    except (ValueError, OverflowError) as error:
        raise UserError(f"{error}; write it such as --pressure \"980 hPa\" or --altitude \"300 m\".") from None
    raise UserError('boil-point needs --pressure "980 hPa" (better, as measured here) or --altitude "300 m".')


def _settings(args: argparse.Namespace, out: Output) -> int:
    from tourier.device.upkeep import SETTINGS, set_setting, settings

    name, equals, value = (args.file or "").partition("=")
    if args.file and (not equals or name not in SETTINGS):
        raise UserError(f"device settings takes NAME=VALUE; names are {', '.join(SETTINGS)}.")
    with open_timer(args, out) as timer:
        if args.file:
            set_setting(timer, name, value.strip())
        found = settings(timer)
    out.result({"schema": "tourier/device/1", "settings": found})
    rows = [["setting", "is", "what"]]
    rows += [[key, found[key], SETTINGS[key]] for key in ([name] if args.file else found)]
    out.lines(table(rows))
    return 0


def _forget(args: argparse.Namespace, out: Output) -> int:
    from tourier.device.errors import Refused
    from tourier.device.upkeep import forget

    with open_timer(args, out) as timer:
        assert timer.info is not None
        plan_id = timer.info.plan_id
        try:
            forget(timer, args.yes)
        except Refused as refused:
            if not plan_id or args.yes:
                raise
            raise UserError(f"The timer keeps its plan: {refused.text}. Add --yes to forget it anyway.") from None
    out.result({"schema": "tourier/device/1", "forgotten": f"{plan_id:08x}"})
    out.line("The timer holds no plan now.")
    return 0


def _backup(args: argparse.Namespace, out: Output) -> int:
    from tourier.device.install import backup

    file = _need_file(args)
    count = backup(_need_port(args), file, lambda name, n, total: out.progress(f"Saving {name}", n / max(1, total)))
    out.result({"schema": "tourier/device/1", "file": str(file), "files": count})
    out.line(f"{count} files saved in {file}.")
    return 0


def _restore(args: argparse.Namespace, out: Output) -> int:
    from tourier.device.install import restore

    file = _need_file(args)
    count = restore(_need_port(args), file, lambda name, n, total: out.progress(f"Restoring {name}", n / max(1, total)))
    out.result({"schema": "tourier/device/1", "file": str(file), "files": count})
    out.line(f"{count} files restored from {file}.")
    return 0


_PARTS = {
    "list": _list, "install": _install, "start": _start, "check": _check, "clock": _clock, "ice-point": _ice,
    "boil-point": _boil, "settings": _settings, "forget": _forget, "backup": _backup, "restore": _restore,
}  # fmt: skip
