"""From account and evidence to findings: causes ranked, one fold named, one thing to change.

The model is small on purpose. Each cause is present or not, by itself; its odds are its prior, times the factor of
its evidence level, times one factor per symptom the cook reported (how much likelier the symptom is with the cause
than without), damped and capped. All factors stand in findings.toml. A finding is always "consistent with": rivals
that the log cannot exclude are listed beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from shared_schedule import plan as plans
from shared_schedule import states
from tourier.logbook import LogbookError
from tourier.logbook.account.kitchen import facts
from tourier.logbook.account.steps import Account, StepAccount, account
from tourier.logbook.findings import knowledge
from tourier.logbook.findings.marks import UNKNOWN, Reading
from tourier.logbook.findings.numbers import Numbers, load
from tourier.logbook.record.model import Batch, Outcome

STRENGTH = {
    "strong": "strong sign",
    "moderate": "fair sign",
    "weak": "faint sign",
    "none": "no sign",
    UNKNOWN: "cannot tell",
}


@dataclass(frozen=True)
class Finding:
    """One cause as found. `fold_n` is the fold it is about (0 = none), `step` the step that shows it."""

    cause: knowledge.Cause
    probability: float
    reading: Reading
    symptoms: tuple[str, ...]  # reported symptoms it explains
    change: str

    @property
    def key(self) -> str:
        """Key of the cause."""
        return self.cause.key

    @property
    def strength(self) -> str:
        """Strength in words."""
        return STRENGTH[self.reading.level]

    @property
    def step(self) -> StepAccount | None:
        """Step that shows it."""
        return self.reading.step

    @property
    def fold_n(self) -> int:
        """Fold it is about: a fold's own number, or for a rest the fold before it; 0 when it is about no fold."""
        if not self.cause.about_fold or self.reading.step is None:
            return 0
        return self.reading.step.step.fold_n

    @property
    def sentence(self) -> str:
        """One sentence: what, where, how strongly."""
        where = f" at {self.step.title}" if self.step is not None and self.cause.about_fold else ""
        return f"Consistent with: {self.cause.title}{where} ({self.strength}: {self.reading.sentence})."


@dataclass(frozen=True)
class Review:
    """What a batch's log says. `named` are the findings likely enough to act on, best first; `possible` the next."""

    account: Account
    outcome: Outcome
    named: tuple[Finding, ...]
    possible: tuple[Finding, ...]
    all: tuple[Finding, ...] = field(repr=False)
    enough_data: bool = True
    missing: tuple[str, ...] = ()  # sentences: what the log could not show, and why
    rivals: tuple[str, ...] = ()  # causes the log cannot exclude
    verdict: str = ""
    change: str = ""
    kitchen: tuple[str, ...] = ()  # sentences: where the kitchen was another than the plan believed


def review(batch: Batch, outcome: Outcome | None = None, numbers: Numbers | None = None) -> Review:
    """Return the review of a batch. `outcome` None takes what the logbook holds (nothing reported when it holds none).

    Raises LogbookError for a symptom that is not in the table.
    """
    numbers = numbers or load()
    outcome = outcome or batch.outcome or Outcome()
    for symptom in outcome.symptoms:
        if symptom not in knowledge.SYMPTOMS:
            raise LogbookError(
                f"{symptom!r} is no symptom of the table; known are: {', '.join(sorted(knowledge.SYMPTOMS))}."
            )
    acc = account(batch)
    findings = []
    for cause in knowledge.CAUSES:
        if cause.evidence is None:
            continue
        reading = cause.evidence(acc, numbers)
        explains = tuple(s for s in outcome.symptoms if cause.key in numbers.symptom.get(s, {}))
        findings.append(Finding(cause, _probability(cause.key, reading, outcome, numbers), reading, explains,
                                _change(cause, reading)))  # fmt: skip
    findings.sort(key=lambda f: (-f.probability, f.key))
    named = tuple(f for f in findings if f.probability >= numbers.limits["named"] and f.reading.rank >= 1)
    possible = tuple(
        f for f in findings
        if f not in named and f.probability >= numbers.limits["possible"] and f.reading.rank >= 1
    )  # fmt: skip
    missing = _missing(acc, findings, outcome, numbers)
    unexplained = [s for s in outcome.symptoms if not any(s in f.symptoms for f in named)]
    enough = not missing or bool(named and named[0].key != "probe-fault" and not unexplained)
    return Review(
        account=acc, outcome=outcome, named=named, possible=possible, all=tuple(findings), enough_data=enough,
        missing=missing, rivals=_rivals(findings, named + possible, outcome, numbers),
        verdict=_verdict(acc, named, possible, outcome, enough, unexplained),
        change=_one_change(named, possible, outcome, enough), kitchen=facts(acc),
    )  # fmt: skip


