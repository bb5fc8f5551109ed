"""A batch file (TOML) read and validated; the format is described in BATCHFILE.md beside this module.

Nothing is half read: either a `BatchSpec` comes back or a `BatchError` with every problem, its key and its line.
"""

from __future__ import annotations

import re
import stat
import tomllib
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tourier.batch import sections
from tourier.batch.fields import BatchError, Problem, Table, percent_limit, text, time_limit, whole, word
from tourier.batch.lines import line_map, line_of
from tourier.batch.model import BatchSpec, PieceWish
from tourier.batch.plausible import BAKE_S
from tourier.batch.when import moment, zone_of
from tourier.quantities import clean, duration_s, length_m, percent, temperature_c, units_of
from tourier.voice import UNITS, Voice, voice_of

MAX_BYTES = 64 * 1024
_TOO_BIG = "is a number too large for a batch file; write fewer digits"

__all__ = ["BatchError", "Problem", "read_batch", "read_batch_text"]


def read_batch(path: str | Path, now: datetime | None = None) -> BatchSpec:
    """Read a batch file. `now` (aware) decides what "Sunday" means and what is past; None = this moment."""
    return read_batch_text(read_raw(Path(path)), Path(path).name, now)


def read_raw(path: Path) -> str:
    """Return the text of a batch file. Raises BatchError when it cannot be read, is too large or is no UTF-8."""
    where = path.name
    try:
        # A pipe nobody writes to would be waited for without end; one the shell has opened stands under /dev or /proc.
        if stat.S_ISFIFO(path.stat().st_mode) and path.absolute().parts[1:2] not in (("dev",), ("proc",)):
            raise BatchError(where, [Problem("", 0, "is a pipe, not a file; save the batch as a file")])
        with path.open("rb") as stream:
            raw = stream.read(MAX_BYTES + 1)
    except OSError as error:
        raise BatchError(where, [Problem("", 0, f"cannot be read ({error.strerror}); check the name")]) from None
    except BatchError:
        raise
    except ValueError:  # a name with a zero byte in it
        raise BatchError(where, [Problem("", 0, "is no name a file can have; check the name")]) from None
    if len(raw) > MAX_BYTES:
        raise BatchError(where, [Problem("", 0, f"is larger than {MAX_BYTES // 1024} KB; a batch file is a page")])
    try:
        content = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise BatchError(where, [Problem("", line, "is not UTF-8 text; save it as UTF-8")]) from None
    return content


def read_batch_text(content: str, where: str = "", now: datetime | None = None) -> BatchSpec:
    """Read the text of a batch file; `where` names it in errors. Raises BatchError."""
    if now is None:
        now = datetime.now(UTC)
    if len(content.encode("utf-8", "replace")) > MAX_BYTES:
        raise BatchError(where, [Problem("", 0, f"is larger than {MAX_BYTES // 1024} KB; a batch file is a page")])
    content = content.replace("\r\n", "\n")
    try:
        data = tomllib.loads(content)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"\(at line (\d+)", str(error))
        line = int(found.group(1)) if found else content.count("\n") + 1
        sentence = re.sub(r" \(at .*\)$", "", str(error))
        raise BatchError(where, [Problem("", line, f"is not TOML: {clean(sentence)}")]) from None
    except RecursionError:
        raise BatchError(where, [Problem("", 0, "is nested too deeply; a batch file has flat tables")]) from None
    except ValueError:  # Python reads no whole number of more than 4300 digits
        found = re.search(r"\d[\d_]{4000}", content)
        line = content.count("\n", 0, found.start()) + 1 if found else 0
        raise BatchError(where, [Problem("", line, _TOO_BIG)]) from None
    lines = line_map(content)
    problems = [Problem(clean(key), line_of(lines, key), _TOO_BIG) for key in _huge(data)]
    if problems:
        raise BatchError(where, problems)
    top = Table(data, "", lines, problems)
    spec = _spec(top, now, content)
    if problems or spec is None:
        problems.sort(key=lambda p: p.line)
        raise BatchError(where, problems)
    return spec


def _huge(data: dict) -> list[str]:
    """Keys of whole numbers beyond TOML's 64 bits: Python reads them, but cannot always write them into a message."""
    found, left = [], [("", data)]
    while left:
        path, value = left.pop()
        if isinstance(value, dict):
            left += [(f"{path}.{key}" if path else key, item) for key, item in value.items()]
        elif isinstance(value, list):
            left += [(f"{path}[{number}]", item) for number, item in enumerate(value, start=1)]
        elif isinstance(value, int) and value.bit_length() > 63:
            found.append(path)
    return found


