"""The logbook file: collected once, kept whole, refused by name when it is not ours."""

import sqlite3

import logbook_support as support
import numpy as np
import pytest
from tourier.logbook import Logbook, LogbookError, Outcome
from tourier.logbook.record import decode, openlog, pack

from shared_schedule import plan as P
from shared_schedule.plan_writer import encode_plan


def test_the_same_log_twice_is_one_batch(book):
    day = support.Day(support.small_plan())
    first = day.collect(book, batch_text="name = 'x'")
    assert day.collect(book, batch_text="name = 'x'") == first
    assert len(book.batches()) == 1
    assert book.load(first).batch_text == "name = 'x'"


def test_a_longer_log_replaces_the_shorter_and_not_the_other_way(book):
    plan = support.small_plan()
    half, whole = support.Day(plan, until=7), support.Day(plan)
    number = half.collect(book)
    assert not book.batches()[0].finished
    assert whole.collect(book) == number
    loaded = book.load(number)
    assert book.batches()[0].finished and len(loaded.records) > 30
    assert half.collect(book) == number
    assert len(book.load(number).records) == len(loaded.records)
    assert len(book.load(number).samples) == len(loaded.samples)


def test_a_log_that_contradicts_the_one_held_is_refused(book):
    plan = support.small_plan()
    support.Day(plan).collect(book)
    other = support.Day(plan, slips={3: {"lasts_s": 900}})
    with pytest.raises(LogbookError, match="says other things than batch 1"):
        other.collect(book)
    assert len(book.batches()) == 1


def test_samples_come_back_as_the_shared_codec_reads_them(book):
    day = support.Day(support.small_plan(), slips={5: {"probe": "open"}})
    number = day.collect(book)
    direct, unread = decode.read_samples(day.samples)
    held = book.load(number).samples
    assert unread == 0 and len(held) > 2000
    assert np.array_equal(held.at_s, direct.at_s)
    assert np.array_equal(held.probe_c, direct.probe_c, equal_nan=True)
    assert np.array_equal(held.bench_c, direct.bench_c, equal_nan=True)
    assert np.isnan(held.probe_c).any()


def test_outcome_is_kept_and_limited(book):
    number = support.Day(support.small_plan()).collect(book)
    book.set_outcome(number, Outcome(("leak", "flat"), 2, "/home/me/p.jpg", "tray 2\x1b[31m worse"))
    outcome = book.load(number).outcome
    assert outcome.symptoms == ("flat", "leak") and outcome.rating == 2
    assert "\x1b" not in outcome.note
    with pytest.raises(LogbookError, match="1 .bad. to 5"):
        book.set_outcome(number, Outcome((), 9))
    with pytest.raises(LogbookError, match="no batch 99"):
        book.set_outcome(99, Outcome())


def test_backup_and_restore_while_open(book, tmp_path):
    number = support.Day(support.small_plan()).collect(book)
    book.backup(tmp_path / "copy.sqlite")
    book.remove(number)
    assert book.batches() == []
    book.restore(tmp_path / "copy.sqlite")
    assert [b.id for b in book.batches()] == [number]
    assert book.check() == []
    with Logbook(str(book.path) + ".before-restore") as before:
        assert before.batches() == []


def test_restoring_something_damaged_changes_nothing(book, tmp_path):
    support.Day(support.small_plan()).collect(book)
    book.backup(tmp_path / "copy.sqlite")
    raw = bytearray((tmp_path / "copy.sqlite").read_bytes())
    for place in range(4096, len(raw), 512):
        raw[place : place + 64] = b"\xa5" * 64
    (tmp_path / "copy.sqlite").write_bytes(raw)
    with pytest.raises(LogbookError):
        book.restore(tmp_path / "copy.sqlite")
    assert len(book.batches()) == 1 and book.check() == []


def test_import_takes_all_with_outcomes_and_can_be_repeated(book, tmp_path):
    with Logbook(tmp_path / "other.sqlite") as other:
        for n in range(3):
            number = support.Day(support.small_plan(made_at_s=support.BEGIN + n * 200_000)).collect(other)
        other.set_outcome(number, Outcome(("leak",), 2))
    assert book.import_from(tmp_path / "other.sqlite") == {"taken": 3, "known": 0}
    assert book.import_from(tmp_path / "other.sqlite") == {"taken": 0, "known": 3}
    newest = book.load(book.newest())
    assert newest.outcome.symptoms == ("leak",) and len(newest.samples) > 2000
    # collecting from the timer what was imported is still the same batch
    again = support.Day(support.small_plan(made_at_s=support.BEGIN))
    again.collect(book)
    assert len(book.batches()) == 3 and book.check() == []


