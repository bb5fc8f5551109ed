"""The main job on the virtual bench timer: plan, send, play the days, collect, review. Command line and desk share it.

Everything goes the way it would with a board: canonical plan bytes over the serial link to the firmware under its own
interpreter, buttons pressed by a scripted cook, temperatures from the virtual kitchen, the log back over the link.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from shared_schedule import plan as wire
from tourier.batch.model import BatchSpec

if TYPE_CHECKING:
    from tourier.design import Design
    from tourier.device.virtual.kitchen import KitchenConfig
    from tourier.known import Lessons
    from tourier.logbook.findings.review import Review

Progress = Callable[[str, float | None], None]

# The built-in demo is set in one fixed week, so that the same seed gives the same rehearsal on any day.
DEMO_NOW = datetime(2027, 3, 12, 17, 0, tzinfo=ZoneInfo("Europe/Paris"))

_BEFORE_S = 600  # the timer is switched on ten minutes before the first step
_AFTER_S = 1800  # and the cook has half an hour for the last presses


@dataclass(frozen=True)
class Rehearsal:
    """What a rehearsal gave. `kept` is the folder with everything; `wall_s` real seconds, by part."""

    design: Design
    review: Review
    scenario: str
    sentence: str
    seed: int
    kept: Path
    batch_id: int
    log_bytes: dict[str, int]
    wall_s: dict[str, float]
    counters: dict[str, int]


def kitchen_of(spec: BatchSpec, start_at_s: int, plan: wire.Plan) -> KitchenConfig:
    """Return the kitchen the batch file describes, as the virtual kitchen takes it."""
    from tourier.device.virtual.kitchen import KitchenConfig

    place = spec.kitchen
    local_s = start_at_s + wire.offset_min_at(plan, start_at_s) * 60
    return KitchenConfig(
        room_c=place.room_c,
        humidity=place.humidity_pct / 100,
        fridge_c=place.fridge_c,
        freezer_c=place.freezer_c,
        proof_c=plan.proof_cdeg / 100,
        oven_c=place.oven_c,
        bench=place.bench_material,
        bench_mm=place.bench_thickness_m * 1000,
        fan_fridge=place.fridge_fan,
        butter=spec.butter.profile,
        second_of_day=local_s % 86400,
    )


def rehearse(
    batch_text: str, where: str, now: datetime, lessons: Lessons, scenario_name: str, seed: int, keep: Path,
    progress: Progress,
) -> Rehearsal:  # fmt: skip
    """Play a batch file through a scenario, planned with what is known.

    Raises BatchError, Unworkable, Refused, LinkError, VirtualTimerError.
    """
    from tourier.design import design
    from tourier.device.client import Timer
    from tourier.device.collecting import collect_batch
    from tourier.device.virtual.board import VirtualTimer
    from tourier.device.virtual.cook import Cook
    from tourier.device.virtual.kitchen import PlayedKitchen
    from tourier.device.virtual.scenarios import scenario
    from tourier.logbook.findings.review import review
    from tourier.logbook.record.model import Outcome
    from tourier.logbook.record.store import Logbook

    wall = _Wall()
    played = scenario(scenario_name)
    progress("Working out sheets, rests and the timetable", None)
    made = design(batch_text, where, now, lessons)
    plan, data = made.plan, made.data
    wall.mark("plan")
    keep.mkdir(parents=True, exist_ok=True)
    (keep / "batch.toml").write_text(batch_text, encoding="utf-8")
    (keep / "plan.bin").write_bytes(data)

    start_at_s = plan.steps[0].start_at_s - _BEFORE_S
    end_at_s = max(step.start_at_s + step.planned_for_s for step in plan.steps) + _AFTER_S
    kitchen = PlayedKitchen(played.configure(kitchen_of(made.spec, start_at_s, plan)), seed)
    cook = Cook(plan, played, seed)
    with VirtualTimer(keep / "flash.img", kitchen, cook, start_at_s=start_at_s, seed=seed) as board:
        progress("Sending the plan", 0.0)
        with Timer.open(board.port, capture=keep / "send.link") as timer:
            offset_min = wire.offset_min_at(plan, start_at_s)
            timer.set_clock(lambda: board.start_at_s + board.ticks_ms / 1000, offset_min)
            timer.send_plan(data, lambda done, total: progress("Sending the plan", done / total))
        wall.mark("send")

        def hourly(at_s: int) -> None:
            progress("Playing the days", (at_s - start_at_s) / (end_at_s - start_at_s))

        # The cook goes on until the last step is done, which on a bad day is later than planned.
        board.run_until(end_at_s, hourly)
        late_s = 0
        while board.glance.mode == 1 and late_s < 6 * 3600:
            late_s += 600
            board.run_until(end_at_s + late_s, hourly)
        wall.mark("play")
        progress("Collecting the log", 0.0)
        with Timer.open(board.port, capture=keep / "collect.link") as timer:
            counters = timer.device_counters()
            log = collect_batch(
                timer, keep / "collecting", lambda done, total: progress("Collecting the log", done / total)
            )
            board_id = timer.info.board_id if timer.info else "virtual"
            log.forget_partial()
        wall.mark("collect")
    (keep / "journal.bin").write_bytes(log.journal)
    (keep / "samples.bin").write_bytes(log.samples)
    progress("Reviewing", None)
    with Logbook(keep / "logbook.sqlite") as book:
        batch_id = book.collect(board_id, log.plan, log.journal, log.samples, batch_text)
        if played.symptoms:
            book.set_outcome(batch_id, Outcome(symptoms=played.symptoms))
        found = review(book.load(batch_id))
    wall.mark("review")
    return Rehearsal(
        design=made, review=found, scenario=played.name, sentence=played.sentence,
        seed=seed, kept=keep, batch_id=batch_id, wall_s=wall.spans, counters=counters,
        log_bytes={"plan": len(data), "journal": len(log.journal), "samples": len(log.samples)},
    )  # fmt: skip


class _Wall:
    def __init__(self) -> None:
        self.spans: dict[str, float] = {}
        self._last = time.monotonic()

    def mark(self, name: str) -> None:
        now = time.monotonic()
        self.spans[name] = round(now - self._last, 3)
        self._last = now


def new_folder(parent: Path, now: datetime) -> Path:
    """Return a folder name under `parent` that is not taken yet."""
    base = now.strftime("%Y-%m-%d_%H%M%S")
    folder, number = parent / base, 1
    while folder.exists():
        number += 1
        folder = parent / f"{base}_{number}"
    return folder