def _piece(row: Table, final_m: float | None) -> PieceWish | None:
    shape = row.get("shape", word("triangle", "rectangle", "strip"))
    name = row.get("name", text(24))
    count = row.get("count", whole, low=1, high=2000)
    base = row.get("base", length_m, low=0.015, high=0.6, show=Voice.length)
    height = row.get("height", length_m, low=0.015, high=0.8, show=Voice.length)
    thick = row.get("thickness", length_m, final_m, low=0.0015, high=0.015, show=Voice.thickness)
    stretch = row.get("stretch_to", length_m, None, low=0.02, high=1.0, show=Voice.length)
    freeze = row.get("freeze", whole, 0, low=0, high=2000)
    row.finish()
    if thick is None and final_m is None and not row.has("thickness"):
        row.wrong("thickness", "is missing here and under [folds] as final_thickness; write one of them")
    if thick is None or None in (shape, name, count, base, height):
        return None
    if freeze > count:
        row.wrong("freeze", f"freezes {freeze} of {count} pieces; freeze at most as many as there are")
    if stretch is not None and stretch < height:
        row.wrong("stretch_to", "is shorter than the height; a piece is stretched longer")
    return PieceWish(name, count, shape, base, height, thick, stretch, freeze)


def _spec(top: Table, now: datetime, content: str) -> BatchSpec | None:
    name = top.get("name", text(40))
    zone = top.get("zone", zone_of)
    kind = top.get("kind", word("leavened", "puff"), "leavened")
    ready = start_after = None
    if zone is not None:
        ready = top.get("ready", lambda v: moment(v, zone, now, forward=True))
        start_after = top.get("start_after", lambda v: moment(v, zone, ready or now, forward=False), None)
    else:
        top.asked |= {"ready", "start_after"}
    if ready is not None:
        if ready <= now:
            top.wrong("ready", f"{ready:%Y-%m-%d %H:%M} is already past; write a time ahead, such as \"Sunday 08:30\"")
        elif ready > now + timedelta(days=60):
            top.wrong("ready", "is more than 60 days ahead; plan nearer to the day")
        if start_after is not None and start_after >= ready:
            top.wrong("start_after", "is not before the ready time")
    units = top.get("units", word(*UNITS), units_of(top.data))
    top.voice = voice_of(units)
    folds, final_m = sections.folds(top.table("folds"), kind or "leavened")
    piece_rows = top.tables("pieces", 8, need=True)
    pieces = [_piece(row, final_m) for row in piece_rows]
    _same_names([p.name for p in pieces if p], piece_rows)
    formula = sections.formula(top.table("formula"), kind or "leavened")
    butter = sections.butter(top.table("butter"))
    kitchen = sections.kitchen(top.table("kitchen"), kind or "leavened")
    away = sections.away(top.tables("away", 8), zone, ready)
    least_s, most_s = BAKE_S[kind or "leavened"][1]
    values = {
        "dough_temp_c": top.get("dough_temperature", temperature_c, 24.0 if kind == "leavened" else 18.0,
                                low=10.0, high=32.0, show=Voice.temperature),
        "trim_percent": top.get("trim", percent, 12.0, low=0.0, high=40.0, show=percent_limit),
        "scrap_percent": top.get("scraps", percent, 2.0, low=0.0, high=20.0, show=percent_limit),
        "patons": top.get("patons", whole, None, low=1, high=8),
        "proof_s": top.get("proof", duration_s, None, low=1200, high=43200, show=time_limit),
        "proof_ref_c": top.get("proof_at", temperature_c, 24.0, low=15.0, high=32.0, show=Voice.temperature),
        "bake_s": float(top.get("bake", duration_s, 1080, low=least_s, high=most_s, show=time_limit)),
        "buffer_s": float(top.get("buffer", duration_s, 0, low=0, high=21600, show=time_limit)),
        "units": units,
        "both_rulers": top.get("ruler_marks", word("own", "both"), "own") == "both",
        "blade_m": top.get("blade", length_m, 0.001, low=0.0, high=0.01, show=Voice.thickness),
    }  # fmt: skip
    top.get("note", text(400), "")
    top.finish()
    if top.problems or zone is None or ready is None or butter is None or folds is None or kitchen is None:
        return None
    good = tuple(piece for piece in pieces if piece is not None)
    return BatchSpec(name, ready, zone.key, kind, good, formula, butter, folds, kitchen, away,
                     start_after=start_after, source=content, lines=top.lines, **values)  # fmt: skip


def _same_names(names: list[str], rows: list[Table]) -> None:
    for index, name in enumerate(names):
        if name in names[:index]:
            rows[index].wrong("name", f'"{name}" is used twice; give each kind of piece its own name')

