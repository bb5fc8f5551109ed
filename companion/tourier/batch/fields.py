"""Reading one table of a batch file key by key, collecting every problem with its key and line."""

from __future__ import annotations

import difflib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from tourier.batch.lines import line_of
from tourier.quantities import QuantityError, clean
from tourier.voice import METRIC, Voice, span

MISSING: Any = object()
_SHOWN = 25  # problems named at once; a damaged file can have thousands


@dataclass(frozen=True)
class Problem:
    """One thing wrong in a batch file: dotted key, line from 1 (0 = the file as a whole), one sentence."""

    key: str
    line: int
    sentence: str

    def __str__(self) -> str:
        place = f"line {self.line}: " if self.line else ""
        return f"{place}{self.key}: {self.sentence}" if self.key else f"{place}{self.sentence}"

    def __iter__(self):
        return iter((self.key, self.line, self.sentence))


class BatchError(ValueError):
    """A batch file that cannot be used. `problems` holds every one; str() is one line for each of the first."""

    def __init__(self, where: str, problems: list[Problem]) -> None:
        self.where = clean(where) if where else ""
        self.problems = problems
        head = f"{self.where}: " if self.where else ""
        lines = [f"{head}{problem}" for problem in problems[:_SHOWN]]
        if len(problems) > _SHOWN:
            lines.append(f"{head}and {len(problems) - _SHOWN} more; mend these first")
        super().__init__("\n".join(lines))


class Table:
    """A view on one TOML table. Getters return the value or a default and note what is wrong; they never raise."""

    def __init__(
        self, data: dict, path: str, lines: dict[str, int], problems: list[Problem], voice: Voice = METRIC
    ) -> None:
        self.data, self.path, self.lines, self.problems, self.voice = data, path, lines, problems, voice
        self.asked: set[str] = set()
        self.one_key = ""  # set when a value is written short, in place of a table

    def key(self, name: str) -> str:
        """The dotted key of a member of this table."""
        if self.one_key:
            return self.one_key
        return f"{self.path}.{name}" if self.path else name

    def wrong(self, name: str, sentence: str) -> None:
        """Note a problem with a key of this table ("" = the table itself)."""
        key = self.key(name) if name else self.path
        self.problems.append(Problem(clean(key), line_of(self.lines, key), sentence))

    def has(self, name: str) -> bool:
        """Whether the key is written."""
        self.asked.add(name)
        return name in self.data

    def get(self, name: str, reader: Callable, default: Any = MISSING, low=None, high=None, show=None) -> Any:
        """Read a key through `reader`; missing without a default, unreadable or out of range is a problem.

        `show(voice, limit)` says a limit in the cook's units; without it the bare number stands.
        """
        self.asked.add(name)
        if name not in self.data:
            if default is MISSING:
                self.wrong(name, "is missing; see BATCHFILE.md for what to write")
                return None
            return default
        try:
            value = reader(self.data[name])
        except (QuantityError, ValueError) as error:
            self.wrong(name, str(error))
            return None if default is MISSING else default
        if (low is not None and value < low) or (high is not None and value > high):
            written = clean(str(self.data[name]))
            least, most = (show(self.voice, limit) if show else limit for limit in (low, high))
            self.wrong(name, f"{written} is not possible here; allowed are {least} to {most}")
            return None if default is MISSING else default
        return value

    def table(self, name: str, need: bool = True) -> Table:
        """A table inside this one (empty when missing)."""
        self.asked.add(name)
        value = self.data.get(name, MISSING)
        if value is MISSING and need:
            self.wrong(name, "is missing; the file needs this table")
        elif value is not MISSING and not isinstance(value, dict):
            self.wrong(name, f"must be a table, written under [{self.key(name)}]")
        return Table(value if isinstance(value, dict) else {}, self.key(name), self.lines, self.problems, self.voice)

    def tables(self, name: str, most: int, need: bool = False) -> list[Table]:
        """The members of an array of tables."""
        self.asked.add(name)
        value = self.data.get(name, [])
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            self.wrong(name, f"must be written as [[{self.key(name)}]] tables")
            return []
        if need and not value:
            self.wrong(name, f"is missing; the file needs at least one [[{self.key(name)}]]")
        if len(value) > most:
            self.wrong(name, f"has {len(value)} entries; at most {most} are allowed")
            value = value[:most]
        return [
            Table(item, f"{self.key(name)}[{number}]", self.lines, self.problems, self.voice)
            for number, item in enumerate(value, start=1)
        ]

    def finish(self) -> None:
        """Note every key that nobody asked for, with the nearest known one."""
        for name in self.data:
            if name in self.asked:
                continue
            near = difflib.get_close_matches(name, sorted(self.asked), n=1, cutoff=0.6)
            hint = f'; did you mean "{near[0]}"?' if near else f"; known here: {', '.join(sorted(self.asked))}"
            self.wrong(name, f"is not a key of a batch file{hint}")


def time_limit(_: Voice, seconds: float) -> str:
    """A limit of time, for `show`."""
    return span(seconds)


def percent_limit(_: Voice, value: float) -> str:
    """A limit in percent, for `show`."""
    return f"{value:g} %"


def word(*allowed: str) -> Callable[[object], str]:
    """A reader for one of a few words."""

    def read(value: object) -> str:
        if isinstance(value, str) and value in allowed:
            return value
        near = difflib.get_close_matches(str(value), allowed, n=1)
        hint = f'; did you mean "{near[0]}"?' if near else ""
        raise ValueError(f'"{clean(str(value))}" is not one of {", ".join(allowed)}{hint}')

    return read


def text(most: int) -> Callable[[object], str]:
    """A reader for a short name: control characters are stripped, length in bytes capped."""

    def read(value: object) -> str:
        if not isinstance(value, str):
            raise ValueError(f"{clean(str(value))} must be text in quotes")
        kept = " ".join("".join(c if c.isprintable() else " " for c in value).split())
        if not kept:
            raise ValueError("must not be empty")
        if len(kept.encode()) > most:
            raise ValueError(f"is longer than {most} bytes; shorten it")
        return kept

    return read


def whole(value: object) -> int:
    """A reader for a plain count (no unit, no fraction)."""
    if isinstance(value, bool) or not isinstance(value, int):
        raise ValueError(f"{clean(str(value))} must be a whole number without a unit")
    return value


def flag(value: object) -> bool:
    """A reader for true or false."""
    if not isinstance(value, bool):
        raise ValueError(f"{clean(str(value))} must be true or false")
    return value
