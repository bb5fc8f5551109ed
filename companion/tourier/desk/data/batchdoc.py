"""A batch file edited field by field: comments, order and everything untouched stay as the cook wrote them."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from typing import Any

from tourier.quantities import units_of
from tourier.voice import Voice, voice_of

_PART = re.compile(r"([^.\[\]]+)(?:\[(\d+)\])?")


def value_at(table: Any, path: str) -> Any:
    """Return what stands at a path such as 'pieces[2].height' or 'kitchen.bench.ice'; None when nothing does."""
    for name, number in _PART.findall(path):
        if not isinstance(table, dict) or name not in table:
            return None
        table = table[name]
        if number:
            if not isinstance(table, list) or int(number) > len(table):
                return None
            table = table[int(number) - 1]
    return table


def shown(value: Any) -> str:
    """Return a value as the form shows it: text as typed, a list with commas."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(shown(one) for one in value)
    return str(value)


def typed(text: str, kind: str) -> Any:
    """Return what a field's text is written as: the reader judges it, so nonsense is kept as text."""
    text = text.strip()
    if kind == "whole" and re.fullmatch(r"[+-]?\d{1,9}", text):
        return int(text)
    if kind == "flag" and text.lower() in ("yes", "no", "true", "false"):
        return text.lower() in ("yes", "true")
    if kind == "folds":
        parts = [part for part in re.split(r"[\s,;]+", text.strip("[] ")) if part]
        return [int(part) if part.isdigit() and len(part) < 4 else part for part in parts]
    return text


class DocError(ValueError):
    """A text in which this cannot be written, as a sentence."""


@dataclass(frozen=True)
class Trouble:
    """Where a text is no TOML: line from 1, the key on that line ("" when there is none), what is wrong."""

    line: int
    key: str
    sentence: str

    def __str__(self) -> str:
        at = f" ({self.key})" if self.key else ""
        return f"Line {self.line}{at}: {self.sentence}"


_KEY = re.compile(r"""\s*(?:\[+\s*([^\]\n]+?)\s*\]|([^=#\n]+?)\s*=)""")
# What tomllib says, and what a cook can do about it.
_SAY = {
    "Invalid value": "the value cannot be read; texts and quantities stand in quotes, such as \"20 °C\"",
    "Expected newline or end of document after a statement": "something stands after the value; texts need quotes",
    "Cannot overwrite a value": "this key is written twice; keep one of them",
    "Illegal character '\\n'": "a closing quote is missing",
    "Expected '=' after a key in a key/value pair": "no = follows the key",
    "Invalid statement": "this is neither a key with a value nor a [table]",
}


def trouble(text: str) -> Trouble | None:
    """Return the first place where a text is no TOML, None when it is."""
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"\(at line (\d+)", str(error))
        lines = text.split("\n")
        line = int(found.group(1)) if found else len(lines)
        key = _KEY.match(lines[line - 1]) if line <= len(lines) else None
        said = re.sub(r" \(at .*\)$", "", str(error))
        named = (key.group(1) or key.group(2)).strip("\"' ") if key else ""
        return Trouble(line, named[:60], _SAY.get(said, said))
    except RecursionError:
        return Trouble(1, "", "is nested too deeply; a batch file has flat tables")
    return None


