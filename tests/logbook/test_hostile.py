"""Any log at all: mutated bytes, records in any order, times anywhere. Refused by name or read; never anything else."""

import json
import os

import logbook_support as support
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tourier.logbook import Logbook, LogbookError, Outcome, review
from tourier.logbook.record import openlog
from tourier.logbook.reports.csv import samples_csv, steps_csv
from tourier.logbook.reports.html import report_html
from tourier.logbook.reports.json import review_dict

from shared_schedule import journal as J
from shared_schedule.samples import SampleWriter

DAY = support.Day(support.small_plan())
# TOURIER_EXAMPLES raises the number for a long run.
_SET = settings(
    max_examples=int(os.environ.get("TOURIER_EXAMPLES", "20")),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


@pytest.fixture
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("hostile")


def _everything(book, number):
    """Run all that reads a batch; return the HTML."""
    batch = book.load(number)
    found = review(batch, Outcome(("leak", "bready"), 2))
    json.dumps(review_dict(found), allow_nan=False)
    samples_csv(found.account)
    steps_csv(found.account)
    "".join(openlog.write(batch))
    return report_html(found)


@st.composite
def mutated(draw, data: bytes):
    """Bytes with some flipped, cut out, doubled or put in."""
    out = bytearray(data)
    for _ in range(draw(st.integers(1, 6))):
        place = draw(st.integers(0, max(0, len(out) - 1)))
        what = draw(st.sampled_from("flip cut double insert".split()))
        if what == "flip" and out:
            out[place] ^= draw(st.integers(1, 255))
        elif what == "cut":
            del out[place : place + draw(st.integers(1, 200))]
        elif what == "double":
            out[place:place] = out[place : place + draw(st.integers(1, 200))]
        else:
            out[place:place] = draw(st.binary(max_size=40))
    return bytes(out)


@_SET
@given(plan=st.one_of(st.just(DAY.plan_bytes), mutated(DAY.plan_bytes)), journal=mutated(DAY.journal),
       samples=mutated(DAY.samples))  # fmt: skip
def test_mutated_bytes_are_refused_by_name_or_read(folder, plan, journal, samples):
    with Logbook(folder / "book.sqlite") as book:
        for item in book.batches():
            book.remove(item.id)
        try:
            number = book.collect("b", plan, journal, samples)
        except LogbookError as error:
            assert len(str(error)) < 400 and str(error).isprintable()
            assert book.batches() == []
            return
        _everything(book, number)


_records = st.lists(
    st.one_of(
        st.tuples(st.just(J.STEP), st.integers(0, 20), st.integers(0, 6), st.integers(0, 6), st.integers(0, 12)),
        st.tuples(st.just(J.TICK), st.integers(0, 20), st.integers(0, 9), st.integers(0, 2)),
        st.tuples(st.just(J.ALARM), st.integers(0, 30), st.integers(0, 20), st.integers(-32768, 32767)),
        st.tuples(st.just(J.ACK), st.integers(0, 30), st.integers(0, 20)),
        st.tuples(st.just(J.BEND), st.integers(-32768, 32767), st.integers(0, 9), st.integers(0, 20)),
        st.tuples(st.just(J.CLOCK), st.integers(0, 2**32 - 1), st.integers(0, 2**32 - 1)),
        st.tuples(st.just(J.BOOT), st.integers(0, 9), st.integers(0, 1), st.just(0), st.just(1), st.just(0)),
        st.tuples(st.just(J.AIR), st.integers(-32768, 32767), st.integers(0, 255)),
        st.tuples(st.just(J.FAULT), st.integers(0, 9), st.integers(0, 9)),
        # No note says "nan" or "Infinity" by itself: what stands in the report came from a figure then.
        st.tuples(st.just(J.NOTE), st.text(st.characters(codec="utf-8", exclude_characters="nNiI"), max_size=60)),
        st.tuples(st.just(J.PLAN), st.integers(0, 2**32 - 1), st.integers(0, 65535)),
        st.tuples(st.just(J.FINISHED), st.just(0)),
    ),
    max_size=60,
)
_i16 = st.integers(-32768, 32767)
_time = st.one_of(st.integers(0, 40_000).map(lambda t: support.BEGIN + t), st.integers(0, 2**32 - 1))


@_SET
@given(records=_records, times=st.lists(_time, min_size=61, max_size=61),
       samples=st.lists(st.tuples(_time, _i16, _i16), max_size=80))  # fmt: skip
def test_sound_records_in_any_order_at_any_time_are_read_and_reported(folder, records, times, samples):
    journal = b"".join(J.encode(r[0], n, times[n], *r[1:]) for n, r in enumerate(records))
    writer, blocks = SampleWriter(5), bytearray()
    for pair in samples:
        if not writer.add(pair[0], pair[1:]):
            blocks += bytes(writer.block())
            writer.add(pair[0], pair[1:])
    blocks += bytes(writer.block())
    with Logbook(folder / "book.sqlite") as book:
        for item in book.batches():
            book.remove(item.id)
        html = _everything(book, book.collect("b", DAY.plan_bytes, journal, bytes(blocks)))
        assert "nan" not in html.lower().replace("finance", "") and "Infinity" not in html


@_SET
@given(st.data())
def test_mutated_open_logs(folder, data):
    with Logbook(folder / "book.sqlite") as book:
        whole = "".join(openlog.write(book.load(support.Day(support.small_plan(), until=3).collect(book)))).encode()
    data = data.draw(mutated(whole))
    try:
        openlog.read(data)
    except LogbookError as error:
        assert str(error)


@pytest.mark.parametrize("data", [b"", b"\0" * 100, b"{", b"[]", b"null", b'{"t":"log"}', b"\xff\xfe{}",
                                  b'{"t":"log","format":"tourier-log","version":1,"timer":"x"}'])  # fmt: skip
def test_files_that_are_no_open_log(data):
    with pytest.raises(LogbookError):
        openlog.read(data)
