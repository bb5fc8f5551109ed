"""The review as one JSON object for other programs. Keys may be added, not renamed. Times ISO 8601 with offset."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from shared_schedule import plan as plans
from shared_schedule import words
from shared_schedule.channels import Channel
from shared_schedule.window import VERDICT_WORDS
from tourier.logbook.account import core
from tourier.logbook.account.steps import STATE_WORDS, StepAccount, Trace
from tourier.logbook.findings.review import Finding, Review
from tourier.logbook.record.model import channel_title, local

SCHEMA = "tourier/review/1"
KIND_WORDS = ("other", "bench", "dough", "air")  # of channels


def _n(value: float | None, places: int = 2) -> float | None:
    return None if value is None or math.isnan(value) else round(value, places)


def _trace(t: Trace) -> dict[str, Any]:
    return {
        "start_c": _n(t.start_c), "end_c": _n(t.end_c), "min_c": _n(t.min_c), "max_c": _n(t.max_c),
        "mean_c": _n(t.mean_c),
        "rate_c_min": _n(t.rate_c_min, 3), "cold_degmin": _n(t.cold_degmin), "warm_degmin": _n(t.warm_degmin),
        "read_fraction": _n(t.read_fraction, 3), "gaps_s": [[a, b] for a, b in t.gaps],
    }  # fmt: skip


def review_dict(review: Review, estimates: bool = True) -> dict[str, Any]:
    """Return the review as plain types; `estimates` adds the computed core where the needle was elsewhere."""
    acc = review.account
    plan = acc.batch.plan

    def when(at_s: float | None) -> str | None:
        return None if at_s is None else local(plan, at_s).isoformat()

    def step(s: StepAccount) -> dict[str, Any]:
        return {
            "id": s.step.step_id, "kind": plans.KIND_WORDS[s.step.kind], "name": s.title, "paton": s.step.paton,
            "place": plans.PLACE_WORDS[s.step.place], "planned_start": when(s.planned_from_s),
            "planned_end": when(s.planned_to_s), "start": when(s.from_s), "ready": when(s.ready_s), "end": when(s.to_s),
            "lasted_s": _n(s.lasted_s, 0), "planned_s": s.step.planned_for_s, "state": STATE_WORDS[s.state],
            "ended_by": s.ended_by, "rest": s.rest_word or None, "window_c": [_n(s.low_c), _n(s.high_c)],
            "probe": _trace(s.probe), "bench": _trace(s.bench), "dose_s": _n(s.dose_s, 0),
            "dose_wanted_s": s.step.dose_s or None, "ticks": [{"text": t, "ticked": on} for t, on in s.ticks],
        }  # fmt: skip

    def channel(one: Channel) -> dict[str, Any]:
        c = acc.batch.samples.columns[one.number]
        known = c[~np.isnan(c)]
        return {
            "number": one.number, "name": channel_title(one), "kind": KIND_WORDS[one.kind] if one.kind < 4 else "",
            "place": plans.PLACE_WORDS[one.place] if one.place < len(plans.PLACE_WORDS) else "", "paton": one.paton,
            "curve": one.curve, "samples": len(known), "min_c": _n(float(known.min())) if len(known) else None,
            "max_c": _n(float(known.max())) if len(known) else None,
        }  # fmt: skip

    def finding(f: Finding) -> dict[str, Any]:
        return {
            "cause": f.key, "title": f.cause.title, "probability": round(f.probability, 4), "strength": f.strength,
            "evidence": f.reading.sentence, "step_id": f.step.step.step_id if f.step else None,
            "step": f.step.title if f.step else None, "fold": f.fold_n or None, "explains": list(f.symptoms),
            "change": f.change, "source": f.cause.source,
        }  # fmt: skip

    return {
        "channels": [channel(one) for one in acc.batch.channels],
        "schema": SCHEMA, "batch": acc.batch.id, "name": acc.batch.name, "timer": acc.batch.board_id,
        "begun_at": when(acc.batch.begun_at_s), "wanted_at": when(plan.ready_at_s), "slip_s": _n(acc.slip_s, 0),
        "verdict": review.verdict, "change": review.change or None, "enough_data": review.enough_data,
        "outcome": {"symptoms": list(review.outcome.symptoms), "rating": review.outcome.rating,
                    "note": review.outcome.note, "photo": review.outcome.photo},
        "findings": [finding(f) for f in review.named], "possible": [finding(f) for f in review.possible],
        "cannot_tell": list(review.missing), "rivals": list(review.rivals),
        "kitchen": list(review.kitchen), "steps": [step(s) for s in acc.steps],
        "alarms": [{"at": when(a.at_s), "what": words.ALARM_WORDS.get(a.kind, str(a.kind)),
                    "step_id": a.step_id or None, "acknowledged_at": when(a.acked_at_s)} for a in acc.alarms],
        "bend_tests": [{"at": when(at), "butter_c": cdeg / 100, "verdict": VERDICT_WORDS.get(v)}
                       for at, cdeg, v in acc.bends],
        "notes": [{"at": when(at), "text": text} for at, text in acc.notes],
        "sensor_gaps": [{"channel": g.channel, "from": when(g.from_s), "to": when(g.to_s), "fault": g.broken}
                        for g in acc.gaps],
        "estimated_core": [
            {"paton": e.paton, "from": when(e.at_s[0]), "to": when(e.at_s[-1]), "start_c": _n(e.middle_c[0]),
             "end_c": _n(e.middle_c[-1]), "band_low_c": _n(float(e.low_c.min())),
             "band_high_c": _n(float(e.high_c.max()))}
            for e in (core.estimate(acc) if estimates else [])
        ],
        "bench_below_dew_point_s": round(acc.wet_s), "samples": len(acc.batch.samples),
    }  # fmt: skip