def test_an_import_brings_the_rest_of_a_day_that_was_collected_early(book, tmp_path):
    bends = [(support.BEGIN + 40_000, 1400, 2)]
    whole = support.Day(support.small_plan(), bends=bends)
    with Logbook(tmp_path / "other.sqlite") as other:
        other.set_outcome(whole.collect(other, batch_text='name = "a"'), Outcome((), 5))
    early = support.Day(support.small_plan(), until=4)
    number = book.collect(support.BOARD, early.plan_bytes, early.journal, early.samples)
    assert whole.journal.startswith(early.journal) and not book.batches()[0].finished
    assert book.import_from(tmp_path / "other.sqlite") == {"taken": 1, "known": 0}
    loaded = book.load(number)
    assert loaded.journal == whole.journal and loaded.batch_text and loaded.outcome.rating == 5
    assert book.batches()[0].finished and len(book.batches()) == 1 and book.check() == []
    with Logbook(tmp_path / "other.sqlite") as other:
        assert book.batches()[0].bytes_held == other.batches()[0].bytes_held
    assert book.import_from(tmp_path / "other.sqlite") == {"taken": 0, "known": 1}


def test_an_import_that_contradicts_what_is_held_is_refused_and_its_outcome_goes_nowhere(book, tmp_path):
    number = support.Day(support.small_plan()).collect(book)
    with Logbook(tmp_path / "other.sqlite") as other:
        other.set_outcome(support.Day(support.small_plan(), slips={4: {"lasts_s": 900}}).collect(other),
                          Outcome(("leak",), 1))  # fmt: skip
    with pytest.raises(LogbookError, match="other things than batch 1.* Nothing was imported"):
        book.import_from(tmp_path / "other.sqlite")
    assert book.load(number).outcome is None and len(book.batches()) == 1 and book.check() == []


def test_an_import_that_fails_half_way_leaves_nothing(book, tmp_path):
    with Logbook(tmp_path / "other.sqlite") as other:
        for n in range(3):
            support.Day(support.small_plan(made_at_s=support.BEGIN + n * 200_000)).collect(other)
    raw = sqlite3.connect(tmp_path / "other.sqlite")
    raw.execute("UPDATE log SET plan = x'545051' WHERE batch_id = 3")
    raw.commit()
    raw.close()
    with pytest.raises(LogbookError, match="Batch 3 .* Nothing was imported"):
        book.import_from(tmp_path / "other.sqlite")
    assert book.batches() == [] and book.check() == []


@pytest.mark.parametrize("trap", [
    "CREATE TRIGGER t AFTER INSERT ON batch BEGIN DELETE FROM log; END",
    "CREATE VIEW evil AS SELECT 1",
    "CREATE TABLE extra(x)",
    "DROP TABLE log; CREATE VIEW log AS SELECT 1 AS batch_id",
])  # fmt: skip
def test_a_logbook_with_more_than_tables_is_refused_unread(book, tmp_path, trap):
    Logbook(tmp_path / "other.sqlite").close()
    raw = sqlite3.connect(tmp_path / "other.sqlite")
    raw.executescript(trap)
    raw.close()
    with pytest.raises(LogbookError, match="that no logbook has"):
        book.import_from(tmp_path / "other.sqlite")


def test_files_that_are_no_logbook_are_refused_by_name(book, tmp_path):
    (tmp_path / "text.sqlite").write_text("nothing of the kind" * 100)
    with pytest.raises(LogbookError, match="cannot be read as a logbook"):
        book.import_from(tmp_path / "text.sqlite")
    with pytest.raises(LogbookError, match="no file"):
        book.import_from(tmp_path / "missing.sqlite")
    with pytest.raises(LogbookError, match="cannot be opened"):
        Logbook(tmp_path / "text.sqlite")
    foreign = sqlite3.connect(tmp_path / "foreign.sqlite")
    foreign.execute("CREATE TABLE t(x)")
    foreign.commit()
    foreign.close()
    with pytest.raises(LogbookError, match="another program"):
        Logbook(tmp_path / "foreign.sqlite")


