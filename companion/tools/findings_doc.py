"""FINDINGS.md, made from what the review knows; `TOURIER_REGENERATE=1 pytest tests/logbook -k printed` writes it."""

from __future__ import annotations

from tourier.logbook.findings.knowledge import table


def markdown() -> str:
    """Return the table as Markdown: what FINDINGS.md holds, kept current by a test."""
    rows = [
        "# What the review looks for",
        "",
        "Made from `knowledge.py`; probabilities and thresholds stand in `findings.toml`. A finding is always worded",
        "as “consistent with”: a log shows what happened to the dough, never the crumb.",
        "",
        "| You saw | May come from | How the log shows it | Said by |",
        "|---|---|---|---|",
    ]
    seen = ""
    for row in table():
        shown = "" if row["symptom"] == seen else row["symptom"]
        seen = row["symptom"]
        rows.append(f"| {shown} | {row['cause']} | {row['evidence']} | {row['source']} |")
    return "\n".join(rows) + "\n"
