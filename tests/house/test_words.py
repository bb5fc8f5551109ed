"""Trade words: folds are 3-folds and 4-folds, "turn" is no fold, nothing names the machine it was written on."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
TEXT = {".py", ".md", ".toml", ".txt", ".html", ".css", ".tcss", ".svg", ".csv", ".json", ".sh", ".yml", ".scad", ""}

RULES = [
    (r"\b(single|double|letter|book|simple)[ -]folds?\b", "a fold is a 3-fold or a 4-fold"),
    (r"\b(single|double|letter|book|simple|half)[ -]turns?\b", "a fold is a 3-fold or a 4-fold"),
    (r"\b(first|second|third|fourth|last|[2-9]|two|three|four|six) turns\b", "'turn' is no word for a fold"),
    (r"(?<![\w.])/root/", "a path of somebody's machine"),
    (r"\b(TODO|FIXME|XXX)\b", "work left lying about"),
]
QUOTING = ("tests/outside/",)  # quotes its sources in their own words
GOOD = ("a quarter turn", "turns red", "a 3-fold, then a 4-fold", "https://x.org/root/1", "one loop turn", "in turn")
BAD = ("a book fold", "a double turn", "give it six turns", "after three turns", "see /root/main/x", "# TODO later")


def project_files() -> list[Path]:
    listed = subprocess.run(["git", "ls-files"], capture_output=True, text=True, cwd=ROOT)
    names = listed.stdout.split("\n") if listed.returncode == 0 else []
    found = [ROOT / name for name in names if name] or list(ROOT.rglob("*"))
    mine = Path(__file__).name
    return [path for path in found if path.suffix in TEXT and path.name != mine and path.is_file()]


def broken(text: str) -> list[str]:
    found = []
    for pattern, sentence in RULES:
        flags = re.IGNORECASE if "TODO" not in pattern else 0
        if not re.search(pattern, text, flags):
            continue
        for number, line in enumerate(text.splitlines(), 1):
            if re.search(pattern, line, flags):
                found.append(f"{number}: {sentence}: {line.strip()[:90]}")
    return found


@pytest.mark.parametrize("line", BAD)
def test_bad_words_are_seen(line: str) -> None:
    assert broken(line)


@pytest.mark.parametrize("line", GOOD)
def test_good_words_pass(line: str) -> None:
    assert broken(line) == []


def test_the_house_speaks_the_trade() -> None:
    files = project_files()
    assert len(files) > 50
    found = []
    for path in files:
        if path.relative_to(ROOT).as_posix().startswith(QUOTING):
            continue
        found += [f"{path.relative_to(ROOT)}:{line}" for line in broken(path.read_text("utf-8", errors="replace"))]
    assert not found, "\n".join(found[:40])
