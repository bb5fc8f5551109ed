"""On which line of a TOML text each key stands.

The standard parser keeps no lines, so this scanner walks the text beside it. It is no parser: it only has to find
headers and keys of a text that the parser has already accepted. Paths are dotted, members of an array of tables are
numbered from 1: ``pieces[2].height``.
"""

from __future__ import annotations

import re

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def _key(text: str, at: int) -> tuple[list[str], int]:
    """Read a dotted key at `at`; return its parts and where it ends (parts empty when there is none)."""
    parts: list[str] = []
    while True:
        while at < len(text) and text[at] in " \t":
            at += 1
        if at < len(text) and text[at] in "\"'":
            quote = text[at]
            end = at + 1
            while end < len(text) and text[end] != quote:
                end += 2 if text[end] == "\\" and quote == '"' else 1
            parts.append(text[at + 1 : end])
            at = end + 1
        else:
            match = _BARE.match(text, at)
            if match is None:
                return [], at
            parts.append(match.group())
            at = match.end()
        while at < len(text) and text[at] in " \t":
            at += 1
        if at < len(text) and text[at] == ".":
            at += 1
            continue
        return parts, at


def _skip_value(lines: list[str], row: int, at: int, found, prefix: str) -> tuple[int, int]:
    """Walk over a value that begins at lines[row][at]; return where it ends. `found` is told of inline keys."""
    # (bracket, path of what it holds, members so far)
    stack: list[list] = []
    path = prefix
    while row < len(lines):
        text = lines[row]
        while at < len(text):
            char = text[at]
            if char == "#":
                break
            triple = text[at : at + 3]
            if triple in ('"""', "'''"):
                at += 3
                while row < len(lines):
                    end = lines[row].find(triple, at)
                    while triple == '"""' and end > 0 and lines[row][end - 1] == "\\":
                        end = lines[row].find(triple, end + 1)
                    if end >= 0:
                        at = end + 3
                        break
                    row, at = row + 1, 0
                if row >= len(lines):
                    return row, 0
                text = lines[row]
                continue
            if char in "\"'":
                end = at + 1
                while end < len(text) and text[end] != char:
                    end += 2 if text[end] == "\\" and char == '"' else 1
                at = end + 1
                continue
            if char == "[":
                stack.append(["[", path, 1])
            elif char == "{":
                inside = path
                if stack and stack[-1][0] == "[":
                    inside = f"{stack[-1][1]}[{stack[-1][2]}]"
                    found(inside, row + 1)
                stack.append(["{", inside, 0])
                at = _inline_key(text, at + 1, found, inside, row)
                path = inside
                continue
            elif char in "]}":
                if stack:
                    stack.pop()
                if not stack:
                    return row, at + 1
            elif char == "," and stack:
                if stack[-1][0] == "[":
                    stack[-1][2] += 1
                else:
                    at = _inline_key(text, at + 1, found, stack[-1][1], row)
                    continue
            at += 1
        if not stack:
            return row, len(text)
        row, at = row + 1, 0
    return row, 0


def _inline_key(text: str, at: int, found, inside: str, row: int) -> int:
    parts, end = _key(text, at)
    if parts:
        found(f"{inside}.{'.'.join(parts)}", row + 1)
        return end
    return at


def line_map(text: str) -> dict[str, int]:
    """Return {dotted key: line number from 1} for every header, key and inline key of the text."""
    lines = text.splitlines()
    found: dict[str, int] = {}
    counts: dict[str, int] = {}

    def note(path: str, line: int) -> None:
        found.setdefault(path, line)

    prefix = ""
    row = 0
    while row < len(lines):
        stripped = lines[row].lstrip()
        if not stripped or stripped.startswith("#"):
            row += 1
            continue
        if stripped.startswith("["):
            double = stripped.startswith("[[")
            parts, _ = _key(stripped, 2 if double else 1)
            # A header inside an array of tables speaks of its latest member.
            path = ""
            for index, part in enumerate(parts):
                path = f"{path}.{part}" if path else part
                last = index == len(parts) - 1
                if double and last:
                    counts[path] = counts.get(path, 0) + 1
                if path in counts:
                    path = f"{path}[{counts[path]}]"
            prefix = path
            note(path, row + 1)
            row += 1
            continue
        parts, at = _key(lines[row], 0)
        if not parts or at >= len(lines[row]) or lines[row][at] != "=":
            row += 1
            continue
        path = ".".join(([prefix] if prefix else []) + parts)
        note(path, row + 1)
        row, _ = _skip_value(lines, row, at + 1, note, path)
        row += 1
    return found


def line_of(found: dict[str, int], path: str) -> int:
    """The line of a key, or of the nearest table around it; 0 when nothing is known."""
    while path:
        if path in found:
            return found[path]
        cut = max(path.rfind("."), path.rfind("["))
        path = path[:cut] if cut > 0 else ""
    return 0
