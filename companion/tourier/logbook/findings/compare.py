"""Two or more batches side by side: all and only the changed inputs, then what behaved otherwise.

Inputs are what somebody decided or believed beforehand: the batch file, key by key, or where that is missing the
plan's fields and steps. Instants that only follow from the date are no inputs; the hour at which it is to be ready is
one. What the plan had learned by then is one too: it is seen where a plan's figure differs and no key of the file that
it comes from does. The same figure in other units is no change.
"""

from __future__ import annotations

import math
import re
import tomllib
from dataclasses import dataclass
from typing import Any

from shared_schedule import plan as plans
from shared_schedule.units import NO_CDEG
from tourier import quantities
from tourier.logbook import LogbookError
from tourier.logbook.account.steps import Account, account
from tourier.logbook.record.model import Batch, step_title
from tourier.voice import METRIC, Voice, span

# Follow from the date or are made anew for each plan.
_NOT_INPUT_PLAN = {"made_at_s", "ready_at_s", "offset_min", "offset_change_at_s", "offset_after_min", "quiet", "name"}
_NOT_INPUT_STEP = {"step_id", "start_at_s", "after"}
_NOT_INPUT_FILE = {"name", "ready", "start_after"}

# Plan fields that the logbook can teach, with the beginnings of the keys of the batch file they else come from.
_TAUGHT = (
    ("fridge_cdeg", "fridge (°C)", 100, ("kitchen.fridge",)),
    ("freezer_cdeg", "freezer (°C)", 100, ("kitchen.freezer",)),
    ("film_fridge_mw", "chilling in the fridge (W/m²K)", 1000, ("kitchen.fridge",)),
    ("film_freezer_mw", "chilling in the freezer (W/m²K)", 1000, ("kitchen.freezer",)),
    ("butter_low_cdeg", "butter pliable from (°C)", 100, ("butter",)),
    ("butter_high_cdeg", "butter pliable to (°C)", 100, ("butter",)),
)
_HOUR = re.compile(r"([01]?\d|2[0-3]):[0-5]\d")
_MEASURES_OF_TEXT = (quantities.temperature_c, quantities.length_m, quantities.mass_kg, quantities.duration_s,
                     quantities.percent)  # fmt: skip


@dataclass(frozen=True)
class Change:
    """One thing that differs. `values` run parallel to the batches compared; None = not there. `weight` says how far
    behaviour stands out: how many times what a cook or a probe varies by itself."""

    what: str
    values: tuple[Any, ...]
    weight: float = 0.0

    def row(self, voice: Voice = METRIC) -> tuple[str, ...]:
        """What differs with its unit, then the values: minutes, tenths of a degree; "--" where there is none."""
        name = self.what.removesuffix(" (s)").removesuffix(" (W/m²K)").replace("(°C", f"({voice.degree}")
        return name, *(_said(self.what, value, voice) for value in self.values)


@dataclass(frozen=True)
class Comparison:
    """`inputs` that changed, then `behaviour` that differed, and where the inputs were read from."""

    batches: tuple[Batch, ...]
    inputs: tuple[Change, ...]
    behaviour: tuple[Change, ...]
    source: str

    @property
    def voice(self) -> Voice:
        """How the newest of the batches is said."""
        return self.batches[-1].voice


def flatten(table: Any, prefix: str = "") -> dict[str, Any]:
    """Return a nested table as {"a.b": value}. Lists of tables are keyed by their `name` where each has its own."""
    out: dict[str, Any] = {}
    if isinstance(table, dict):
        for key, value in table.items():
            out |= flatten(value, f"{prefix}.{key}" if prefix else str(key))
    elif isinstance(table, list) and table and all(isinstance(item, dict) for item in table):
        names = [item.get("name") for item in table]
        unique = len(set(map(str, names))) == len(names) and all(isinstance(n, str) for n in names)
        for place, item in enumerate(table):
            out |= flatten(item, f"{prefix}[{names[place] if unique else place + 1}]")
    else:
        out[prefix] = table
    return out


def _file_inputs(batch: Batch) -> dict[str, Any] | None:
    if not batch.batch_text:
        return None
    try:
        table = tomllib.loads(batch.batch_text)
    except (tomllib.TOMLDecodeError, RecursionError):
        return None
    out = {key: value for key, value in flatten(table).items() if key not in _NOT_INPUT_FILE}
    hour = _HOUR.search(str(table.get("ready", "")))
    return out | ({"ready (hour)": hour.group().zfill(5)} if hour else {})


def _plan_inputs(batch: Batch) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for name, kind, *_ in plans.PLAN_FIELDS:
        if name not in _NOT_INPUT_PLAN:
            out[name] = _shown(getattr(batch.plan, name), kind)
    seen: dict[str, int] = {}
    for step in batch.plan.steps:
        title = step_title(step)
        seen[title] = seen.get(title, 0) + 1
        if seen[title] > 1:
            title += f" #{seen[title]}"
        for name, kind, *_ in plans.STEP_FIELDS:
            if name not in _NOT_INPUT_STEP:
                out[f"{title}: {name}"] = _shown(getattr(step, name), kind)
    return out


def _shown(value: Any, kind: str) -> Any:
    if kind == "c":
        return None if value == NO_CDEG else value
    return list(value) if isinstance(value, tuple) else value


def inputs(batches: list[Batch]) -> tuple[str, list[dict[str, Any]]]:
    """Return (where they were read, the inputs of each batch): the batch files when all have one, else the plans."""
    files = [_file_inputs(batch) for batch in batches]
    if all(f is not None for f in files):
        return "batch file", files  # type: ignore[return-value]
    return "plan", [_plan_inputs(batch) for batch in batches]


