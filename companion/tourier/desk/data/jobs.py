"""What the desk asks of a timer, each as a job for its follower's thread. Each returns the sentence to be shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from shared_schedule import messages as m
from shared_schedule import plan as wire
from shared_schedule import states, window
from tourier import files, places
from tourier.desk.data.follow import Job, Progress
from tourier.device.client import Timer, project_now
from tourier.device.errors import Refused, plain
from tourier.device.upkeep import forget
from tourier.logbook.record.model import clock_text
from tourier.voice import span, step_name

# Verdicts of a bend test as the journal has them.
BENDS = {window.CRACKED: "cracked: too cold", window.CLEAN: "bent clean", window.GREASY: "greasy: too warm"}
_CLOCK_GOOD_S = 2.0  # a timer's crystal drifts about this much in a day; no reason to touch it


SAME_BATCH = "Put this plan in the other's place"
OTHER_DAY = "Bring that log home, then send"


class Busy(ValueError):
    """The timer holds what must not be lost; `way_out` names the one press that sends all the same."""

    def __init__(self, sentence: str, way_out: str) -> None:
        super().__init__(sentence)
        self.way_out = way_out


def send(
    data: bytes, text: str, now_s: Callable[[], float] | None, logbook: Path | None = None, all_the_same: bool = False
) -> Job:
    """Send a plan's bytes; the batch file is kept so that the log can be collected together with it.

    Raises Busy when a day runs on the timer, or its log was not collected. `all_the_same`: another plan of the same
    batch takes over; another batch's log is brought into `logbook` first, and its day is then given up.
    """

    def job(timer: Timer, progress: Progress) -> str:
        plan = wire.decode(data)
        number = wire.plan_id(data)
        info = timer.hello()
        held = None
        if info.plan_id not in (0, number):
            held = wire.decode(timer.collect(m.STREAM_PLAN))
            if not all_the_same:
                _complain(timer, held, plan)
            elif held.name != plan.name and logbook is not None:
                collect(logbook)(timer, progress)
                forget(timer, deliberate=True)
        clock = now_s or project_now
        reading = timer.read_clock(clock)
        if not reading.ok or abs(reading.error_s) > _CLOCK_GOOD_S:
            timer.set_clock(clock, wire.offset_min_at(plan, int(clock())))
        try:
            stored = timer.send_plan(data, progress)
        except Refused as error:
            if held is None or "not collected" not in error.text:
                raise
            sentence = f"The log of {plain(held.name)} on the timer was not collected yet: it comes home first."
            raise Busy(sentence, OTHER_DAY) from None
        files.keep_sent(number, text)
        had = "" if stored else " (it had it already)"
        return f"The timer now holds this plan: {plan.name}, {len(plan.steps)} steps{had}."

    return job


def _complain(timer: Timer, held: wire.Plan, plan: wire.Plan) -> None:
    """Raise Busy when a day runs: the timer itself takes no plan of another name then."""
    if timer.state().running != states.DAY_RUNNING:
        return
    if held.name == plan.name:
        days = round((plan.ready_at_s - held.ready_at_s) / 86400)
        other = f" Note that its hour is {abs(days)} day{'s' * (abs(days) > 1)} {'later' if days > 0 else 'earlier'}."
        raise Busy(
            "The timer is in the middle of this batch with another plan. Replan (Bench, r) plans the rest of the day "
            "from what has happened; this plan can also take its place (steps that both have keep what has happened)."
            + (other if days else ""), SAME_BATCH,
        )  # fmt: skip
    raise Busy(
        f"The timer is in the middle of {plain(held.name)}: finish it first. Or give that day up: what happened is "
        "brought into the logbook, then this plan is sent.",
        OTHER_DAY,
    )


def collect(logbook: Path) -> Job:
    """Bring the log home into the logbook; asks only for what is not here yet."""

    def job(timer: Timer, progress: Progress) -> str:
        from tourier.device.collecting import collect_batch
        from tourier.logbook.record.store import Logbook

        info = timer.hello()
        if not info.plan_id:
            raise ValueError("The timer holds no plan and no log: there is nothing to collect.")
        log = collect_batch(timer, places.partial_logs_folder(), progress)
        text = files.sent_text(log.plan_id)
        logbook.parent.mkdir(parents=True, exist_ok=True)
        with Logbook(logbook) as book:
            number = book.collect(info.board_id, log.plan, log.journal, log.samples, text)
        running = timer.state().running == states.DAY_RUNNING
        if not running:
            log.tell_collected(timer)
        log.forget_partial()
        more = " The day still runs: collect again when it is over." if running else ""
        return f"Batch {number} is in the logbook.{more}"

    return job


@dataclass(frozen=True)
class Proposal:
    """A new plan for the rest of the day, not sent yet. `moved`: rows of step, was, now, how much."""

    sentence: str
    moved: tuple[tuple[str, str, str, str], ...]
    broken: tuple[str, ...]
    data: bytes
    text: str


def replan(text: str, where: str, logbook: Path) -> Job:
    """Plan the rest of the day anew from what has happened; gives a Proposal, sends nothing."""

    def job(timer: Timer, _progress: Progress) -> Proposal:
        from tourier.design import lessons_of, redesign

        made, found = redesign(timer, text, where, None, lessons_of(logbook))
        moved = tuple(
            (one.name, f"{one.was:%a %H:%M}", f"{one.now:%a %H:%M}",
             f"{span(abs(one.by_s))} {'later' if one.by_s > 0 else 'earlier'}")
            for one in found.moved
        )  # fmt: skip
        broken = tuple(one.sentence for one in found.broken)
        return Proposal(found.sentence, moved, broken, made.data, text)

    return job


def send_again(proposal: Proposal) -> Job:
    """Send a replanned day; the timer's log goes on."""

    def job(timer: Timer, progress: Progress) -> str:
        files.keep_sent(wire.plan_id(proposal.data), proposal.text)
        timer.send_plan(proposal.data, progress)
        return "The timer now holds the new plan; its log goes on."

    return job


def command(action: int, step_id: int, arg: int, said: str) -> Job:
    """Do what a button does."""
    return lambda timer, _progress: timer.command(action, step_id, arg) or said


def go(plan: wire.Plan, step_id: int) -> Job:
    """Start the step that waits, or say that the one that runs is done."""

    def job(timer: Timer, _progress: Progress) -> str:
        index = plan.index_of(step_id)
        state = timer.state().past.steps[index] if index >= 0 else states.WAITING
        action = m.ACTION_STEP_START if state == states.WAITING else m.ACTION_STEP_DONE
        name = step_name(plan.steps[index]) if index >= 0 else "The step"
        return timer.command(action, step_id) or (f"{name}: started." if state == states.WAITING else f"{name}: done.")

    return job


def bend(verdict: int, reading: str) -> Job:
    """Mark a bend test; the timer writes down what its probe reads at that moment (`reading`: what it said last)."""

    def job(timer: Timer, _progress: Progress) -> str:
        timer.command(m.ACTION_BEND, 0, verdict)
        return f"{BENDS[verdict][0].upper()}{BENDS[verdict][1:]}, marked at {reading}."

    return job


def note(text: str, plan: wire.Plan | None) -> Job:
    """Write a remark into the journal, with the timer's time."""

    def job(timer: Timer, _progress: Progress) -> str:
        timer.note(text)
        return f"Noted at {clock_text(plan, timer.state().at_s)}: {text}" if plan is not None else f"Noted: {text}"

    return job
