"""What the planner works with between problem and plan: facts of the day and the times of a solution, in minutes."""

from __future__ import annotations

from dataclasses import dataclass, field

from shared_schedule.states import DONE, RUNNING, SKIPPED, WAITING  # noqa: F401 - a Fact's states


@dataclass(frozen=True)
class Fact:
    """What really happened to a task, in minutes; `end` counts only for DONE."""

    state: int
    start: int = 0
    end: int = 0


@dataclass
class Solution:
    """Start and end of every task in minutes, and the value each stage reached."""

    start: list[int]
    end: list[int]
    proven: bool
    reached: dict[str, int] = field(default_factory=dict)
