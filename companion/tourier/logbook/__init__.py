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
    from tourier.logbook.findings.review import Finding, Review, review
    from tourier.logbook.record.model import Batch, Listed, Outcome
    from tourier.logbook.record.store import Logbook

_WHERE = {
    "Logbook": "record.store", "Batch": "record.model", "Listed": "record.model", "Outcome": "record.model",
    "Review": "findings.review", "Finding": "findings.review", "review": "findings.review",
}  # fmt: skip

__all__ = ["Batch", "Finding", "Listed", "Logbook", "LogbookError", "Outcome", "Review", "review"]


class LogbookError(ValueError):
    """A log, file or request the logbook cannot take. str() says what, where and what to do."""


def __getattr__(name: str):
    # Lazily, so that naming an error does not load numpy.
    import importlib

    if name in _WHERE:
        return getattr(importlib.import_module(f"tourier.logbook.{_WHERE[name]}"), name)
    raise AttributeError(name)
