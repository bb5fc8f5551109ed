"""Plans and days for the firmware's tests: a whole two-day batch laid out by hand, with the heat a kitchen has.

Beside them what many tests do: run a program beside the device files, press a button, lose the power in a step.
"""

from __future__ import annotations

import importlib.util
import subprocess
from pathlib import Path

from tourier.device.client import Timer
from tourier.device.files import firmware_dir, shared_dir
from tourier.device.virtual.board import VirtualTimer, find_micropython
from tourier.device.virtual.cook import Cook
from tourier.device.virtual.kitchen import KitchenConfig, PlayedKitchen
from tourier.device.virtual.scenarios import scenario as named

from shared_schedule import plan as P
from shared_schedule.plan_writer import encode_plan

_PLANS = Path(__file__).resolve().parents[1] / "both" / "plans.py"


def _plans():
    spec = importlib.util.spec_from_file_location("plans_for_firmware", _PLANS)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def two_days(patons: int = 1, folds=(4, 3, 3)) -> P.Plan:
    """The checks' two-day plan, with thicknesses and thermal fields (marble 20 mm, 22 degrees C, standard butter)."""
    plan = _plans().two_days(patons, folds)
    for step in plan.steps:
        step.thickness_um = {P.LOCK_IN: 25000, P.FOLD: 7000, P.SHEET: 4000, P.CUT: 4000, P.FLATTEN: 15000,
                             P.REST: 24000}.get(step.kind, 0)  # fmt: skip
        if step.kind == P.FOLD:
            step.length_um, step.width_um = 510000, 200000
        if step.low_cdeg == 1300:
            # Laminate warms from the fridge: what the plan's window means here is "not melting, not shattering".
            step.low_cdeg, step.high_cdeg = 600, 1800
    for name, value in dict(
        butter_low_cdeg=600, butter_high_cdeg=1800, butter_brittle_cdeg=400, butter_stop_cdeg=2000,
        butter_melt_cdeg=2800, proof_cap_cdeg=2800, yeast_min_cdeg=280, yeast_opt_cdeg=3230, yeast_max_cdeg=4540,
        yeast_ref_cdeg=2600, room_cdeg=2200, room_rh_pct=55, fridge_cdeg=400, freezer_cdeg=-1800, proof_cdeg=2600,
        bench_um=78000, bench_effusivity=3130, film_room_mw=7700, film_fridge_mw=8000, film_freezer_mw=9000,
        laminate_k_mw=330, laminate_rc=2900,
    ).items():  # fmt: skip
        setattr(plan, name, value)
    return P.validate(plan)


def day(flash: Path, plan: P.Plan, scenario: str = "good", seed: int = 1, before_s: int = 900, **options):
    """A VirtualTimer with kitchen and cook, an hour or so before the first step; not yet entered."""
    story = named(scenario)
    config = story.configure(KitchenConfig())
    start = plan.steps[0].start_at_s - before_s
    return VirtualTimer(
        flash, kitchen=PlayedKitchen(config, seed), cook=Cook(plan, story, seed), start_at_s=start, seed=seed, **options
    )


def send(timer: VirtualTimer, plan: P.Plan) -> None:
    """Send a plan over the link."""
    data = encode_plan(plan)
    with Timer.open(timer.port) as link:
        link.send_plan(data)


def collect(timer: VirtualTimer) -> tuple[bytes, bytes, bytes]:
    """Return (journal, samples, plan bytes) over the link."""
    with Timer.open(timer.port) as link:
        return tuple(link.collect(stream) for stream in (1, 2, 3))


def on_device(program: str, heap: str = "384k") -> subprocess.CompletedProcess:
    """Run a program under MicroPython with the device files to import."""
    return subprocess.run(
        [find_micropython(), "-X", f"heapsize={heap}", "-c", program], capture_output=True, text=True,
        env={"MICROPYPATH": f"{firmware_dir()}:{shared_dir()}"},
    )  # fmt: skip


def tap(board: VirtualTimer, button: str, for_ms: int = 90) -> None:
    """Press a button and let the picture follow."""
    board.press(button, for_ms)
    board.run_for(for_ms / 1000 + 0.5)


def begin_without_clock_chip(board: VirtualTimer, plan: P.Plan) -> None:
    """Set the clock by link, send the plan and start its first step: what a loss of power then takes is the clock."""
    with Timer.open(board.port) as link:
        link.set_clock(lambda: board.start_at_s + board.ticks_ms / 1000, 60)
    send(board, plan)
    board.run_until(plan.steps[0].start_at_s + 6)
    tap(board, "middle")
    tap(board, "middle")
