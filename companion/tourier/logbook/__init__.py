"""Collected logs, kept, understood and learned from.

The usual way in::

    from tourier.logbook import Logbook, review
    with Logbook(path) as book:
        number = book.collect(board_id, plan_bytes, journal, samples, batch_text)
        found = review(book.load(number))
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tourier.logbook.errors import LogbookError
    from tourier.logbook.findings import Finding, Review, review
    from tourier.logbook.model import Batch, Listed, Outcome
    from tourier.logbook.store import Logbook

_WHERE = {
    "Logbook": "store", "LogbookError": "errors", "Batch": "model", "Listed": "model", "Outcome": "model",
    "Review": "findings", "Finding": "findings", "review": "findings",
}  # fmt: skip

__all__ = ["Batch", "Finding", "Listed", "Logbook", "LogbookError", "Outcome", "Review", "review"]


def __getattr__(name: str):
    # Lazily, so that naming an error does not load numpy.
    import importlib

    if name in _WHERE:
        return getattr(importlib.import_module(f"tourier.logbook.{_WHERE[name]}"), name)
    raise AttributeError(name)
