"""Which tests run a line: contexts of coverage, and for the firmware the names that tests speak of.

A line is known by its function and its text, not by its number: what was measured before a change still serves for all
that the change left alone. A line that runs once, when its module is loaded, belongs to no test; for it those tests are
taken that run a line on which a name it defines stands. MicroPython measures no coverage: there the module's name in a
test's text decides, and then time.
"""

from __future__ import annotations

import ast
import json
import re
from collections import defaultdict
from functools import cache
from pathlib import Path

from coverage import CoverageData

SLOWEST_S = 40.0  # a test longer than this is never asked
LOADING = ""  # the function of lines that stand in none


def measured(tree: Path, coverage: Path, times: Path) -> dict:
    """What a run of tests with contexts knew, ready for JSON: seconds and outcome of each test, tests of each line."""
    tests = json.loads(times.read_text())
    number = {test: place for place, test in enumerate(tests)}
    store = CoverageData(str(coverage))
    store.read()
    lines: dict = {}
    for name in sorted(store.measured_files()):
        path = Path(name)
        text, function = path.read_text(encoding="utf-8").splitlines(), functions(path)
        kept = lines.setdefault(path.relative_to(tree).as_posix(), {})
        for line, contexts in store.contexts_by_lineno(name).items():
            places = {number[test] for test in (each.rsplit("|", 1)[0] for each in contexts) if test in number}
            here = kept.setdefault(function[line], {}).setdefault(text[line - 1].strip(), [])
            here.extend(sorted(places - set(here)))
    return {"tests": tests, "lines": lines}


class Reach:
    """Tests by the lines they run, from every folder that was measured."""

    def __init__(self, root: Path, found: list[dict]) -> None:
        self.root = root
        self.seconds: dict[str, float] = {}
        self.trusted: set[str] = set()  # tests seen to pass alone
        self._lines: dict[tuple[str, str], dict[str, set[str]]] = defaultdict(lambda: defaultdict(set))
        self._of_file: dict[str, list[str]] = defaultdict(list)
        for each in found:
            names = list(each["tests"])
            for test, (took, passed) in each["tests"].items():
                if passed and took < SLOWEST_S and _stands(root, test):
                    self.seconds[test] = took
                    self._of_file[test.split("::")[0]].append(test)
            for path, inside in each["lines"].items():
                for function, texts in inside.items():
                    for text, places in texts.items():
                        self._lines[Path(path).name, function][text] |= {names[place] for place in places}

    def tests(self, path: str, line: int, budget_s: float) -> list[str]:
        """Tests that run the line, the fastest first, `budget_s` of them at most.

        Few of them are joined by others of their files: a fixture may have run the line for all.
        """
        if path.startswith("firmware/"):
            return self._within(self._firmware(Path(path).stem), budget_s)
        first = self._fastest(self._on(self.root / path, line))
        if len(first) < 4:
            files = {test.split("::")[0] for test in first}
            first += self._fastest({test for name in files for test in self._of_file[name]} - set(first))
        return self._within(first, budget_s)

    def _fastest(self, tests: set[str]) -> list[str]:
        return sorted((test for test in tests if test in self.seconds), key=lambda test: (self.seconds[test], test))

    def _within(self, tests: list[str], budget_s: float) -> list[str]:
        taken, spent = [], 0.0
        for test in tests:
            spent += self.seconds.get(test, 0.0)
            if taken and spent > budget_s:
                break
            taken.append(test)
        return taken

    def _on(self, path: Path, line: int) -> set[str]:
        text = path.read_text(encoding="utf-8").splitlines()
        first, last = _statement(_tree(path), line)
        function = functions(path)[line]
        known = self._lines[path.name, function]
        reached: set[str] = set()
        for each in range(first, last + 1):
            reached |= known.get(text[each - 1].strip(), set())
        if reached:
            return reached
        if function:
            return set() if text[first - 1].strip() in known else set().union(*known.values())
        names = _defined(_tree(path), first)
        if names:
            pattern = re.compile(rf"\b({'|'.join(map(re.escape, sorted(names)))})\b")
            for (_name, inside), texts in self._lines.items():
                if inside:
                    reached = reached.union(*(tests for each, tests in texts.items() if pattern.search(each)))
        return reached or set().union(
            *(tests for (name, _), texts in self._lines.items() if name == path.name for tests in texts.values())
        )

    def _firmware(self, module: str) -> list[str]:
        """Tests that speak of the module in their file or a device file beside it; then all of the firmware's."""
        near: dict[bool, list[str]] = {True: [], False: []}
        for test in self.seconds:
            name = test.split("::")[0]
            if name.startswith(("tests/firmware/", "tests/powercut/")):
                near[_speaks_of(self.root / name, module)].append(test)
        return [test for each in (True, False) for test in self._fastest(set(near[each]))]


@cache
def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def functions(path: Path) -> dict[int, str]:
    """The innermost function of each line, by name; the head of a function, and what stands in none, is LOADING."""
    found: dict[int, str] = defaultdict(lambda: LOADING)
    for node in ast.walk(_tree(path)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            for line in range(node.body[0].lineno, (node.end_lineno or node.lineno) + 1):
                found[line] = node.name
    return found


@cache
def _read(path: Path) -> str:
    return path.read_text(encoding="utf-8") if path.exists() else ""


def _stands(root: Path, test: str) -> bool:
    file, *names = test.split("[")[0].split("::")
    return names[-1] == "runTest" or re.search(rf"\b{names[-1]}\b", _read(root / file)) is not None


@cache
def _speaks_of(path: Path, module: str) -> bool:
    text = _read(path)
    for helper in sorted(set(re.findall(r"\w+_device", text))):
        text += _read(path.with_name(helper + ".py"))
    return re.search(rf"\b(import|from) [\w, ]*\b{module}\b|\b{module}\.py\b", text) is not None


def _statement(tree: ast.Module, line: int) -> tuple[int, int]:
    """First and last line of the innermost statement, of a block its head alone."""
    best = (line, line)
    for node in ast.walk(tree):
        if isinstance(node, ast.stmt) and node.lineno <= line <= (node.end_lineno or node.lineno):
            body = getattr(node, "body", None)
            last = max(node.lineno, body[0].lineno - 1) if body else node.end_lineno or line
            if line <= last:
                best = (node.lineno, last)
    return best


def _defined(tree: ast.Module, first: int) -> set[str]:
    """Names that a statement run at loading binds: constants, fields, a function for its defaults."""
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.stmt) and node.lineno == first:
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
                names.add(node.name)
            else:
                names |= {
                    each.id for each in ast.walk(node) if isinstance(each, ast.Name) and isinstance(each.ctx, ast.Store)
                }
    return {name for name in names if len(name) > 1}
