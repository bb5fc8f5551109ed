"""Rows of text as aligned lines, for whoever prints a table with plain letters."""

from __future__ import annotations


def table(rows: list[list[str]], right: frozenset[int] = frozenset()) -> list[str]:
    """Return rows as aligned lines; `right` names right-aligned columns. The first row is the heading."""
    if not rows:
        return []
    widths = [max(len(row[column]) for row in rows if column < len(row)) for column in range(len(rows[0]))]
    lines = []
    for row in rows:
        cells = [
            cell.rjust(widths[column]) if column in right else cell.ljust(widths[column])
            for column, cell in enumerate(row)
        ]
        lines.append("  ".join(cells).rstrip())
    return lines
