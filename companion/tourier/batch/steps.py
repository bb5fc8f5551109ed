"""Collecting process steps: the few things every step shares, and the sizes used all over."""

from __future__ import annotations

from dataclasses import dataclass, field

from tourier.batch.limits import Limits
from tourier.batch.model import ProcessStep

CP = "common practice, no source"


@dataclass
class Steps:
    """Steps in a workable order: `add` appends one and returns its key."""

    steps: list[ProcessStep] = field(default_factory=list)

    def add(
        self,
        key: str,
        kind: int,
        name: str,
        place: int,
        limits: Limits,
        attended_s: float,
        within: dict[str, int] | None = None,
        after: tuple[str, ...] = (),
        **more,
    ) -> str:
        """Append a step. `within` names predecessors and how long after each it must begin (s); `after` names
        predecessors it may follow at any distance."""
        within = within or {}
        # A step that may be stretched or shortened keeps the cook no longer than it surely lasts.
        hands_on = min(attended_s, limits.min_s if more.get("flexible") else limits.ideal_s)
        self.steps.append(
            ProcessStep(
                key=key,
                kind=kind,
                name=name,
                place=place,
                paton=more.pop("paton", 0),
                attended_s=int(hands_on),
                min_s=limits.min_s,
                ideal_s=limits.ideal_s,
                max_s=limits.max_s,
                after=(*within, *after),
                after_max_s=dict(within),
                why=limits.why,
                **more,
            )
        )
        return key
