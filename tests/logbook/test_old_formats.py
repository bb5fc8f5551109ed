"""A logbook and an open log as they were written under the first formats are read today (*regression*)."""

from __future__ import annotations

import lzma
from pathlib import Path

import numpy as np
from tourier.logbook.findings.review import review
from tourier.logbook.record import openlog
from tourier.logbook.record.store import Logbook

from shared_schedule import plan as P

STORED = Path(__file__).resolve().parents[1] / "vectors" / "formats" / "1"


def stored(name: str) -> bytes:
    return lzma.decompress((STORED / f"{name}.xz").read_bytes())


def test_batches_and_open_logs_of_the_first_formats_say_what_they_said(tmp_path) -> None:
    (tmp_path / "old.sqlite").write_bytes(stored("logbook.sqlite"))
    with Logbook(tmp_path / "old.sqlite") as book:
        assert book.check() == []
        old = book.load(1)
    text = stored("open_log.jsonl")
    back = openlog.read(text)
    with Logbook(tmp_path / "new.sqlite") as book:
        new = book.load(
            book.collect(back["board_id"], back["plan_bytes"], back["journal"], back["samples"], back["batch_text"])
        )
    assert old.plan_bytes[3] == 1 and old.plan == new.plan and old.plan.units == P.UNITS_METRIC
    assert old.records == new.records and len(old.records) == text.count(b'{"t":"event"')
    assert [channel.name for channel in old.channels] == ["bench", "probe"] and len(old.samples) > 10_000
    for number in (0, 1):
        assert np.array_equal(old.samples.columns[number], new.samples.columns[number], equal_nan=True)
    assert review(old).account.batch.plan_bytes == new.plan_bytes
    # And what is written of it today is the same text: nothing in it needs a newer version.
    assert "".join(openlog.write(old)).encode() == text
