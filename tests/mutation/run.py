"""Plant faults, one at a time, and see whether the tests notice: a seeded sample, the same number from each room.

    python tests/mutation/run.py --seed 7 --count 300              # all rooms, as README.md beside this file says
    python tests/mutation/run.py --seed 7 --count 40 --rooms craft
    python tests/mutation/run.py --line shared_schedule/plan.py:120   # every fault that line can have

Works in a copy of the tree under the temporary folder, so that work can go on. First the tests run once with coverage
contexts (kept by the tests' and the code's content); then each fault gets only tests that run its line, the fastest
first, in a process of its own that may use so many seconds of processor time, not of the clock. Needs the extra
`mutation`. Ends with 1 if a room is below its target.
"""

from __future__ import annotations

import argparse
import hashlib
import importlib
import json
import os
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import tomllib
from collections import Counter, defaultdict
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

import hypothesis  # noqa: E402
import pytest  # noqa: E402
from mutants import Mutant, changed_lines, mutants_of, sample  # noqa: E402
from reach import Reach, measured  # noqa: E402

ROOT = HERE.parents[1]
ROOMS = {
    "craft": "companion/tourier/craft",
    "batch": "companion/tourier/batch",
    "dayplan": "companion/tourier/dayplan",
    "logbook": "companion/tourier/logbook",
    "device": "companion/tourier/device",
    "shared_schedule": "shared_schedule",
    "firmware": "firmware",
}
# What needs a display, a pin or a flash chip is not reached by tests of logic; pictures and tables of glyphs neither.
NOT_PURE = re.compile(
    r"(board\w*|pins|virtual_\w+|main|ssd1309|fonts|fontmaker|showcase|gallery|budget|protocol_words)\.py$"
)
TESTS = (
    "both", "craft", "state", "batch", "link", "outside", "logbook", "dayplan", "device", "cli", "firmware", "faults",
    "regression",
)  # fmt: skip
LOADED_ONCE = ("numpy", "scipy.optimize", "ortools.sat.python.cp_model", "pytest_asyncio.plugin", "pint", "serial")
STAGES_S = (1.5, 5.0, 12.0)  # tests of so many seconds are tried, then more: most faults die in the first
PLUGINS = ("-p", "pytest_timeout", "-p", "pytest_asyncio.plugin", "-p", "hypothesis.extra.pytestplugin")
ENOUGH, ENOUGH_IN_ROOM = 0.85, 0.75
PASSED, FAILED, NOT_FOUND = 0, 1, 4  # pytest's exit codes


@dataclass
class Verdict:
    """What became of a mutant: killed by a test, by its time, at loading; survived; or reached by no test."""

    mutant: Mutant
    was: str
    now: str
    end: str
    by: str = ""
    tests: int = 0

    @property
    def killed(self) -> bool:
        return self.end in ("killed", "time")


def environment(tree: Path) -> dict[str, str]:
    """The copy of the tree before the installed one; nothing compiled is kept of a mutated file."""
    return os.environ | {
        "PYTHONPATH": f"{tree / 'companion'}:{tree}:{tree / 'tests' / 'mutation'}",
        "PYTHONDONTWRITEBYTECODE": "1",
        "COLUMNS": "80",
        "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1",  # most of a start's time; PLUGINS are what the tests need
    }


def copy_tree(to: Path) -> Path:
    """The files git knows or could add, as they are now."""
    listed = subprocess.run(["git", "ls-files", "-co", "--exclude-standard"], cwd=ROOT, capture_output=True, check=True)
    for name in listed.stdout.decode().splitlines():
        if (ROOT / name).is_file():
            (to / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, to / name)
    return to


def content(*folders: Path) -> str:
    """A name for what these folders hold."""
    digest = hashlib.sha256()
    for folder in folders:
        for path in sorted(folder.rglob("*.py")):
            digest.update(path.as_posix().encode() + path.read_bytes())
    return digest.hexdigest()[:16]


def reach_of(tree: Path, store: Path, folders: list[str], old: bool) -> Reach:
    """Run each folder of tests once with contexts, unless that was done for this content, or an `old` one will do."""
    code = content(ROOT / "companion", ROOT / "shared_schedule", ROOT / "firmware")
    found = []
    for folder in folders:
        kept = store / f"{folder}-{content(ROOT / 'tests' / folder)}-{code}.json"
        earlier = sorted(store.glob(f"{folder}-*.json"), key=lambda path: path.stat().st_mtime)
        if old and earlier:
            kept = earlier[-1]
        if not kept.exists():
            print(f"coverage of tests/{folder} ...", file=sys.stderr)
            data, times = kept.with_suffix(".coverage"), kept.with_suffix(".times")
            subprocess.run(
                [sys.executable, "-m", "pytest", "-q", *PLUGINS, "-p", "pytest_cov.plugin", "-p", "timing",
                 "--cov=companion/tourier", "--cov=shared_schedule", "--cov-context=test", "--cov-report=",
                 f"tests/{folder}"],
                cwd=tree, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                env=environment(tree) | {"COVERAGE_FILE": str(data), "MUTATION_TIMES": str(times)},
            )  # fmt: skip
            kept.write_text(json.dumps(measured(tree, data, times)))
        found.append(json.loads(kept.read_text()))
    return Reach(tree, found)


