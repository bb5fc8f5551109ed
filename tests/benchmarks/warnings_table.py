"""How long ahead the timer warns that dough will get too warm, over many days in many kitchens, and where it cannot.

    python tests/benchmarks/warnings_table.py                  seeds 1-3
    python tests/benchmarks/warnings_table.py --seeds 1-8 --write     tests/outside/WARNINGS.md

The firmware's own rules under CPython (tests/faults/fast_day.py), the virtual kitchen, the scripted cook; the demo
batch. `bench_warnings.py` plays a few of these days on the real interpreter. A leaving counts as one that could be told
a minute before when the needle had been in dough, settled, inside the window and warming for SETTLED_S before; the rest
were too warm when they came to the bench, or became so at once, and are put down as such.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent / "faults"), str(HERE)]

from bench_warnings import SETTLED_S, WANTED_S, Leaving, leavings  # noqa: E402
from fast_day import FastDay  # noqa: E402
from fault_table import believed  # noqa: E402
from staged import demo_plan  # noqa: E402
from tourier.device.virtual.cook import Cook  # noqa: E402
from tourier.device.virtual.kitchen import PlayedKitchen  # noqa: E402
from tourier.device.virtual.scenarios import scenario  # noqa: E402

from shared_schedule import journal as J  # noqa: E402
from shared_schedule import samples  # noqa: E402
from shared_schedule.plan_writer import encode_plan  # noqa: E402

DAYS = ("good", "warm-bench", "warm-third-fold", "short-rest", "warm-fridge", "late-morning")
BENCHES = ("marble", "oak", "steel")
REPORT = HERE.parent / "outside" / "WARNINGS.md"


def played(name: str, bench: str, seed: int) -> tuple[list[Leaving], int]:
    """Play one day; return the leavings over the warm edge, and how many warnings there were in all."""
    plan, _text = demo_plan()
    raw = encode_plan(plan)
    story = scenario(name)
    config = story.configure(believed(plan))
    config = type(config)(**{**vars(config), "bench": bench, "room_c": config.room_c + (seed % 5 - 2)})
    day = FastDay(plan, raw, PlayedKitchen(config, seed=seed), Cook(plan, story, seed)).run(plan.ready_at_s + 12 * 3600)
    records = list(J.read(day.journal))
    pairs = [(at_s, probe) for at_s, _bench, probe in samples.read_blocks(day.samples)]
    soon = sum(record.type == J.ALARM and record.body[0] == J.WINDOW_SOON for record in records)
    return [leaving for leaving in leavings(plan, records, pairs) if leaving.side == "warm"], soon


def judged(found: list[Leaving]) -> Counter:
    """Count the leavings by what became of the warning."""
    told: Counter = Counter()
    for leaving in found:
        if not leaving.possible:
            told["too warm at once"] += 1
        elif leaving.warned_s is None:
            told["not warned"] += 1
        elif leaving.warned_s < WANTED_S:
            told["warned late"] += 1
        else:
            told["warned in time"] += 1
    return told


def report(rows: list[tuple[str, str, int, list[Leaving], int]]) -> str:
    """The table and the distribution as Markdown."""
    lines = [
        "# How long ahead the timer warns",
        "",
        "Made by `python tests/benchmarks/warnings_table.py --seeds A-B --write`: the demo batch, the virtual kitchen.",
        f"Wanted: {WANTED_S} s before dough under the hands leaves its window over the warm edge, where the needle had",
        f"been settled inside it and the dough warming for {SETTLED_S} s. What came to the bench too warm, or became",
        "so sooner (out of the fridge onto a hot bench), cannot be told so long ahead.",
        "",
        "| day | bench | days | left warm | warm at once | could be told | in time | late | not | share | warnings |",
        "|---|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|",
    ]
    ahead: list[int] = []
    soon = late = 0
    whole: Counter = Counter()
    for name in DAYS:
        for bench in BENCHES:
            mine = [row for row in rows if row[:2] == (name, bench)]
            found = [leaving for row in mine for leaving in row[3]]
            told = judged(found)
            whole.update(told)
            mine_soon = sum(row[4] for row in mine)
            soon += mine_soon
            ahead += [leaving.warned_s for leaving in found if leaving.possible and leaving.warned_s is not None]
            lines.append(_row(name, bench, len(mine), told, mine_soon))
    lines.append(_row("**all**", "", len(rows), whole, soon))
    ahead.sort()
    if ahead:
        at = [ahead[min(len(ahead) - 1, len(ahead) * share // 100)] for share in (0, 5, 25, 50, 75, 95)]
        lines += ["", "Seconds ahead, of those that were warned: least {}, 5 % {}, 25 % {}, half {}, 75 % {}, 95 % {}."
                  .format(*at)]  # fmt: skip
    late = sum(whole[key] for key in ("warned in time", "warned late"))
    lines += ["", f"{soon} warnings in all; {late} were followed by a leaving, else the cook was done in time."]
    return "\n".join(lines) + "\n"


def _row(name: str, bench: str, days: int, told: Counter, soon: int) -> str:
    could = told["warned in time"] + told["warned late"] + told["not warned"]
    share = f"{100 * told['warned in time'] / could:.0f} %" if could else "-"
    at_once = told["too warm at once"]
    cells = (name, bench, days, could + at_once, at_once, could, told["warned in time"], told["warned late"],
             told["not warned"], share, soon)  # fmt: skip
    return "| " + " | ".join(str(cell) for cell in cells) + " |"



def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", default="1-3")
    parser.add_argument("--write", action="store_true", help=f"write {REPORT.name}")
    parser.add_argument("--each", action="store_true", help="print every leaving")
    args = parser.parse_args()
    first, _, last = args.seeds.partition("-")
    rows = []
    for seed in range(int(first), int(last or first) + 1):
        for name in DAYS:
            for bench in BENCHES:
                found, soon = played(name, bench, seed)
                rows.append((name, bench, seed, found, soon))
                for leaving in found if args.each else ():
                    print(f"{name:16} {bench:7} {seed:3} {leaving.step:24} inside {leaving.inside_s:5} s, "
                          f"going {leaving.going_s:5} s, warned {leaving.warned_s}", flush=True)  # fmt: skip
    text = report(rows)
    print(text)
    if args.write:
        REPORT.write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