def test_a_newer_logbook_is_not_touched(tmp_path):
    Logbook(tmp_path / "new.sqlite").close()
    raw = sqlite3.connect(tmp_path / "new.sqlite")
    raw.execute("PRAGMA user_version=99")
    raw.commit()
    raw.close()
    with pytest.raises(LogbookError, match="newer version"):
        Logbook(tmp_path / "new.sqlite")


def test_an_older_logbook_is_brought_up_with_its_batches(tmp_path):
    from tourier.logbook.record.schema import APPLICATION_ID, MIGRATIONS

    raw = sqlite3.connect(tmp_path / "old.sqlite", isolation_level=None)
    for statement in MIGRATIONS[0]:
        raw.execute(statement)
    raw.execute(f"PRAGMA application_id={APPLICATION_ID}")
    raw.execute("PRAGMA user_version=1")
    day = support.Day(support.small_plan())
    raw.execute("INSERT INTO batch VALUES(7, 'k', 'b', 'old', 1, 2, 0, 1, 9)")
    raw.execute("INSERT INTO log VALUES(7, ?, ?, ?, 0, 0, 0, '')",
                (day.plan_bytes, day.journal, pack.pack(decode.read_samples(day.samples)[0])))  # fmt: skip
    raw.close()
    with Logbook(tmp_path / "old.sqlite") as book:
        assert [b.id for b in book.batches()] == [7] and book.check() == []
        assert len(book.load(7).samples) > 2000


def test_hostile_logs_are_refused_or_cut_and_named(book):
    day = support.Day(support.small_plan())
    with pytest.raises(LogbookError, match="does not begin like a plan"):
        book.collect("b", b"junk" * 10, day.journal, day.samples)
    with pytest.raises(LogbookError, match="at most 1048576 are taken"):
        book.collect("b", day.plan_bytes, b"\0" * (2 << 20), day.samples)
    with pytest.raises(LogbookError, match="at most 4194304 are taken"):
        book.collect("b", day.plan_bytes, day.journal, b"S" * (5 << 20))
    with pytest.raises(LogbookError, match="longer than"):
        book.collect("b", day.plan_bytes, day.journal, day.samples, "x" * 300_000)
    assert book.batches() == []


def test_damage_in_the_middle_is_counted_and_the_rest_read(book):
    day = support.Day(support.small_plan())
    journal, samples = bytearray(day.journal), bytearray(day.samples)
    journal[200] ^= 0xFF
    samples[3000] ^= 0xFF
    number = book.collect("b", day.plan_bytes, bytes(journal), bytes(samples))
    loaded = book.load(number)
    assert 0 < loaded.journal_unread < 60 and 0 < loaded.samples_unread < 1000
    assert len(loaded.records) > 30 and len(loaded.samples) > 2000


def test_a_block_that_promises_more_than_it_holds_is_damage():
    import binascii
    import struct

    head = b"S" + bytes([11]) + struct.pack("<IBHhh", support.BEGIN, 5, 60000, 2000, 1300)
    block = head + struct.pack("<I", binascii.crc32(head))
    samples, unread = decode.read_samples(block)
    assert len(samples) <= 60000 and unread >= 0


def test_text_from_the_wire_loses_its_control_characters(book):
    plan = support.small_plan()
    day = support.Day(plan, notes=[(support.BEGIN + 900, "cold\x1b[2J hands")])
    number = day.collect(book, board_id="abc\x1b]0;x\x07\u202edef" + "y" * 200)
    listed = book.batches()[0]
    assert "\x1b" not in listed.board_id and "\u202e" not in listed.board_id and len(listed.board_id) <= 64
    assert all("\x1b" not in str(r.body) for r in book.load(number).records)


