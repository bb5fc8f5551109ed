"""Judge a built bench timer against a reference thermometer. Standard library only; see README.md for the file.

python hardware/validation/judge.py my-unit.csv
"""

from __future__ import annotations

import csv
import math
import statistics
import sys
from dataclasses import dataclass
from pathlib import Path

GOAL_K = 0.5
RANGE_C = (-2.0, 32.0)  # 0 to 30 °C, and what a bath may miss it by
LEAST_READINGS = 12
DRIFT_K = 0.2
RESOLUTION_K = 0.1  # of both displays; uniform, so 0.1/sqrt(12) each
COVERAGE = 2.0
MAX_OCTETS = 2_000_000
COLUMNS = ("bath", "elapsed_s", "sensor", "shown_c", "reference_c")


@dataclass(frozen=True)
class Verdict:
    """One bath and sensor: temperatures in °C, differences in K."""

    bath: str
    sensor: str
    readings: int
    reference_c: float
    error_k: float
    uncertainty_k: float
    verdict: str
    reason: str


@dataclass(frozen=True)
class Reading:
    bath: str
    elapsed_s: float
    sensor: str
    shown_c: float
    reference_c: float


def _clean(text: str) -> str:
    """Text from a file, short and without control characters, fit for a terminal."""
    return "".join(ch for ch in text.strip() if ch.isprintable())[:40]


def read(path: Path) -> tuple[dict[str, str], list[Reading]]:
    """(notes, readings). ValueError says which line is wrong and how to put it right."""
    if path.stat().st_size > MAX_OCTETS:
        raise ValueError(f"{path.name} is larger than 2 MB; that is no validation file")
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except UnicodeDecodeError as error:
        raise ValueError(f"{path.name} is not UTF-8 text; save it as CSV UTF-8") from error
    notes: dict[str, str] = {}
    body: list[tuple[int, str]] = []
    for number, line in enumerate(lines, 1):
        if line.startswith("#"):
            key, colon, value = line[1:].partition(":")
            if colon:
                notes[_clean(key)] = _clean(value)
        elif line.strip():
            body.append((number, line))
    if not body or tuple(name.strip() for name in body[0][1].split(",")) != COLUMNS:
        raise ValueError(f"{path.name}: the first line after the notes must be {','.join(COLUMNS)}")
    found: list[Reading] = []
    last: dict[tuple[str, str], float] = {}
    for (number, _), row in zip(body[1:], csv.reader(line for _, line in body[1:]), strict=True):
        where = f"{path.name} line {number}"
        if len(row) != len(COLUMNS):
            raise ValueError(f"{where}: {len(row)} columns instead of {len(COLUMNS)}")
        bath, sensor = _clean(row[0]), _clean(row[2])
        if sensor not in ("probe", "bench"):
            raise ValueError(f"{where}: sensor is probe or bench, not {sensor!r}")
        try:
            elapsed, shown, reference = float(row[1]), float(row[3]), float(row[4])
        except ValueError as error:
            raise ValueError(f"{where}: a number is not a number; use a point, not a comma") from error
        if not all(map(math.isfinite, (elapsed, shown, reference))) or not all(
            -40 <= t <= 120 for t in (shown, reference)
        ):
            raise ValueError(f"{where}: temperatures are in °C between -40 and 120")
        if elapsed <= last.get((bath, sensor), -math.inf):
            raise ValueError(f"{where}: elapsed_s must rise within a bath")
        last[bath, sensor] = elapsed
        found.append(Reading(bath, elapsed, sensor, shown, reference))
    return notes, found


def tolerance_k(notes: dict[str, str]) -> float:
    """The reference's own tolerance in K from the notes."""
    try:
        value = float(notes["reference_tolerance_k"])
    except (KeyError, ValueError):
        raise ValueError("the note '# reference_tolerance_k: 0.1' is missing: how good is the reference?") from None
    if not 0 < value <= 5:
        raise ValueError("reference_tolerance_k must be above 0 and at most 5")
    return value


def judge(readings: list[Reading], reference_tolerance_k: float) -> list[Verdict]:
    """One verdict for each bath and sensor, in the file's order."""
    groups: dict[tuple[str, str], list[Reading]] = {}
    for r in readings:
        groups.setdefault((r.bath, r.sensor), []).append(r)
    out = []
    for (bath, sensor), group in groups.items():
        errors = [r.shown_c - r.reference_c for r in group]
        references = [r.reference_c for r in group]
        mean = statistics.fmean(errors)
        scatter = statistics.stdev(errors) / math.sqrt(len(errors)) if len(errors) > 1 else math.inf
        one = math.sqrt(scatter**2 + 2 * RESOLUTION_K**2 / 12 + reference_tolerance_k**2 / 3)
        uncertainty = COVERAGE * one
        middle = statistics.fmean(references)
        if len(group) < LEAST_READINGS:
            verdict, reason = "cannot tell", f"{len(group)} readings; take at least {LEAST_READINGS}"
        elif max(references) - min(references) > DRIFT_K:
            verdict, reason = (
                "cannot tell",
                f"the bath moved by {max(references) - min(references):.2f} K; stir and wait",
            )
        elif not RANGE_C[0] <= middle <= RANGE_C[1]:
            verdict, reason = "cannot tell", "the goal is for 0 to 30 °C only"
        elif abs(mean) + uncertainty <= GOAL_K:
            verdict, reason = "pass", ""
        elif abs(mean) - uncertainty > GOAL_K:
            verdict, reason = "fail", "do the ice point again; check curve and divider resistor"
        else:
            verdict, reason = "cannot tell", "too close to the goal for this reference"
        out.append(Verdict(bath, sensor, len(group), middle, mean, uncertainty, verdict, reason))
    return out


def main(arguments: list[str]) -> int:
    """0 when every bath passes, 1 when one fails or cannot be told, 2 when the file cannot be read."""
    if len(arguments) != 1:
        print("usage: python hardware/validation/judge.py FILE.csv", file=sys.stderr)
        return 2
    try:
        notes, readings = read(Path(arguments[0]))
        verdicts = judge(readings, tolerance_k(notes))
    except (OSError, ValueError) as error:
        print(f"judge: {error}", file=sys.stderr)
        return 2
    if notes.get("demo"):
        print("DEMONSTRATION with invented numbers: it measures nothing.")
    print(
        f"unit: {notes.get('unit', 'not named')}; reference within {notes['reference_tolerance_k']} K; goal {GOAL_K} K"
    )
    for v in verdicts:
        found = f"error {v.error_k:+.2f} ± {v.uncertainty_k:.2f} K  {v.verdict}"
        reason = f" ({v.reason})" if v.reason else ""
        print(f"{v.bath:12} {v.sensor:6} {v.reference_c:6.2f} °C  {found}{reason}")
    return 0 if verdicts and all(v.verdict == "pass" for v in verdicts) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
