"""The day planner: when to do what, so that everything is ready at the hour and nobody is up at three."""

from __future__ import annotations

from typing import Any

_WHERE = {
    "BadWish": "model",
    "DayPlan": "model",
    "Impossible": "model",
    "Job": "model",
    "PlannedStep": "model",
    "Refused": "model",
    "adopt": "plan",
    "plan_days": "plan",
    "plan_together": "plan",
    "to_device": "device",
    "plan_json": "jsonable",
    "Happened": "replan",
    "Replanned": "replan",
    "happened": "replan",
    "plan_frozen": "later",
    "calendar": "ical",
    "card_html": "card",
    "timeline": "draw",
}

__all__ = sorted(_WHERE)


def __getattr__(name: str) -> Any:
    """Load a part when it is first asked for: the solver alone takes most of a second to import."""
    if name not in _WHERE:
        raise AttributeError(name)
    from importlib import import_module

    return getattr(import_module(f"tourier.dayplan.{_WHERE[name]}"), name)
