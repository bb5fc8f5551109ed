"""A timer with a third and a fourth sensor, end to end: converter, log, link, logbook, report, table."""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest
from firmware_support import collect, day, send, two_days
from tourier.device.client import Timer
from tourier.logbook.findings.review import review
from tourier.logbook.record import openlog, pack
from tourier.logbook.record.store import Logbook
from tourier.logbook.reports.csv import samples_csv
from tourier.logbook.reports.html import report_html
from tourier.logbook.reports.json import review_dict

from shared_schedule import journal as J
from shared_schedule import plan as P
from shared_schedule import samples as S
from shared_schedule.channels import AIR, DOUGH, Channel

MORE = (Channel(2, AIR, P.PROOF_SPACE, 0, 0, "proof space"), Channel(5, DOUGH, P.ANYWHERE, 2, 0, "second dough"))
PLAN = two_days(2)


@pytest.fixture(scope="module", params=(1, 2), ids=("three", "four"))
def played(request, tmp_path_factory):
    """Three hours of the day with one and with two sensors more: (channels, journal, samples, batch, telemetry)."""
    more = MORE[: request.param]
    folder = tmp_path_factory.mktemp("channels")
    heard: list[dict] = []
    with day(folder / "flash", PLAN, more_channels=more) as timer:
        send(timer, PLAN)
        timer.kitchen.set_place("proof", 31.0)
        timer.run_until(PLAN.steps[0].start_at_s + 3 * 3600)
        with Timer.open(timer.port) as link:
            passed, lines = link.self_test()
            for telemetry in link.telemetry(2.5):
                heard.append(telemetry)
        journal, log, data = collect(timer)
        assert passed
    with Logbook(folder / "logbook.sqlite") as book:
        batch = book.load(book.collect("timer", data, journal, log))
    return more, journal, log, batch, heard, lines


def test_the_log_holds_every_channel(played, record_property) -> None:
    record_property("interpreter", "micropython")
    more, journal, log, batch, _heard, _lines = played
    numbers = (0, 1, *(channel.number for channel in more))
    told = [Channel(*record.body) for record in J.read(journal) if record.type == J.CHANNEL]
    assert tuple(told[2:]) == more and [channel.number for channel in told] == list(numbers)
    reader = S.read_blocks(log)
    rows = list(reader)
    assert reader.unread == 0 and reader.channels == numbers and len(rows) > 2000
    assert log[0] == 75 and log[2] == S.FORMAT
    assert batch.channels[2:] == more
    # What the sensor of the proof space says is what the kitchen's proof space has, settled at 31 °C.
    air_c = batch.samples.columns[2][-200:]
    assert np.nanmedian(air_c) == pytest.approx(31.0, abs=1.0) and abs(np.nanmedian(batch.samples.probe_c) - 31) > 3


def test_telemetry_and_self_test_loop_over_channels(played, record_property) -> None:
    record_property("interpreter", "micropython")
    from tourier.device.sight import sight_of

    more, _journal, _log, batch, heard, lines = played
    sight = sight_of(heard[-1], PLAN)
    assert [number for number, _cdeg in sight.channels] == [0, 1, *(channel.number for channel in more)]
    assert sight.channels[2][1] / 100 == pytest.approx(batch.samples.columns[2][-1], abs=1.5)
    assert (sight.bench_cdeg, sight.probe_cdeg) == (sight.channels[0][1], sight.channels[1][1])
    assert all(any(line.startswith(f"{channel.name} thermometer: ") for line in lines) for channel in more)


def test_report_table_open_log_and_pack_show_them(played, tmp_path, record_property) -> None:
    record_property("interpreter", "cpython")
    more, _journal, _log, batch, _heard, _lines = played
    found = review(batch)
    head, *rows = csv.reader(io.StringIO(samples_csv(found.account)))
    assert head == ["time", "at_s", "bench_c", "probe_c", *(f"{channel.name}_c" for channel in more), "step"]
    column = [float(row[4]) for row in rows if row[4]]
    assert np.allclose(column, batch.samples.columns[2][~np.isnan(batch.samples.columns[2])], atol=0.006)
    said = review_dict(found)["channels"]
    assert [one["name"] for one in said] == ["bench", "probe", *(channel.name for channel in more)]
    assert said[2]["kind"] == "air" and said[2]["place"] == "proof space" and said[2]["samples"] == len(column)
    page = report_html(found)
    assert all(f">{channel.name}</text>" in page for channel in more)
    again = pack.unpack(pack.pack(batch.samples))
    back = openlog.read("".join(openlog.write(batch)).encode())
    with Logbook(tmp_path / "other.sqlite") as book:
        taken = book.load(book.collect(back["board_id"], back["plan_bytes"], back["journal"], back["samples"]))
    assert taken.channels == batch.channels
    for other in (again, taken.samples):
        assert np.array_equal(other.at_s, batch.samples.at_s) and other.columns.keys() == batch.samples.columns.keys()
        for number, column_c in batch.samples.columns.items():
            assert np.array_equal(other.columns[number], column_c, equal_nan=True)