class BatchDoc:
    """The text of one batch file. Every change makes a new text; `text` is the one in force."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.table: dict[str, Any] = tomllib.loads(text)

    @property
    def voice(self) -> Voice:
        """How the measures of this batch, or of this kitchen, are said."""
        return voice_of(units_of(self.table))

    def get(self, path: str) -> Any:
        """Return the value at a path, None when it is not written."""
        return value_at(self.table, path)

    def count(self, path: str) -> int:
        """Return how many members an array of tables has."""
        value = self.get(path)
        return len(value) if isinstance(value, list) else 0

    def put(self, path: str, value: Any) -> None:
        """Write a value (an empty text takes the key away)."""
        head, _, last = path.rpartition(".")
        self.put_key(head, last, value)

    def put_key(self, head: str, last: str, value: Any) -> None:
        """Write a value under a key that may hold any letters (an ingredient), in the table at `head`."""
        import tomlkit

        doc = tomlkit.parse(self.text)
        table = _table(doc, head, make=value != "")
        if value == "" or value == []:
            if table is not None:
                table.pop(last, None)
        else:
            present = table.get(last) if table is not None else None
            if isinstance(present, dict) and not isinstance(value, dict):
                present["percent"] = value  # an ingredient written as a table keeps its kind and temperature
            elif table is not None:
                table[last] = value
        self.take(tomlkit.dumps(doc))

    def put_ingredient(self, name: str, part: str, value: Any) -> None:
        """Write the percent, kind or temperature of an ingredient; one that has only a percent is written short."""
        import tomlkit
        from tomlkit.items import InlineTable

        if part == "percent":
            self.put_key("formula", name, value)
            return
        doc = tomlkit.parse(self.text)
        table = _table(doc, "formula", make=True)
        present = table.get(name)
        if not isinstance(present, dict):
            fresh = tomlkit.inline_table()
            fresh["percent"] = "1 %" if present is None else present
            table[name] = present = fresh
        if value == "":
            present.pop(part, None)
            if set(present) == {"percent"} and isinstance(present, InlineTable):
                table[name] = present["percent"]
        else:
            present[part] = value
        self.take(tomlkit.dumps(doc))

    def rename(self, path: str, new: str) -> None:
        """Give a key of a table another name, in its place."""
        import tomlkit

        doc = tomlkit.parse(self.text)
        head, _, last = path.rpartition(".")
        table = _table(doc, head, make=False)
        if table is None or last not in table or not new.strip():
            return
        pairs = [(new.strip() if key == last else key, table[key]) for key in list(table)]
        for key in list(table):
            table.pop(key)
        for key, value in pairs:
            table[key] = value
        self.take(tomlkit.dumps(doc))

    def add(self, path: str, values: dict[str, Any]) -> None:
        """Add a member to an array of tables."""
        import tomlkit
        from tomlkit.items import AoT

        doc = tomlkit.parse(self.text)
        if path not in doc:
            doc[path] = tomlkit.aot()
        members = doc[path]
        if not isinstance(members, list):
            raise DocError(f"{path} is no list in this file; mend it as text.")
        fresh = tomlkit.table() if isinstance(members, AoT) else tomlkit.inline_table()
        for key, value in values.items():
            fresh[key] = value
        members.append(fresh)
        self.take(tomlkit.dumps(doc))

    def remove(self, path: str, number: int) -> None:
        """Take member `number` (from 1) out of an array of tables."""
        import tomlkit

        doc = tomlkit.parse(self.text)
        members = doc.get(path)
        if isinstance(members, list) and 0 < number <= len(members):
            del members[number - 1]
            if not members:
                del doc[path]
        self.take(tomlkit.dumps(doc))

    def replace_table(self, path: str, values: dict[str, Any]) -> None:
        """Put a whole table in place of another (the cook's own kitchen into a batch)."""
        import tomlkit

        doc = tomlkit.parse(self.text)
        doc[path] = values
        self.take(tomlkit.dumps(doc))

    def take(self, text: str) -> None:
        """Put another text in force. Raises DocError and changes nothing when it is no TOML."""
        wrong = trouble(text)
        if wrong is not None:
            raise DocError(str(wrong))
        self.table = tomllib.loads(text)
        self.text = text


def _table(doc: Any, path: str, make: bool) -> Any:
    import tomlkit

    table = doc
    for name, number in _PART.findall(path):
        if name not in table:
            if not make:
                return None
            table[name] = tomlkit.table()
        table = table[name]
        if number:
            if not isinstance(table, list) or int(number) > len(table):
                raise DocError(f"{path} is not in this file.")
            table = table[int(number) - 1]
        if not isinstance(table, dict):
            raise DocError(f"{name} is no table in this file; mend it as text.")
    return table
