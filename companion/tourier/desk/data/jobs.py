"""What the desk asks of a timer, each as a job for its follower's thread. Each returns the sentence to be shown."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from shared_schedule import messages as m
from shared_schedule import plan as wire
from tourier import places, planning
from tourier.desk.data.follow import Job, Progress
from tourier.device.client import Timer, project_now

_RUNNING = 1  # shared_schedule.day: 0 idle, 1 running, 2 finished
_CLOCK_GOOD_S = 2.0  # a timer's crystal drifts about this much in a day; no reason to touch it


class Busy(ValueError):
    """The timer is in the middle of another plan."""


def send(data: bytes, text: str, now_s: Callable[[], float] | None, replace: bool = False) -> Job:
    """Send a plan's bytes; the batch file is kept so that the log can be collected together with it."""

    def job(timer: Timer, progress: Progress) -> str:
        plan = wire.decode(data)
        number = wire.plan_id(data)
        info = timer.hello()
        if info.plan_id not in (0, number) and timer.state().running == _RUNNING and not replace:
            raise Busy(
                "The timer is in the middle of another plan: finish or collect it first, or choose to replace it "
                "(steps that both plans have keep what has happened)."
            )
        clock = now_s or project_now
        reading = timer.read_clock(clock)
        if not reading.ok or abs(reading.error_s) > _CLOCK_GOOD_S:
            timer.set_clock(clock, wire.offset_min_at(plan, int(clock())))
        stored = timer.send_plan(data, progress)
        planning.keep_sent(places.sent_folder(), number, text)
        had = "" if stored else " (it had it already)"
        return f"The timer now holds this plan: {plan.name}, {len(plan.steps)} steps{had}."

    return job


def collect(logbook: Path) -> Job:
    """Bring the log home into the logbook; asks only for what is not here yet."""

    def job(timer: Timer, progress: Progress) -> str:
        from tourier.device.collecting import collect_batch
        from tourier.logbook.store import Logbook

        info = timer.hello()
        if not info.plan_id:
            raise ValueError("The timer holds no plan and no log: there is nothing to collect.")
        log = collect_batch(timer, places.partial_logs_folder(), progress)
        text = planning.sent_text(places.sent_folder(), log.plan_id)
        logbook.parent.mkdir(parents=True, exist_ok=True)
        with Logbook(logbook) as book:
            number = book.collect(info.board_id, log.plan, log.journal, log.samples, text)
        running = timer.state().running == _RUNNING
        if not running:
            log.tell_collected(timer)
        log.forget_partial()
        more = " The day still runs: collect again when it is over." if running else ""
        return f"Batch {number} is in the logbook.{more}"

    return job


def replan(text: str, where: str, logbook: Path) -> Job:
    """Plan the rest of the day anew from what has happened, and send it. The sentence tells what moves."""

    def job(timer: Timer, progress: Progress) -> str:
        from tourier.dayplan.device import to_device
        from tourier.replanning import replan_from_timer

        found = replan_from_timer(timer, text, where, None, logbook)
        data = wire.encode(to_device(found.plan))
        planning.keep_sent(places.sent_folder(), wire.plan_id(data), text)
        timer.send_plan(data, progress)
        return f"{found.sentence} The timer holds the new plan; its log goes on."

    return job


def command(action: int, step_id: int, arg: int, said: str) -> Job:
    """Do what a button does."""
    return lambda timer, _progress: timer.command(action, step_id, arg) or said


def go(plan: wire.Plan, step_id: int) -> Job:
    """Start the step that waits, or say that the one that runs is done."""

    def job(timer: Timer, _progress: Progress) -> str:
        index = plan.index_of(step_id)
        state = timer.state().steps[index].state if index >= 0 else 0
        action = m.ACTION_STEP_START if state == 0 else m.ACTION_STEP_DONE
        name = plan.steps[index].name if index >= 0 else "The step"
        return timer.command(action, step_id) or (f"{name}: started." if state == 0 else f"{name}: done.")

    return job


def note(text: str) -> Job:
    """Write a remark into the journal, with the timer's time."""

    def job(timer: Timer, _progress: Progress) -> str:
        timer.note(text)
        return "Noted."

    return job