def test_a_clock_set_late_moves_what_was_logged_before_it(book):
    from shared_schedule import journal as J
    from shared_schedule.samples import SampleWriter

    plan = support.small_plan()
    raw = encode_plan(plan)
    wrong, right = 1000, support.BEGIN + 700
    journal = b"".join([
        J.encode(J.BOOT, 1, wrong, 1, 0, 0, 1, 0),
        J.encode(J.PLAN, 2, wrong + 1, P.plan_id(raw), len(raw)),
        J.encode(J.STEP, 3, wrong + 10, 1, 0, 1, 1),
        J.encode(J.CLOCK, 4, wrong + 60, wrong + 60, right),
        J.encode(J.STEP, 5, right + 300, 1, 1, 2, 1),
    ])  # fmt: skip
    writer = SampleWriter(5)
    samples = b""
    for n in range(13):
        writer.add(wrong + 5 * n, (2000, 1300))
    samples += bytes(writer.block())
    for n in range(60):
        writer.add(right + 5 + 5 * n, (2000, 1400))
    samples += bytes(writer.block())
    loaded = book.load(book.collect("b", raw, journal, samples))
    assert loaded.clock_corrections == 1
    begun = [r.at_s for r in loaded.records if r.type == J.STEP][0]
    assert begun == right - 50
    assert loaded.samples.at_s[0] == right - 60 and (np.diff(loaded.samples.at_s) > 0).all()


def test_a_logbook_emptied_by_damage_is_not_called_empty(tmp_path):
    """The leaf of the batches' table is turned into one without rows, as a torn write may leave it."""
    file = tmp_path / "book.sqlite"
    with Logbook(file) as one:
        support.Day(support.small_plan()).collect(one)
        assert len(one.batches()) == 1
        pages = one._db.execute("SELECT name, rootpage FROM sqlite_master WHERE tbl_name = 'batch'").fetchall()
        size = one._db.execute("PRAGMA page_size").fetchone()[0]
        one._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    octets = bytearray(file.read_bytes())
    for _, root in pages:
        kind = octets[(root - 1) * size]
        octets[(root - 1) * size : root * size] = bytes([kind, 0, 0, 0, 0]) + size.to_bytes(2, "big") + bytes(size - 7)
    file.write_bytes(octets)
    with Logbook(file) as one:
        for ask in (one.batches, one.newest):
            with pytest.raises((LogbookError, sqlite3.DatabaseError), match="shows no batch, but it is damaged"):
                ask()
    with Logbook(tmp_path / "new.sqlite") as new:
        assert new.batches() == []


def test_a_new_logbook_is_its_owners_alone(tmp_path):
    with Logbook(tmp_path / "own.sqlite") as book:
        support.Day(support.small_plan(), until=2).collect(book)
        assert {file.stat().st_mode & 0o777 for file in tmp_path.glob("own.sqlite*")} == {0o600}


def test_a_full_disk_and_a_busy_file_are_called_so(tmp_path, monkeypatch):
    from tourier.logbook.record import store

    path = tmp_path / "book.sqlite"
    with Logbook(path) as book:
        pages = book._db.execute("PRAGMA page_count").fetchone()[0]
        book._db.execute(f"PRAGMA max_page_count={pages}")
        with pytest.raises(LogbookError, match="disk is full; nothing was changed"):
            support.Day(support.small_plan()).collect(book)
        assert book.batches() == []
        monkeypatch.setattr(store, "_BUSY_S", 0.05)
        with Logbook(path) as other:
            book._db.execute("BEGIN IMMEDIATE")
            with pytest.raises(LogbookError, match="another program is writing"):
                support.Day(support.small_plan(), until=2).collect(other)
            book._db.execute("ROLLBACK")


def test_an_open_log_taken_beside_another_import_counts_its_own_batch_alone(tmp_path, monkeypatch):
    file = tmp_path / "one.jsonl"
    with Logbook(tmp_path / "a.sqlite") as first:
        number = support.Day(support.small_plan(), until=2).collect(first)
        file.write_text("".join(openlog.write(first.load(number))), encoding="utf-8")
    with Logbook(tmp_path / "b.sqlite") as book, Logbook(tmp_path / "b.sqlite") as beside:
        change = book._change

        def meanwhile():
            support.Day(support.small_plan("Another"), seed=2, until=2).collect(beside)
            return change()

        monkeypatch.setattr(book, "_change", meanwhile)
        assert book.import_from(file) == {"taken": 1, "known": 0}
        assert book.import_from(file) == {"taken": 0, "known": 1}
