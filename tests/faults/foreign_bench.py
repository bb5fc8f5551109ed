"""The foreign fault bench: faults of random size in a kitchen of another make, and what the review makes of the logs.

    python tests/faults/foreign_bench.py --seeds 1-6           development: numbers may be set by these
    python tests/faults/foreign_bench.py --seeds 701-720       test: the figures that are quoted; look, set nothing
    python tests/faults/foreign_bench.py --seeds 1-3 --only slow-fold --verbose
    python tests/faults/foreign_bench.py --seeds 1-6 --keep FOLDER     days are kept and taken from there again

Prints, for each fault: named first, among the first two, first with nothing reported, at half strength (right, wrong,
nothing named), with a wrong symptom (wrong cause first), wrong folds; then good days accused, spoiled logs, and how
often what was said with which probability was right.
"""

from __future__ import annotations

import argparse
import pickle
import sys
import tempfile
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from foreign_day import FAULTS, SPOILS, Day, play, report  # noqa: E402
from staged import staged_plan  # noqa: E402
from tourier.logbook import Logbook, Outcome, Review, review  # noqa: E402
from tourier.logbook.record.model import Batch  # noqa: E402

from shared_schedule import plan as P  # noqa: E402
from shared_schedule.plan_writer import encode_plan  # noqa: E402

DEVELOPMENT, TEST = range(1, 101), range(701, 801)
# A rest overdone and a pâton too cold at the fold after it are one thing said twice, and so on: either counts.
SAME = {"cold-paton": ("cold-paton", "long-rest"), "long-rest": ("long-rest", "cold-paton")}


def batch_of(plan: P.Plan, day: Day) -> Batch:
    """Return the day as the logbook gives it back."""
    with tempfile.TemporaryDirectory() as folder, Logbook(Path(folder) / "book.sqlite") as book:
        return book.load(book.collect("foreign", encode_plan(plan), day.journal, day.samples, ""))


def kept_day(plan: P.Plan, keep: Path | None, seed: int, fault: str, spoiled: str = "", half: bool = False) -> Day:
    """Play a day, or take it from `keep`."""
    if keep is None:
        return play(plan, seed, fault, spoiled, half)
    path = keep / f"{fault}-{spoiled.replace(' ', '_')}-{seed}{'-half' * half}.pickle"
    if not path.exists():
        keep.mkdir(parents=True, exist_ok=True)
        path.write_bytes(pickle.dumps(play(plan, seed, fault, spoiled, half)))
    return pickle.loads(path.read_bytes())


@dataclass
class Tally:
    """What was counted of one fault."""

    days: int = 0
    first: int = 0
    two: int = 0
    silent: int = 0  # first with nothing reported
    half: int = 0
    half_none: int = 0
    wrong_symptom: int = 0  # wrong cause first
    fold_said: int = 0
    fold_wrong: int = 0
    instead: Counter = field(default_factory=Counter)


