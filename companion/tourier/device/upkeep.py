"""Looking after bench timers: which are plugged in, is this one well, set its clock, its ice and boiling points.

Each function opens the port itself, unless a Timer is handed in; each raises the classes of errors.py.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from datetime import datetime

from shared_schedule import day as D
from shared_schedule import messages as m
from shared_schedule.plan import decode
from tourier.device.client import ClockReading, DeviceInfo, Timer
from tourier.device.errors import LinkError, Refused, plain
from tourier.device.ports import candidates
from tourier.voice import METRIC, Voice, voice_of_plan

TASKS = ("link", "buttons", "sample", "day", "store", "screen")  # order of the firmware's supervisor

# What can be set on a timer (firmware/config.py; a test compares the two), and what each is.
SETTINGS = {
    "curve_bench": "thermistor on the bench: 103at or 3977",
    "curve_probe": "thermistor in the probe: 103at or 3977",
    "ohm_bench": "its fixed resistor, ohms",
    "ohm_probe": "its fixed resistor, ohms",
    "contrast": "brightness of the display, 1 to 255",
    "sound": "1 = sounds, 0 = light only",
    "watchdog": "1 = restarts itself when it hangs; counts from the next start",
    "smps_pwm": "1 = steady regulator frequency of a plain Pico; counts from the next start",
}


@dataclass(frozen=True)
class Found:
    """A port that may be a timer: `info` when it answered, else `why` it is not taken for one."""

    port: str
    serial_number: str
    description: str
    info: DeviceInfo | None
    why: str = ""


@dataclass(frozen=True)
class Check:
    """State of health. `worst_ms` by task; `wear_years` until the flash is worn at the present pace (9999: longer)."""

    info: DeviceInfo
    passed: bool
    lines: tuple[str, ...]
    counters: dict[str, int]
    worst_ms: dict[str, float]
    wear_years: int
    clock: ClockReading
    batches: tuple[tuple[int, bool], ...]  # (plan id, collected)


def list_timers() -> list[Found]:
    """Every port with a board of this family, asked whether it is a bench timer."""
    found = []
    for candidate in candidates():
        info, why = None, ""
        try:
            with Timer.open(candidate.port) as timer:
                info = timer.info
        except LinkError as problem:
            why = str(problem)
        found.append(Found(candidate.port, plain(candidate.serial_number), plain(candidate.description), info, why))
    return found


def check(timer: Timer) -> Check:
    """Self-test, counters, clock and the batches held."""
    assert timer.info is not None  # an open timer has said who it is
    passed, lines = timer.self_test()
    worst = timer.setting("latency").decode(errors="replace").partition(";")[0].split(",")
    raw = timer.setting("batches")
    return Check(
        timer.info,
        passed,
        tuple(plain(line) for line in lines),
        timer.device_counters(),
        {name: int(value) / 10 for name, value in zip(TASKS, worst, strict=False)},
        int(timer.setting("wear_years")),
        timer.read_clock(),
        tuple((plan_id, flags & 3 == 3) for plan_id, flags in struct.iter_unpack("<IB", raw)),
    )


def set_clock(timer: Timer) -> ClockReading:
    """Set the timer's clock from this computer's, with this computer's offset from UTC."""
    offset = datetime.now().astimezone().utcoffset()
    return timer.set_clock(offset_min=round(offset.total_seconds() / 60) if offset else 0)


def settings(timer: Timer) -> dict[str, str]:
    """Every setting as text; what an older firmware does not know is left out."""
    found = {}
    for name in SETTINGS:
        try:
            found[name] = plain(timer.setting(name).decode(errors="replace"))
        except Refused:
            continue
    return found


def set_setting(timer: Timer, name: str, text: str) -> str:
    """Set one; return it as the timer then has it. Raises Refused with the timer's own limits."""
    timer.set_setting(name, text.encode())
    return plain(timer.setting(name).decode(errors="replace"))


def forget(timer: Timer, deliberate: bool = False) -> None:
    """Let the timer put its plan away. It refuses in a running day or before a finished one was collected, unless
    `deliberate`; then what was not collected is dropped when its room is needed.
    """
    timer.command(m.ACTION_FORGET_PLAN, 0, D.DELIBERATE if deliberate else 0)


def voice(timer: Timer) -> Voice:
    """How measures are said to the cook of this timer: as its plan says, metric without a plan."""
    if not timer.state().plan_id:
        return METRIC
    return voice_of_plan(decode(timer.collect(m.STREAM_PLAN)))


def ice_point(timer: Timer, channel: str) -> int:
    """Take the present reading of `bench` or `probe` as 0 °C; return the offset kept (0.01 K).

    The sensor lies in a thermos of crushed ice and water, stirred, until its reading stands still.
    """
    timer.set_setting("ice_point", channel.encode())
    return int(timer.setting(f"offset_{channel}"))


def boil_point(timer: Timer, channel: str, expected_cdeg: int) -> int:
    """Compare the present reading with the boiling point here; return the error (0.01 K). Changes no reading."""
    timer.set_setting("boil_point", f"{channel}:{expected_cdeg}".encode())
    return int(timer.setting("boil_error"))
