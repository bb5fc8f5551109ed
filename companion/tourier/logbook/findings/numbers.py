"""The numbers of the findings: priors, symptom likelihoods, thresholds. Read from TOML, checked, nothing hidden."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

from tourier import places
from tourier.logbook import LogbookError

_MAX_BYTES = 64 * 1024


@dataclass(frozen=True)
class Numbers:
    """Levels, limits, priors, `symptom[name][cause]` likelihoods and `evidence[cause][threshold]`."""

    levels: dict[str, float]
    limits: dict[str, float]
    prior: dict[str, float]
    symptom: dict[str, dict[str, float]]
    evidence: dict[str, dict[str, Any]]
    source: str


def builtin_text() -> str:
    """Return the file that ships with the program."""
    return resources.files("tourier.logbook.findings").joinpath("findings.toml").read_text(encoding="utf-8")


def _merge(base: dict, over: dict, where: str, path: Path) -> dict:
    out = dict(base)
    for key, value in over.items():
        name = f"{where}{key}"
        if key not in base and not where.startswith("symptom."):
            raise LogbookError(f"{path}: {name!r} is no number of the findings; see the file that ships with tourier.")
        if isinstance(base.get(key), dict):
            if not isinstance(value, dict):
                raise LogbookError(f"{path}: {name!r} must be a table.")
            out[key] = _merge(base[key], value, f"{name}.", path)
        else:
            out[key] = value
    return out


def _probability(value: Any, name: str, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0.0 < value < 1.0:
        raise LogbookError(f"{where}: {name} must be a number between 0 and 1.")
    return float(value)


def _build(table: dict, where: str) -> Numbers:
    for group in ("levels", "limits"):
        for key, value in table[group].items():
            if isinstance(value, bool) or not isinstance(value, (int, float)) or value <= 0:
                raise LogbookError(f"{where}: {group}.{key} must be a number above 0.")
    prior = {key: _probability(value, f"prior.{key}", where) for key, value in table["prior"].items()}
    symptom = {
        name: {cause: _probability(value, f"symptom.{name}.{cause}", where) for cause, value in row.items()}
        for name, row in table["symptom"].items()
    }
    for cause, row in table["evidence"].items():
        for key, value in row.items():
            steps = value if isinstance(value, list) else [value]
            numbers = all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in steps)
            if not numbers or len(steps) not in (1, 3):
                raise LogbookError(f"{where}: evidence.{cause}.{key} must be one number, or three, weak to strong.")
    return Numbers(table["levels"], table["limits"], prior, symptom, table["evidence"], where)


@lru_cache(maxsize=1)
def builtin() -> Numbers:
    """Return the numbers that ship with the program."""
    return _build(tomllib.loads(builtin_text()), "built in")


def own_file() -> Path:
    """Return where the cook's own copy would be."""
    return places.config_folder() / "findings.toml"


def load(path: Path | None = None) -> Numbers:
    """Return the numbers in force: the cook's copy over the built-in ones. Raises LogbookError naming the entry."""
    path = path or own_file()
    if not path.is_file():
        return builtin()
    if path.stat().st_size > _MAX_BYTES:
        raise LogbookError(f"{path} is longer than {_MAX_BYTES} bytes; it is no file of numbers.")
    try:
        over = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise LogbookError(f"{path} cannot be read: {error}.") from error
    return _build(_merge(tomllib.loads(builtin_text()), over, "", path), str(path))
