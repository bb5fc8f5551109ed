"""The one error of the logbook: a sentence for the cook."""

from __future__ import annotations


class LogbookError(ValueError):
    """A log, file or request the logbook cannot take. str() says what, where and what to do."""