def compare(batches: list[Batch]) -> Comparison:
    """Return the comparison of two batches or more, in the order given. Raises LogbookError for fewer."""
    if len(batches) < 2:
        raise LogbookError("Comparing needs two batches; `tourier batches` lists those there are.")
    source, tables = inputs(batches)
    keys = list(dict.fromkeys(key for table in tables for key in table))
    changed = []
    for key in keys:
        values = tuple(table.get(key) for table in tables)
        if not all(same(values[0], value) for value in values[1:]):
            changed.append(Change(key, values))
    if source == "batch file":
        changed += _taught(batches, {change.what for change in changed})
    return Comparison(tuple(batches), tuple(changed), _behaviour([account(b) for b in batches]), source)


def same(one: Any, other: Any) -> bool:
    """Whether two entries of a batch file mean the same: equal, or the same measure in other units."""
    if one == other:
        return True
    if not isinstance(one, str) or not isinstance(other, str):
        return False
    for measure in _MEASURES_OF_TEXT:
        try:
            return math.isclose(measure(one), measure(other), rel_tol=1e-6, abs_tol=1e-9)
        except quantities.QuantityError:
            continue
    return False


def _taught(batches: list[Batch], changed: set[str]) -> list[Change]:
    """Figures the plans had learned: they differ although the batch files say the same about them."""
    out = []
    for name, what, scale, begins in _TAUGHT:
        values = [getattr(batch.plan, name) for batch in batches]
        from_file = any(key == b or key.startswith((b + ".", b + "_")) for key in changed for b in begins)
        if len(set(values)) > 1 and not from_file:
            out.append(Change(f"learned: {what}", tuple(None if v == NO_CDEG else v / scale for v in values)))
    return out


# What counts as different behaviour: more than a cook or a probe varies by itself, and how much it matters when several
# things differ at once. Judgement, no source. The bench is asked only where something lies on it.
_MEASURES = (
    ("lasted", "s", lambda s: s.lasted_s, lambda a, b: max(180.0, 0.2 * max(a, b)), 2.0),
    ("began", "°C", lambda s: s.probe.start_c, lambda a, b: 1.5, 1.0),
    ("ended", "°C", lambda s: s.probe.end_c, lambda a, b: 1.5, 1.0),
    ("warmed", "°C/min", lambda s: s.probe.rate_c_min, lambda a, b: 0.4, 1.0),
    ("bench", "°C", lambda s: s.bench.mean_c if s.step.place == plans.BENCH else math.nan, lambda a, b: 1.5, 0.5),
    ("too warm", "°C min", lambda s: s.probe.warm_degmin, lambda a, b: 5.0, 2.0),
    ("too cold", "°C min", lambda s: s.probe.cold_degmin, lambda a, b: 5.0, 2.0),
    ("dose", "s", lambda s: s.dose_s, lambda a, b: 0.15 * max(a, b), 1.0),
)


def _behaviour(accounts: list[Account]) -> tuple[Change, ...]:
    titles: list[str] = []
    tables: list[dict[str, Any]] = []
    for acc in accounts:
        table: dict[str, Any] = {}
        for step in acc.steps:
            title, n = step.title, 2
            while title in table:
                title, n = f"{step.title} #{n}", n + 1
            table[title] = step
            if title not in titles:
                titles.append(title)
        tables.append(table)
    out = []
    for title in titles:
        steps = [table.get(title) for table in tables]
        for word, unit, measure, usual, matters in _MEASURES:
            values = [math.nan if s is None or s.from_s is None else measure(s) for s in steps]
            known = [v for v in values if not math.isnan(v)]
            times = [abs(known[0] - v) / (usual(known[0], v) or math.inf) for v in known[1:]]
            if times and max(times) > 1.0:
                out.append(Change(f"{title}: {word} ({unit})",
                                  tuple(None if math.isnan(v) else round(v, 2) for v in values),
                                  max(times) * matters))  # fmt: skip
    return tuple(out)


def standing_out(changes: tuple[Change, ...], most: int = 5) -> list[Change]:
    """Return the changes of behaviour that stand out most, the farthest first, one for each step."""
    found: dict[str, Change] = {}
    for change in sorted(changes, key=lambda c: -c.weight):
        found.setdefault(change.what.rsplit(": ", 1)[0], change)
    return list(found.values())[:most]


def _said(what: str, value: Any, voice: Voice) -> str:
    if value is None:
        return "--"
    if not isinstance(value, int | float):
        return str(value)
    if what.endswith(" (s)"):
        return span(value)
    if what.endswith("(W/m²K)"):
        return voice.film(value)
    if what.endswith("(°C)"):
        return voice.degrees(value).replace("-", "−")
    if what.endswith(("(°C/min)", "(°C min)")):
        return voice.rate(value).replace("-", "−")
    return str(value)


def last_good(book, batch_id: int) -> int | None:
    """Return the number of the newest batch before this one that the cook rated 4 or 5 without symptoms, or None."""
    listed = book.batches()
    begun = next((b.begun_at_s for b in listed if b.id == batch_id), None)
    if begun is None:
        raise LogbookError(f"There is no batch {batch_id}; `tourier batches` lists those there are.")
    for item in listed:  # newest first
        earlier = item.begun_at_s < begun or (item.begun_at_s == begun and item.id < batch_id)
        if earlier and (item.rating or 0) >= 4 and not item.symptoms:
            return item.id
    return None
