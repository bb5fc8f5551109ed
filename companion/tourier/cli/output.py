"""What reaches the terminal: results on stdout, progress and complaints on stderr, nothing unescaped."""

from __future__ import annotations

import io
import json
import os
import sys
import unicodedata
from collections.abc import Iterable
from typing import Any, TextIO

from tourier.columns import table

__all__ = ["Output", "clean", "table"]

_LINES_CAP = 60
_LINE_CAP = 2000  # longest line shown: longer ones come from damaged files or a hostile peer


def clean(text: object, cap: int = _LINE_CAP) -> str:
    """Return text safe for a terminal: control and format characters replaced, length capped.

    Line feeds are kept; everything else in Unicode categories Cc, Cf, Cs, Co and Cn becomes "?".
    """
    out = []
    for char in str(text)[: cap + 1]:
        if char == "\n" or unicodedata.category(char) not in {"Cc", "Cf", "Cs", "Co", "Cn"}:
            out.append(char)
        else:
            out.append("?")
    joined = "".join(out)
    return joined if len(joined) <= cap else joined[:cap] + "…"


class OutputError(Exception):
    """The place results go to takes no more; str() is one sentence."""


def _ready(stream: TextIO | None) -> TextIO:
    """A stream that can be written to whatever is in the text: a closed one swallows, a narrow one writes "?"."""
    if stream is None:  # closed by the shell, `>&-`
        return open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - lives as long as the program
    encoding = (getattr(stream, "encoding", None) or "utf-8").lower().replace("_", "-")
    if encoding not in ("utf-8", "utf8") and isinstance(stream, io.TextIOWrapper):
        # A file or a pipe gets UTF-8, as batch files are; a terminal, and whoever asked for another, what it can show.
        if stream.isatty() or os.environ.get("PYTHONIOENCODING"):
            stream.reconfigure(errors="replace")
        else:
            stream.reconfigure(encoding="utf-8")
    return stream


class Output:
    """The only writer of stdout and stderr. `as_json` turns results into one JSON object and silences prose."""

    def __init__(self, as_json: bool = False, out: TextIO | None = None, err: TextIO | None = None) -> None:
        self.as_json = as_json
        self._out = _ready(out if out is not None else sys.stdout)
        self._err = _ready(err if err is not None else sys.stderr)
        self._progress_open = False
        self._progress_last = ("", -1)

    @property
    def colour(self) -> bool:
        """Whether escape codes may be written: a terminal, and NO_COLOR not set."""
        return self._out.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"

    @property
    def width(self) -> int:
        """Columns to draw in: the terminal's, 80 when there is none."""
        import shutil

        return max(40, shutil.get_terminal_size((80, 24)).columns)

    def line(self, text: object = "") -> None:
        """Write one line of prose; nothing when results are JSON."""
        if not self.as_json:
            self._end_progress()
            self._write(clean(text) + "\n")

    def lines(self, texts: Iterable[object]) -> None:
        """Write several lines of prose."""
        for text in texts:
            self.line(text)

    def heading(self, text: str) -> None:
        """Write a heading with an empty line before it; bold on a terminal, upper case elsewhere."""
        if self.as_json:
            return
        self._end_progress()
        shown = clean(text)
        self._write(f"\n\x1b[1m{shown}\x1b[0m\n" if self.colour else f"\n{shown.upper()}\n")

    def result(self, value: Any) -> None:
        """Write the JSON result; nothing in prose mode."""
        if self.as_json:
            self._end_progress()
            self._write(json.dumps(value, indent=2, ensure_ascii=True, default=str) + "\n")

    def raw(self, text: str) -> None:
        """Write text that is already safe (a generated document) without a cap."""
        self._end_progress()
        self._write(text)

    def progress(self, text: str, fraction: float | None = None) -> None:
        """Show how far long work is: one changing line on a terminal, a line per tenth elsewhere."""
        tenth = -1 if fraction is None else int(fraction * 10)
        percent = "" if fraction is None else f" {min(100, int(fraction * 100)):3d} %"
        if self._err.isatty():
            self._err.write("\r" + clean(text, 100) + percent + "\x1b[K")
            self._err.flush()
            self._progress_open = True
        elif (text, tenth) != self._progress_last:
            self._err.write(clean(text, 200) + percent + "\n")
            self._err.flush()
        self._progress_last = (text, tenth)

    def complain(self, text: object) -> None:
        """Write one complaint to stderr."""
        self._end_progress()
        lines = str(text).split("\n")[:_LINES_CAP]
        self._err.write("\n".join(clean(line) for line in lines) + "\n")
        self._err.flush()

    def flush(self) -> None:
        """Push everything out."""
        self._end_progress()
        try:
            self._out.flush()
        except OSError as error:
            raise self._full(error) from None

    def _write(self, text: str) -> None:
        try:
            self._out.write(text)
        except OSError as error:
            raise self._full(error) from None

    def _full(self, error: OSError) -> BaseException:
        """What to raise for an output that takes no more: a reader that went away is none of our business."""
        if isinstance(error, BrokenPipeError):
            return error
        return OutputError(f"The output cannot be written ({error.strerror}); make room there, or send it elsewhere.")

    def _end_progress(self) -> None:
        if self._progress_open:
            self._err.write("\n")
            self._err.flush()
            self._progress_open = False
