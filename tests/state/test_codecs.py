"""Plan, journal and samples: anything legal comes back, anything else is refused or passed over, never half taken."""

from __future__ import annotations

import check_plan
import plans
from hypothesis import given, settings
from hypothesis import strategies as st

from shared_schedule import journal as J
from shared_schedule import plan as P
from shared_schedule import samples as S
from shared_schedule.plan_writer import encode_plan
from shared_schedule.units import CDEG_MAX, CDEG_MIN, NO_CDEG

CDEG = st.one_of(st.just(NO_CDEG), st.integers(CDEG_MIN, CDEG_MAX))


def text(low: int, cap: int) -> st.SearchStrategy[str]:
    letters = st.characters(min_codepoint=32, exclude_categories=("Cs", "Cc"))
    return st.text(letters, min_size=low, max_size=cap).filter(lambda value: low <= len(value.encode()) <= cap)


def value_for(kind: str, low: int, high: int) -> st.SearchStrategy:
    if kind in "us":
        return st.integers(low, high)
    if kind == "c":
        return CDEG
    if kind == "t":
        return text(low, high)
    if kind == "T":
        return st.lists(text(1, high), max_size=low).map(tuple)
    return st.just(())


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_any_valid_plan_comes_back(data) -> None:
    steps = []
    for step_id in range(1, data.draw(st.integers(1, 6)) + 1):
        step = P.Step()
        for name, kind, low, high in P.STEP_FIELDS:
            setattr(step, name, data.draw(value_for(kind, low, high)))
        step.step_id = step_id
        step.min_s, step.ideal_s, step.max_s = sorted((step.min_s, step.ideal_s, step.max_s))
        step.min_s, step.ideal_s = min(step.min_s, 864000), min(step.ideal_s, 864000)
        step.after = tuple(data.draw(st.sets(st.integers(1, step_id - 1), max_size=8))) if step_id > 1 else ()
        step.low_cdeg = NO_CDEG
        step.fold = 3 if step.kind == P.FOLD else step.fold
        steps.append(step)
    plan = P.Plan(steps)
    for name, kind, low, high in P.PLAN_FIELDS:
        setattr(plan, name, data.draw(value_for(kind, low, high)))
    for record, specs in ((plan, P.PLAN_TAGS), (steps[0], P.STEP_TAGS)):
        for name, kind, low, high in specs:
            setattr(record, name, data.draw(value_for(kind, low, high)))
        keys = sorted(data.draw(st.sets(st.integers(len(specs) + 1, P.S32_MAX), max_size=3)))
        record.extra = tuple((key, data.draw(st.binary(max_size=40))) for key in keys)
    assert P.decode(encode_plan(plan)) == plan


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=300), st.booleans())
def test_any_bytes_as_a_plan_are_refused_in_a_sentence(raw: bytes, dressed: bool) -> None:
    try:
        plan = P.decode(b"TPL" + bytes([1 + len(raw) % 2]) + raw if dressed else raw)
    except P.PlanError as problem:
        assert problem.field and problem.sentence
    else:
        assert P.decode(encode_plan(plan)) == plan


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=40), st.binary(max_size=40))
def test_any_octets_as_optional_fields_have_one_spelling_or_a_refusal(header: bytes, step: bytes) -> None:
    try:
        raw = check_plan.tagged(header, step)
        plan = P.decode(raw)
    except P.PlanError as problem:
        assert problem.field and problem.sentence
    else:
        assert encode_plan(plan) == raw


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**9), st.sampled_from([1, 5, 255]), st.data())
def test_any_samples_come_back(at_s: int, interval_s: int, data) -> None:
    samples = []
    for _ in range(data.draw(st.integers(1, 60))):
        at_s += interval_s * data.draw(st.sampled_from([1, 1, 1, 1, 7]))
        samples.append((at_s, data.draw(CDEG), data.draw(CDEG)))
    flush = data.draw(st.integers(1, 30))
    writer = S.SampleWriter(interval_s)
    raw = bytearray()
    for place, sample in enumerate(samples):
        if not writer.add(sample[0], sample[1:]):
            raw += writer.block()
            assert writer.add(sample[0], sample[1:])
        if place % flush == 0:
            raw += writer.block()
    raw += writer.block()
    reader = S.read_blocks(bytes(raw))
    assert list(reader) == samples and reader.unread == 0


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=600))
def test_any_bytes_as_a_log_do_no_harm(raw: bytes) -> None:
    reader = S.read_blocks(raw)
    list(reader)
    assert 0 <= reader.unread <= len(raw)
    records = J.read(raw, 0, True)
    assert list(records) == [] or records.unread <= len(raw)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(sorted(J.BODIES)), st.data()), max_size=12), st.binary(max_size=40))
def test_journal_round_trip_with_rubbish_behind(rows, rubbish: bytes) -> None:
    records = []
    raw = b""
    for seq, (kind, data) in enumerate(rows):
        form = J.BODIES[kind]
        body = tuple(
            data.draw(text(0, J.TEXT_CAP + 1 - len(form)) if letter == J.TEXT else st.integers(*J._LIMITS[letter]))
            for letter in form
        )
        if kind == J.FORMAT:
            body = (min(body[0], J.VERSION),)  # what is newer is refused
        raw += J.encode(kind, seq, plans.DAY_1 + seq, *body)
        records.append(J.Record(kind, seq, plans.DAY_1 + seq, body))
    assert list(J.read(raw)) == records
    assert list(J.read(raw + rubbish))[: len(records)] == records