def _probability(key: str, reading: Reading, outcome: Outcome, n: Numbers) -> float:
    prior = n.prior.get(key, 0.03)
    log_odds = math.log(prior / (1.0 - prior)) + math.log(n.levels[reading.level])
    cap = math.log(n.limits["symptom_factor_max"])
    for symptom, row in n.symptom.items():
        otherwise = row["otherwise"]
        likely = row.get(key, otherwise)
        if symptom in outcome.symptoms:
            factor = math.log(likely / otherwise)
        elif outcome.symptoms or outcome.rating is not None:
            factor = n.limits["unreported_weight"] * math.log((1.0 - likely) / (1.0 - otherwise))
        else:
            factor = 0.0  # nothing reported at all: absence says nothing
        log_odds += max(-cap, min(cap, factor))
    return 1.0 / (1.0 + math.exp(-log_odds))


def _change(cause: knowledge.Cause, reading: Reading) -> str:
    return cause.change.replace("{step}", reading.step.title if reading.step else "that step")


def _one_change(named, possible, outcome: Outcome, enough: bool) -> str:
    """The one thing to try: of what is named, else of what is near, else of what no log shows; "" when all was well."""
    if named:
        return named[0].change
    near = [f.change for f in possible if f.symptoms]
    if near:
        return near[0]
    unseen = [key for symptom in outcome.symptoms for key in knowledge.UNSEEN.get(symptom, ())]
    return knowledge.BY_KEY[unseen[0]].change if unseen and enough else ""


def _missing(acc: Account, findings: list[Finding], outcome: Outcome, n: Numbers) -> tuple[str, ...]:
    out = []
    if acc.batch.journal_unread:
        out.append(f"The journal is damaged: {acc.batch.journal_unread} bytes at its end could not be read.")
    if acc.batch.samples_unread:
        out.append(f"{acc.batch.samples_unread} bytes of temperatures could not be read.")
    wanted = set()
    for symptom in outcome.symptoms:
        wanted |= set(n.symptom.get(symptom, {}))
    for finding in findings:
        relevant = finding.key in wanted or not outcome.symptoms
        if finding.reading.level == UNKNOWN and relevant and finding.key not in ("dry-proof", "early-fermentation"):
            out.append(f"Cannot tell about “{finding.cause.title}”: {finding.reading.sentence}.")
    for step in acc.of_kind(plans.LOCK_IN, plans.FOLD):
        if step.state == states.DONE and not step.probe.known:
            out.append(f"The probe gave no reading for most of {step.title}.")
    return tuple(out)


def _rivals(findings: list[Finding], said: tuple[Finding, ...], outcome: Outcome, n: Numbers) -> tuple[str, ...]:
    """Causes that would also explain what was seen and that this log does not speak against."""
    out: list[str] = []
    for symptom in outcome.symptoms:
        for finding in findings:
            if finding in said or finding.key not in n.symptom.get(symptom, {}):
                continue
            if finding.reading.level != "none" and finding.cause.title not in out:
                out.append(finding.cause.title)
        for key in knowledge.UNSEEN.get(symptom, ()):
            title = knowledge.BY_KEY[key].title
            if title not in out:
                out.append(title)
    return tuple(out)


def _verdict(acc: Account, named, possible, outcome: Outcome, enough: bool, unexplained: list[str]) -> str:
    if not any(s.from_s is not None for s in acc.steps):
        return "Not enough data: the log holds no step that was begun."
    if named:
        text = named[0].sentence
        if unexplained:
            seen = "; ".join(knowledge.SYMPTOMS[s] for s in unexplained)
            text += f" It does not explain: {seen}."
        return text
    if not enough:
        return "Not enough data: the log could not show what it would need to (see below)."
    if outcome.symptoms:
        more = f" The nearest is: {possible[0].cause.title} ({possible[0].strength})." if possible else ""
        return "The log shows nothing that explains what you saw; look at what no log shows." + more
    if possible:
        nearest = possible[0]
        return f"Nothing is marked enough to be named; the nearest is: {nearest.cause.title} ({nearest.strength})."
    return "Nothing in the log stands out; the batch went about as planned."
