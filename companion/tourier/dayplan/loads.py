"""Loads on planned times: which go into the oven too early or too late, why, and the way out."""

from __future__ import annotations

from collections.abc import Sequence

from tourier.batch.rising import POSSIBLE_DOSE, USUAL_DOSE, LoadRise
from tourier.dayplan.model import DayPlan, Impossible, Job, PlannedStep
from tourier.voice import span

#: A night of shaped pieces that is probably so much of a proof by morning is warned of: a guess, no source.
LONG_NIGHT = 0.8


def rises(jobs: Sequence[Job], steps: Sequence[PlannedStep]) -> tuple[tuple[LoadRise, ...], ...]:
    """Return the loads of every job on these times; none where a work-up knows nothing of its dough."""
    found = []
    for number, job in enumerate(jobs):
        times = {s.process.key: (float(s.start_at_s), float(s.end_at_s)) for s in steps if s.job == number}
        rising = job.workup.rising
        found.append(rising.loads(job.workup.process, times) if rising is not None else ())
    return tuple(found)


def warnings(plan: DayPlan) -> list[str]:
    """Return a sentence for loads outside 0.85 to 1.2 of their dose, and one for a night that may be too long."""
    found = []
    for job, own in zip(plan.jobs, plan.rises, strict=False):
        late = [load for load in own if load.most > USUAL_DOSE[1]]
        early = [load for load in own if load.least < USUAL_DOSE[0] and load not in late]
        if late:
            worst = max(late, key=lambda load: load.most)
            found.append(f"{_says(worst, worst.most, late)}: past 1.2 pieces spread and lose their layers. {_out(job)}")
        if early:
            worst = min(early, key=lambda load: load.least)
            found.append(f"{_says(worst, worst.least, early)}: under 0.85 butter leaks and the crumb tears. "
                         "Give the proof more time, or go by the wobble.")  # fmt: skip
        nights = [load for load in own if load.nights[1] > LONG_NIGHT]
        if nights and job.spec.folds.overnight == "pieces":
            worst = max(nights, key=lambda load: load.nights[1])
            low, high = (round(100 * share) for share in (worst.nights[0], worst.nights[2]))
            found.append(
                f"{span(worst.night_s)} in a fridge of {job.spec.voice.temperature(job.spec.kitchen.fridge_c)} may be "
                f"{low} to {high} % of a proof, nobody knows better: look at the pieces before the tray goes in, and "
                "go by the wobble; a colder fridge or a shorter night is surer."
            )
    return found


def refuse(plan: DayPlan) -> None:
    """Raise Impossible for a plan with a load outside 0.7 to 1.4 of its dose, with the way out."""
    for job, own in zip(plan.jobs, plan.rises, strict=False):
        for load in own:
            if load.most > POSSIBLE_DOSE[1]:
                raise Impossible(f"{_says(load, load.most, [load])}: pieces so far gone collapse. {_out(job)}",
                                 give_up=_ways(job), steps=(load.name,))  # fmt: skip
            if load.least < POSSIBLE_DOSE[0]:
                raise Impossible(
                    f"{_says(load, load.least, [load])}: pieces baked so early leak their butter. {_out(job)}",
                    give_up=_ways(job), steps=(load.name,),
                )  # fmt: skip


def _says(load: LoadRise, dose: float, alike: Sequence[LoadRise]) -> str:
    """Which load, how far, and why: the wait, pieces of other sizes, or the cold before."""
    why = [f"{span(load.wait_s)} from the end of its proof to the oven"] if load.wait > 0.1 else []
    if load.cold > 0.1:
        why.append(f"{round(100 * load.cold)} % of it gathered in the cold before")
    if abs(load.proof - 1.0) > 0.1 and not why:
        why.append(f"its proof alone is {load.proof:.2f}")
    if load.most - load.least > 0.1:
        why.append("small pieces warm through sooner than large ones")
    more = f" ({len(alike)} loads are like it)" if len(alike) > 1 else ""
    return f"{load.name} goes into the oven at {dose:.2f} of its proof{more}: {', and '.join(why) or 'by its times'}"


def _ways(job: Job) -> tuple[str, ...]:
    kitchen = job.spec.kitchen
    ways = ["Bake more trays at once (kitchen.oven.trays), or make fewer pieces."]
    if kitchen.proof_place == "oven":
        ways.insert(0, "Proof them outside the oven (kitchen.proof.place), so that each load has its own proof.")
    return tuple(ways)


def _out(job: Job) -> str:
    return " ".join(_ways(job))