class Bench:
    """Runs days and counts. `said` collects (probability, right) of every first finding."""

    def __init__(self, keep: Path | None = None, verbose: bool = False) -> None:
        self.plan = staged_plan()[0]
        self.keep, self.verbose = keep, verbose
        self.tally: dict[str, Tally] = defaultdict(Tally)
        self.said: list[tuple[float, bool]] = []
        self.good: list[tuple[int, str]] = []
        self.good_days = 0
        self.spoiled: dict[str, list[tuple[int, str, float]]] = {name: [] for name in SPOILS}
        self.spoiled_days = 0

    def _judge(self, batch: Batch, fault: str, how: str, seed: int) -> tuple[str, bool, bool, Review]:
        symptoms, rating = report(fault, how, seed)
        found = review(batch, Outcome(symptoms, rating))
        right = SAME.get(fault, (fault,))
        named = [f.key for f in (*found.named, *found.possible)]
        first = found.named[0].key if found.named else ""
        if found.named and how != "wrong":
            self.said.append((found.named[0].probability, first in right))
        if self.verbose:
            print(f"== {fault} {seed} ({how}: {', '.join(symptoms)})", "ok" if first in right else f"WRONG: {first}")
            for f in (*found.named, *found.possible)[:3]:
                print(f"     {f.probability:.2f} {f.key} {f.reading.sentence}")
        return first, first in right, any(key in right for key in named[:2]), found

    def fault(self, fault: str, seed: int) -> None:
        """Play one fault in one kitchen, whole and half, and review it four times."""
        t = self.tally[fault]
        day = kept_day(self.plan, self.keep, seed, fault)
        batch = batch_of(self.plan, day)
        first, right, two, found = self._judge(batch, fault, "as seen", seed)
        t.days += 1
        t.first += right
        t.two += two
        t.instead[first or "-"] += not right
        if right and day.fold and found.named[0].fold_n:
            t.fold_said += 1
            # A rest is named by the fold before it, a fold by its own number: either names the same hour.
            folds = (day.fold,)
            if fault == "cold-paton" and found.named[0].key == "long-rest":
                folds = (day.fold - 1,)
            if fault == "long-rest" and found.named[0].key == "cold-paton":
                folds = (day.fold + 1,)
            t.fold_wrong += found.named[0].fold_n not in folds
        t.silent += self._judge(batch, fault, "none", seed)[1]
        first, right, _two, _found = self._judge(batch, fault, "wrong", seed)
        t.wrong_symptom += bool(first) and not right
        half = batch_of(self.plan, kept_day(self.plan, self.keep, seed, fault, half=True))
        first, right, _two, _found = self._judge(half, fault, "as seen", seed + 10_000)
        t.half += right
        t.half_none += not first

    def good_day(self, seed: int) -> None:
        """A day on which nothing went wrong; a tenth of the cooks still saw something."""
        batch = batch_of(self.plan, kept_day(self.plan, self.keep, seed, "good"))
        first, _right, _two, _found = self._judge(batch, "good", "as seen", seed)
        self.good_days += 1
        if first:
            self.good.append((seed, first))

    def spoil(self, spoiled: str, seed: int) -> None:
        """A good day whose log lies."""
        batch = batch_of(self.plan, kept_day(self.plan, self.keep, seed, "good", spoiled))
        found = review(batch, Outcome(*report("good", "as seen", seed)))
        self.spoiled_days += 1
        for f in found.named[:1]:
            if f.probability > 0.5 and f.key != "probe-fault":
                self.spoiled[spoiled].append((seed, f.key, f.probability))
                if self.verbose:
                    print(f"== {spoiled} {seed}: {f.probability:.2f} {f.key} {f.reading.sentence}")

    def confident_wrong(self) -> int:
        """Return on how many spoiled logs a cause was named with more than one half."""
        return sum(len(rows) for rows in self.spoiled.values())

    def table(self) -> str:
        """Return the table as text."""
        out = [f"{'fault':<16}{'days':>5}{'first':>7}{'two':>6}{'silent':>8}{'half':>6}{'none':>6}{'wrong':>7}"
               f"{'misled':>8}  named instead"]  # fmt: skip
        for name, t in self.tally.items():
            wrong = t.days - t.half - t.half_none
            instead = ", ".join(f"{key} {n}" for key, n in t.instead.most_common(4) if n)
            out.append(f"{name:<16}{t.days:>5}{t.first:>7}{t.two:>6}{t.silent:>8}{t.half:>6}{t.half_none:>6}{wrong:>7}"
                       f"{t.wrong_symptom:>8}  {instead}")  # fmt: skip
        return "\n".join(out)

    def measures(self) -> str:
        """Return the figures of the whole bench, one a line, with what is wanted."""
        rows = list(self.tally.values())
        days = sum(t.days for t in rows) or 1
        said = sum(t.fold_said for t in rows) or 1
        half_wrong = sum(t.days - t.half - t.half_none for t in rows)

        def line(what: str, n: int, of: int, wanted: str) -> str:
            return f"{what:<34}{n:>5} of {of:<5}{n / max(of, 1):>7.0%}   wanted {wanted}"

        return "\n".join([
            line("named first", sum(t.first for t in rows), days, ">= 85 %"),
            line("among the first two", sum(t.two for t in rows), days, ">= 95 %"),
            line("first, nothing reported", sum(t.silent for t in rows), days, ">= 75 %"),
            line("half strength: right or nothing", sum(t.half + t.half_none for t in rows), days, ">= 70 %"),
            line("half strength: wrong", half_wrong, days, "<= 10 %"),
            line("wrong symptom: wrong cause", sum(t.wrong_symptom for t in rows), days, "<= 15 %"),
            line("wrong fold", sum(t.fold_wrong for t in rows), said, "<= 3 %"),
            line("good days accused", len(self.good), self.good_days, "<= 3 %"),
            line("spoiled logs, confident and wrong", self.confident_wrong(), self.spoiled_days, "0"),
            "accused: " + ", ".join(f"{key} {n}" for key, n in Counter(key for _s, key in self.good).most_common()),
            "spoiled: " + "; ".join(f"{name}: {len(rows)}" for name, rows in self.spoiled.items() if rows),
        ])  # fmt: skip

    def reliability(self) -> str:
        """Return how often a first finding was right, by the probability it was said with."""
        out = ["said            findings   right"]
        for low, high in ((0.5, 0.6), (0.6, 0.7), (0.7, 0.8), (0.8, 0.9), (0.9, 0.96), (0.96, 1.01)):
            part = [right for p, right in self.said if low <= p < high]
            if part:
                out.append(f"{low:.2f} to {min(high, 1.0):.2f} {len(part):>10}{sum(part) / len(part):>8.0%}")
        return "\n".join(out)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--seeds", default="1-3", help="first-last")
    parser.add_argument("--only", action="append", help="one fault, 'good' or 'spoiled' (repeatable)")
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="store the days here, and take them from here")
    parser.add_argument("--verbose", action="store_true", help="print the findings of every day")
    args = parser.parse_args()
    low, _, high = args.seeds.partition("-")
    seeds = range(int(low), int(high or low) + 1)
    bench = Bench(args.keep, args.verbose)
    wanted = args.only or [*FAULTS, "good", "spoiled"]
    for seed in seeds:
        for name in wanted:
            if name == "good":
                for n in range(5):
                    bench.good_day(seed * 5 + n)
            elif name == "spoiled":
                for spoiled in SPOILS:
                    bench.spoil(spoiled, seed)
            else:
                bench.fault(name, seed)
    print(bench.table())
    print(bench.measures())
    print(bench.reliability())
    return 0


if __name__ == "__main__":
    sys.exit(main())
