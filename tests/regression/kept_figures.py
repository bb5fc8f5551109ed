"""Every figure of some documents that a cook can ask for, kept to see which change moves them. All are *regression*.

    python tests/regression/kept_figures.py --write   # when the change is meant

Words are left out, and so is the clock of a plan, which a solver may lay otherwise and no worse. Keys may be added.
"""

from __future__ import annotations

import contextlib
import io
import json
import math
import os
import re
import sys
import tempfile
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

HERE = Path(__file__).resolve().parent
LOGS = HERE.parent / "vectors" / "logs"
PLANS = ("demo", "demo frozen", "home-inches", "mixed-shapes", "puff")  # a second word freezes half a kind raw
CLOCK = re.compile(
    r"start.*|end.*|.*_at_s|.*_at|made.*|slack.*|late.*|ready.*|chance|away|warnings|quiet|id|after|wait.*|offset.*|crc.*|size.*|proven|planned_for_s|rises|duty_s"
)


def said(*arguments: object) -> dict:
    """The JSON that a command prints, run in this process."""
    from tourier.cli import main

    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(io.StringIO()):
        code = main([str(each) for each in arguments])
    assert code == 0, out.getvalue()
    return json.loads(out.getvalue())


def numbers(found: object) -> object:
    """The same shape with its figures alone; None where there are none."""
    if isinstance(found, dict):
        kept = {key: numbers(value) for key, value in found.items() if not CLOCK.fullmatch(key)}
        return {key: value for key, value in kept.items() if value is not None} or None
    if isinstance(found, list):
        kept_list = [numbers(value) for value in found]
        return kept_list if any(value is not None for value in kept_list) else None
    return found if isinstance(found, int | float) else None


def _next_week(ready: re.Match[str]) -> str:
    """The same weekday and hour of the week after this: today's hour does not press."""
    day = date.today() + timedelta(days=8)
    while f"{day:%A}" != ready[1]:
        day += timedelta(days=1)
    return f'ready = "{day:%Y-%m-%d} {ready[2]}"'


def planned(name: str, folder: Path) -> dict:
    """A batch of the examples worked out, and what the timer gets of it."""
    from tourier.batch import examples

    from shared_schedule import plan as wire

    name, _, frozen = name.partition(" ")
    text = (Path(examples.__file__).parent / f"{name}.toml").read_text(encoding="utf-8")
    text = text.replace("count = 24\n", "count = 24\nfreeze = 8\n", 1) if frozen else text
    text = re.sub(r'^ready = "(\w+) (.*)"$', _next_week, text, flags=re.M)
    file = folder / f"{name}.toml"
    file.write_text(text, encoding="utf-8")
    document = said("plan", file, "--json", "--write", folder / "plan.bin")
    document["steps"].sort(key=lambda step: step["key"])  # two pâtons may take turns in either order
    plan = wire.decode((folder / "plan.bin").read_bytes())
    sent = {field[0]: getattr(plan, field[0]) for field in wire.PLAN_FIELDS}
    steps = [{field[0]: getattr(step, field[0]) for field in wire.STEP_FIELDS} for step in plan.steps]
    steps.sort(key=lambda step: step["step_id"])
    return {"document": numbers(document), "sent": numbers(sent), "sent_steps": numbers(steps)}


def looked_back(name: str, folder: Path) -> dict:
    """A kept log: its review, and what it teaches."""
    from tourier.logbook.record.store import Logbook

    log, book = LOGS / name, folder / "logbook.sqlite"
    with Logbook(book) as opened:
        octets = [(log / f"{part}.bin").read_bytes() for part in ("plan", "journal", "samples")]
        number = opened.collect("0011223344556677", *octets, (log / "batch.toml").read_text(encoding="utf-8"))
    bready = said("review", number, "--logbook", book, "--saw", "bready", "--json")
    return {"review": numbers(bready), "learn": numbers(said("learn", "--logbook", book, "--json"))}


CASES = {name: planned for name in PLANS} | {name: looked_back for name in ("good", "warm-third-fold")}


def differences(kept: object, now: object, path: str = "") -> Iterator[str]:
    """Where figures are not what they were; what is new is no difference."""
    if isinstance(kept, dict) and isinstance(now, dict):
        for key, value in kept.items():
            yield from differences(value, now.get(key), f"{path}.{key}")
    elif isinstance(kept, list) and isinstance(now, list):
        if len(kept) != len(now):
            yield f"{path}: {len(kept)} entries, now {len(now)}"
        for place, (was, value) in enumerate(zip(kept, now, strict=False)):
            yield from differences(was, value, f"{path}[{place}]")
    elif isinstance(kept, float) and isinstance(now, int | float):
        if not math.isclose(kept, now, rel_tol=1e-6, abs_tol=1e-9):
            yield f"{path}: {kept}, now {now}"
    elif kept != now and kept is not None:
        yield f"{path}: {kept}, now {now}"


def kept_file(name: str) -> Path:
    """Where a case is kept."""
    return HERE / "kept" / f"{name.replace(' ', '-')}.json"


if __name__ == "__main__":
    for name, find in CASES.items():
        with tempfile.TemporaryDirectory() as home:
            os.environ["TOURIER_HOME"] = str(Path(home) / "home")
            found = find(name, Path(home))
        before = json.loads(kept_file(name).read_text()) if kept_file(name).exists() else {}
        print(name, *differences(before, found), sep="\n  ")
        if "--write" in sys.argv:
            kept_file(name).parent.mkdir(exist_ok=True)
            kept_file(name).write_text(json.dumps(found, separators=(",", ":")) + "\n")
