"""A review as a cook reads it: what happened, what it is consistent with, the one change. Plain sentences, no codes."""

from __future__ import annotations

import math

from shared_schedule import words
from tourier.logbook.account.steps import Account
from tourier.logbook.findings import knowledge
from tourier.logbook.findings.review import Review
from tourier.logbook.record.model import clock_text
from tourier.voice import span

CAUTION = (
    "The timer advises; it is no food-safety instrument. How long dough with milk or egg may stand warm is for your "
    "local rules and qualified people to say."
)


def happened_lines(account: Account) -> list[str]:
    """Return what happened, one line a step that began: time, length, temperatures, what was outside."""
    plan = account.batch.plan
    lines = []
    for step in account.steps:
        if step.from_s is None:
            lines.append(f"{'--':>9}  {step.title}: not begun")
            continue
        parts = [f"{clock_text(plan, step.from_s):>9}  {step.title}"]
        if not math.isnan(step.lasted_s):
            parts.append(f"{span(step.lasted_s)} (planned {span(step.step.planned_for_s)})")
        if step.rest_word and step.rest_word != "as planned":
            parts.append(step.rest_word)
        if step.probe.known:
            parts.append(f"dough {account.said.degrees(step.probe.start_c)} to {account.deg(step.probe.end_c)}")
            if step.probe.warm_s >= 30:
                parts.append(f"too warm for {span(step.probe.warm_s)}, up to {account.deg(step.probe.max_c)}")
            if step.probe.cold_s >= 30:
                parts.append(f"too cold for {span(step.probe.cold_s)}, down to {account.deg(step.probe.min_c)}")
        lines.append(", ".join(parts))
    return lines


def alarm_lines(account: Account) -> list[str]:
    """Return the alarms about butter, sensors and proof, with the step and how soon they were answered."""
    plan = account.batch.plan
    lines = []
    for alarm in account.alarms:
        if alarm.kind in (1, 9):  # a step due or a rest done is the day's own rhythm, not a warning
            continue
        step = account.step(alarm.step_id)
        word = words.alarm_word(alarm.kind)
        where = f" at {step.title}" if step is not None else ""
        lines.append(f"{clock_text(plan, alarm.at_s):>9}  {word}{where}, {alarm.answer}")
    return lines


def finding_lines(review: Review) -> list[str]:
    """Return the findings: the verdict, the one change, the other likely causes, rivals and what is missing."""
    lines = []
    if review.outcome.symptoms:
        seen = "; ".join(knowledge.SYMPTOMS[key] for key in review.outcome.symptoms)
        lines.append(f"You saw: {seen}.")
    lines.append(review.verdict)
    if review.change:
        lines.append(f"Change one thing: {review.change}")
    for finding in review.named[1:]:
        lines.append(f"Also {finding.sentence[0].lower()}{finding.sentence[1:]}")
    for finding in review.possible:
        lines.append(f"Less likely: {finding.cause.title} ({finding.strength}: {finding.reading.sentence}).")
    if review.rivals:
        lines.append("The log cannot rule out: " + "; ".join(review.rivals) + ".")
    lines.extend(review.missing)
    lines.extend(kitchen_lines(review))
    return lines


def kitchen_lines(review: Review) -> list[str]:
    """Return what the log says of the kitchen, whether or not a fold suffered, and how the next plan gets it."""
    if not review.kitchen:
        return []
    return ["The kitchen was not as the plan believed:", *(f"  {fact}" for fact in review.kitchen),
            "  Put it in the batch file, or let the plan learn it (tourier learn)."]  # fmt: skip


def review_lines(review: Review) -> list[str]:
    """Return the whole review as lines."""
    alarms = alarm_lines(review.account)
    return [
        *finding_lines(review), "", "What happened", *happened_lines(review.account), "",
        "Warnings", *(alarms or ["none"]), "", CAUTION,
    ]  # fmt: skip