def run_tests(tree: Path, tests: list[str], cpu_s: float, output: Path) -> tuple[int | None, str]:
    """Run tests in a forked process; (pytest's exit code, or None when the time was used up, and what it said)."""
    sys.stdout.flush()
    child = os.fork()
    if child == 0:
        os.setsid()
        file = os.open(output, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(file, 1)
        os.dup2(file, 2)
        os.chdir(tree)
        os.environ |= environment(tree)
        sys.path[:0] = [str(tree / "companion"), str(tree)]
        sys.dont_write_bytecode = True
        resource.setrlimit(resource.RLIMIT_CPU, (int(cpu_s), int(cpu_s) + 5))
        hypothesis.settings.register_profile(
            "mutation", phases=[hypothesis.Phase.explicit, hypothesis.Phase.generate], deadline=None, database=None
        )
        hypothesis.settings.load_profile("mutation")
        os._exit(pytest.main(["-x", "-q", "--no-header", "--tb=line", *PLUGINS, f"--timeout={10 * cpu_s}", *tests]))
    ended = time.monotonic() + 12 * cpu_s
    while True:
        done, status = os.waitpid(child, os.WNOHANG)
        if done or time.monotonic() > ended:
            break
        time.sleep(0.02)
    try:
        os.killpg(child, signal.SIGKILL)  # a virtual timer that a fault left running, or the test that hangs
    except ProcessLookupError:
        pass
    if not done:
        os.waitpid(child, 0)
        return None, ""
    return (os.WEXITSTATUS(status) if os.WIFEXITED(status) else None), output.read_text(errors="replace")


def try_mutant(mutant: Mutant, tree: Path, reach: Reach, output: Path) -> Verdict:
    """The verdict on a fault; a test that killed it has to pass alone without it, else it is never asked again."""
    while True:
        verdict = plant(mutant, tree, reach, output)
        if verdict.end != "killed" or "::" not in verdict.by or verdict.by in reach.trusted:
            return verdict
        if run_tests(tree, [verdict.by], 60, output)[0] == PASSED:
            reach.trusted.add(verdict.by)
        elif reach.seconds.pop(verdict.by, None) is None:
            return verdict
        else:
            print(f"fails without a fault: {verdict.by}", file=sys.stderr)


def plant(mutant: Mutant, tree: Path, reach: Reach, output: Path) -> Verdict:
    """Plant the fault in the copy, run tests in growing portions until one fails, take the fault out again."""
    path = tree / mutant.path
    source = path.read_text(encoding="utf-8")
    changed = mutant.apply(source)
    verdict = Verdict(mutant, *changed_lines(source, changed), "survived")
    tests = reach.tests(mutant.path, mutant.line, STAGES_S[-1])
    if not tests:
        verdict.end = "no test"
        return verdict
    times = path.stat()
    path.write_text(changed, encoding="utf-8")
    try:
        for portion, expected_s in portions(tests, reach.seconds):
            code, said = run_tests(tree, portion, 10 + 4 * expected_s, output)
            if code == NOT_FOUND and "ERROR collecting" not in said:  # measured before a test was renamed
                gone = set(re.findall(r"not found: \S*?(tests/.*)$", said, re.M))
                portion = [test for test in portion if test not in gone]
                for test in gone:
                    reach.seconds.pop(test, None)
                code, said = run_tests(tree, portion, 10 + 4 * expected_s, output) if portion else (PASSED, "")
            verdict.tests += len(portion)
            if code is None:
                verdict.end, verdict.by = "time", "processor time used up"
            elif code != PASSED:
                found = re.search(r"^(?:FAILED|ERROR) (.+?)(?: - |$)", said, re.M)
                verdict.end, verdict.by = "killed", found[1] if found else f"exit code {code}"
            if verdict.end != "survived":
                break
    finally:
        path.write_text(source, encoding="utf-8")
        os.utime(path, ns=(times.st_atime_ns, times.st_mtime_ns))
    return verdict


def portions(tests: list[str], seconds: dict[str, float]) -> list[tuple[list[str], float]]:
    """Cut an ordered list of tests where its time passes each of the stages."""
    cut: list[tuple[list[str], float]] = []
    spent, now, took = 0.0, [], 0.0
    stages = list(STAGES_S)
    for test in tests:
        if now and stages and spent + seconds[test] > stages[0]:
            cut.append((now, took))
            now, took = [], 0.0
            while stages and spent + seconds[test] > stages[0]:
                stages.pop(0)
        now.append(test)
        spent += seconds[test]
        took += seconds[test]
    return [*cut, (now, took)]


def reasons() -> list[dict[str, str]]:
    """Survivors that were looked at: file, the line as it stands, the line with the fault, and why no test sees it."""
    return tomllib.loads((HERE / "survivors.toml").read_text(encoding="utf-8")).get("survivor", [])


def report(verdicts: list[Verdict]) -> bool:
    """Print a table of rooms and the survivors; whether every target is met."""
    known = {(each["file"], each["was"], each["now"]): each for each in reasons()}
    rooms: dict[str, list[Verdict]] = defaultdict(list)
    for verdict in verdicts:
        rooms[verdict.mutant.room].append(verdict)
    print(f"\n| room | planted | killed | by time | survived | of these equivalent | killed % |\n|{'---|' * 7}")
    good = True
    for room, its in [*sorted(rooms.items()), ("all", verdicts)]:
        killed = sum(each.killed for each in its)
        ends = Counter(each.end for each in its)
        same = sum(
            known.get((each.mutant.path, each.was, each.now), {}).get("kind") == "equivalent"
            for each in its if not each.killed
        )  # fmt: skip
        rate = killed / len(its)
        good &= rate >= (ENOUGH if room == "all" else ENOUGH_IN_ROOM)
        print(f"| {room} | {len(its)} | {killed} | {ends['time']} | {len(its) - killed} | {same} | {100 * rate:.0f} |")
    for verdict in verdicts:
        if not verdict.killed:
            mutant = verdict.mutant
            reason = known.get((mutant.path, verdict.was, verdict.now))
            print(f"\n{mutant.path}:{mutant.line} {mutant.operator} ({verdict.end}, {verdict.tests} tests)")
            print(f"  - {verdict.was}\n  + {verdict.now}")
            print(f"  {reason['kind']}: {reason['why']}" if reason else "  (not looked at)")
    return good


def main() -> int:
    """Read the command line, plant, report."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--count", type=int, default=300, help="faults over all chosen rooms")
    parser.add_argument("--rooms", nargs="*", default=list(ROOMS), choices=list(ROOMS))
    parser.add_argument("--only", help="regular expression that the file must match")
    parser.add_argument("--line", action="append", help="FILE:LINE; every fault of that line instead of a sample")
    parser.add_argument("--controls", type=int, default=5, help="runs without a fault, which must pass")
    parser.add_argument("--tests", nargs="*", default=list(TESTS), help="folders of tests to ask")
    parser.add_argument("--old", action="store_true", help="what was measured on earlier code will do")
    parser.add_argument("--store", type=Path, default=Path(tempfile.gettempdir()) / "tourier-mutation")
    parser.add_argument("--json", type=Path, help="also write every verdict here")
    asked = parser.parse_args()
    asked.store.mkdir(exist_ok=True)
    for name in LOADED_ONCE:
        importlib.import_module(name)

    with tempfile.TemporaryDirectory(prefix="tourier-mutants-") as folder:
        tree = copy_tree(Path(folder).resolve() / "tree")
        reach = reach_of(tree, asked.store, asked.tests, asked.old)
        rooms = {
            room: [
                path for path in (tree / ROOMS[room]).rglob("*.py")
                if not NOT_PURE.search(path.name) and (not asked.only or re.search(asked.only, path.as_posix()))
            ]
            for room in asked.rooms
        }  # fmt: skip
        if asked.line:
            chosen = []
            for name, line in (each.split(":") for each in asked.line):
                room = next(room for room, start in ROOMS.items() if name.startswith(start))
                sites = mutants_of(room, tree / name, tree)
                chosen += [each for (at, _), found in sites.items() if at == int(line) for each in found]
        else:
            chosen = sample(rooms, tree, asked.count, asked.seed)
        output = Path(folder) / "said"
        broken = 0
        for mutant in chosen[:: max(1, len(chosen) // max(1, asked.controls))] if asked.controls else []:
            tests = reach.tests(mutant.path, mutant.line, STAGES_S[0])
            if tests and (code := run_tests(tree, tests, 60, output)[0]) != PASSED:
                broken += 1
                print(f"without a fault exit code {code}: {tests}\n{output.read_text()[-1500:]}", file=sys.stderr)
        verdicts = []
        for number, mutant in enumerate(chosen, 1):
            verdict = try_mutant(mutant, tree, reach, output)
            verdicts.append(verdict)
            print(f"{number}/{len(chosen)} {verdict.end:9} {mutant.path}:{mutant.line} {verdict.was} -> {verdict.now}"
                  f"  {verdict.by}", file=sys.stderr, flush=True)  # fmt: skip
            if asked.json:
                asked.json.write_text(json.dumps([vars(v) | {"mutant": vars(v.mutant)} for v in verdicts], indent=1))
    good = report(verdicts)
    print(f"\nseed {asked.seed}; {asked.controls} runs without a fault, {broken} failed")
    return 0 if good and not broken else 1


if __name__ == "__main__":
    sys.exit(main())
