"""What the virtual bench timer's screen says, read as a cook reads it."""

from __future__ import annotations

from dataclasses import dataclass

from shared_schedule.units import NO_CDEG


@dataclass(frozen=True)
class Glance:
    """One screen; fields as firmware/glance.py writes them. Temperatures in 0.01 °C, NO_CDEG = no reading."""

    screen: str = ""
    word: str = ""
    step_id: int = 0
    step_state: int = 0
    mode: int = 0
    alarm: int = 0
    alarm_step: int = 0
    fault: int = 0
    probe_cdeg: int = NO_CDEG
    bench_cdeg: int = NO_CDEG
    low_cdeg: int = NO_CDEG
    high_cdeg: int = NO_CDEG
    left_s: int = -1
    question: int = -1
    fold_n: int = 0
    fold_of: int = 0
    slack_s: int = 0
    line: str = ""
    left_label: str = ""
    middle_label: str = ""
    right_label: str = ""
    due: bool = False
    place: int = 0
    code: int = 0
    chosen: int = -1
    lines: tuple[str, ...] = ()

    def __getitem__(self, name: str):
        return getattr(self, name)


_TEXTS = {0, 1, 17, 18, 19, 20}
_FIELDS = 25


def parse_glance(octets: bytes) -> Glance:
    """Read one message of the firmware."""
    parts = octets.decode(errors="replace").split("\x1f")
    values: list = [part if at in _TEXTS else int(part) for at, part in enumerate(parts[:_FIELDS])]
    values[21] = bool(values[21])
    return Glance(*values, tuple(parts[_FIELDS:]))


def picture(memory: bytes, scale: int = 1) -> list[str]:
    """The display's memory as rows of '#' and '.', for a terminal or a failing test."""
    rows = []
    for y in range(64):
        rows.append("".join("#" if memory[x + 128 * (y // 8)] >> (y % 8) & 1 else "." for x in range(128)))
    return rows
