"""Read, check and price `bom.csv`, the source of truth for parts."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from pathlib import Path

BOM_FILE = Path(__file__).resolve().parent.parent / "bom.csv"
COLUMNS = (
    "reference", "part", "quantity", "specification", "source_1", "source_2", "substitute", "price_each", "price_date",
    "price_note", "variant", "fit",
)  # fmt: skip


@dataclass(frozen=True)
class Line:
    """One line of the parts list; price in the maker's currency, an estimate."""

    references: tuple[str, ...]
    part: str
    quantity: int
    specification: str
    sources: tuple[str, str]
    substitute: str
    price_each: float
    price_date: str
    variant: str
    optional: bool


def read(path: Path = BOM_FILE) -> list[Line]:
    """Every line, checked. ValueError says which line and what is wrong with it."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = csv.DictReader(file)
        if tuple(rows.fieldnames or ()) != COLUMNS:
            raise ValueError(f"{path.name}: the columns must be {', '.join(COLUMNS)}")
        lines = []
        for number, row in enumerate(rows, 2):
            where = f"{path.name} line {number}"
            if None in row.values() or None in row:
                raise ValueError(f"{where}: {len(COLUMNS)} columns are needed; quote a text that holds a comma")
            empty = [name for name in COLUMNS if not row[name].strip()]
            if empty:
                raise ValueError(f"{where}: {empty[0]} is empty")
            references = tuple(row["reference"].split())
            if not all(re.fullmatch(r"[A-Z]{1,3}\d+", r) for r in references):
                raise ValueError(f"{where}: reference must look like R1 or R1 R2, not {row['reference']!r}")
            if row["variant"] not in ("both", "perfboard", "pcb") or row["fit"] not in ("needed", "optional"):
                raise ValueError(f"{where}: variant is both, perfboard or pcb; fit is needed or optional")
            if row["price_note"] != "estimate" or not re.fullmatch(r"20\d\d-[01]\d", row["price_date"]):
                raise ValueError(f"{where}: a price is an estimate with a date like 2026-11")
            quantity = int(row["quantity"])
            if len(references) not in (1, quantity):
                raise ValueError(f"{where}: {len(references)} references but quantity {quantity}")
            lines.append(Line(
                references, row["part"], quantity, row["specification"], (row["source_1"], row["source_2"]),
                row["substitute"], float(row["price_each"]), row["price_date"], row["variant"],
                row["fit"] == "optional",
            ))  # fmt: skip
    return lines


def cost(lines: list[Line], variant: str, optional: bool = False) -> float:
    """Estimated cost of one unit in a variant ('perfboard' or 'pcb')."""
    return sum(
        line.quantity * line.price_each
        for line in lines
        if line.variant in ("both", variant) and (optional or not line.optional)
    )


def table(lines: list[Line], variant: str) -> str:
    """The parts of one variant as Markdown, with its sum."""
    out = ["| reference | part | number | specification | instead |", "|---|---|---:|---|---|"]
    for line in lines:
        if line.variant in ("both", variant):
            name = line.part + (" (optional)" if line.optional else "")
            out.append(
                f"| {' '.join(line.references)} | {name} | {line.quantity} | {line.specification} | {line.substitute} |"
            )
    out.append("")
    out.append(
        f"Sum, estimated {lines[0].price_date}: **{cost(lines, variant):.0f}** in local currency, "
        f"{cost(lines, variant, optional=True):.0f} with air sensor and clock."
    )
    return "\n".join(out)
