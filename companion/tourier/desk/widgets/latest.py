"""Work of the desk's threads, shown in the order in which it was asked for."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from textual.worker import get_current_worker


def show_latest(show: Callable[..., object], *args: Any) -> None:
    """Call `show(*args)` on the loop from a thread of an exclusive worker, unless a later one has taken its place.

    Two threads that read one after the other may end the other way round; then what is older is dropped.
    """
    worker = get_current_worker()

    def shown() -> None:
        if not worker.is_cancelled:
            show(*args)

    worker.node.app.call_from_thread(shown)
