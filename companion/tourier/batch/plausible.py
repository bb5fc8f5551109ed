"""What a dough for laminating is usually made of, and what cannot rise or be eaten: bounds by ingredient and oven.

Outside the usual a batch is planned with a warning; outside the possible it is refused, always with the key. All
bounds are common practice, no source, but for the yeast's: its work is reckoned in `tourier.craft.yeast`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from tourier.batch.model import BatchSpec, FormulaLine, Warned
from tourier.craft.yeast import AS_FRESH

CP = "common practice, no source"


@dataclass(frozen=True)
class Bound:
    """Percent of flour: usual from ``low`` to ``high``, possible up to ``most``; ``kind`` of dough, "" = any."""

    what: str
    kinds: tuple[str, ...]
    low: float
    high: float
    most: float
    kind: str = ""
    too_little: str = ""
    too_much: str = ""
    worth: Callable[[str], float] = lambda _kind: 1.0


BOUNDS = (
    Bound("salt", ("salt",), 1.2, 2.6, 6.0, too_little="the dough tastes flat, is slack and ferments fast",
          too_much="it tastes salty and slows the yeast"),
    Bound("yeast, reckoned as fresh,", tuple(AS_FRESH), 1.5, 7.0, 15.0, "leavened", "bulk and proof take very long",
          "it runs away on a warm bench and tastes of yeast", AS_FRESH.__getitem__),
    Bound("sugar", ("sugar",), 0.0, 20.0, 40.0, too_much="it slows the yeast and browns early"),
    Bound("egg", ("egg", "egg yolk", "egg white"), 0.0, 25.0, 60.0, too_much="the crumb sets firm and dry"),
    Bound("butter in the dough", ("butter",), 0.0, 15.0, 40.0, too_much="the dough is too soft to keep layers apart"),
)  # fmt: skip
#: (usual °C, possible °C) of the oven and (usual s, possible s) of one load, by kind of dough.
OVEN_C = {"leavened": ((165.0, 220.0), (140.0, 260.0)), "puff": ((170.0, 230.0), (150.0, 270.0))}
BAKE_S = {"leavened": ((600.0, 2100.0), (360.0, 3600.0)), "puff": ((720.0, 3000.0), (420.0, 5400.0))}


def _shares(lines: Iterable[FormulaLine], kind: str) -> Iterable[tuple[Bound, float, str]]:
    lines = list(lines)
    for bound in BOUNDS:
        if bound.kind not in ("", kind):
            continue
        found = [line for line in lines if line.kind in bound.kinds]
        share = sum(line.percent_of_flour * bound.worth(line.kind) for line in found)
        yield bound, share, found[-1].name if found else ""


def impossible(lines: Iterable[FormulaLine], kind: str) -> list[tuple[str, str]]:
    """(ingredient's key, sentence) of what cannot be: more than a dough bears."""
    return [
        (name, f"makes {share:g} % {bound.what} on flour; {bound.too_much}: at most {bound.most:g} %")
        for bound, share, name in _shares(lines, kind)
        if share > bound.most
    ]


def unusual(spec: BatchSpec) -> list[Warned]:
    """A warning for every share outside the usual, the key named."""
    out = []
    for bound, share, name in _shares(spec.formula, spec.kind):
        if bound.low <= share <= bound.high:
            continue
        where = f"formula.{name}" if name else "formula"
        why = bound.too_little if share < bound.low else bound.too_much
        usual = f"{bound.low:g} to {bound.high:g} %" if bound.low else f"up to {bound.high:g} %"
        out.append(Warned("unusual", f"{where}: {share:g} % {bound.what} on flour; usual is {usual}: {why}", CP))
    return out
