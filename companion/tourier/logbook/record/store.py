"""The logbook file: one SQLite database, the only module that talks to it.

Every change is one transaction in write-ahead mode with full synchronisation, so a kill or a power cut leaves either
all of it or nothing. Times are seconds since 2020-01-01Z.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import sqlite3
import time
import zlib
from collections.abc import Iterator
from pathlib import Path

from shared_schedule import journal as J
from shared_schedule import window
from shared_schedule.units import EPOCH_UNIX_S
from tourier.logbook import LogbookError
from tourier.logbook.record import decode, pack, schema
from tourier.logbook.record.decode import clean
from tourier.logbook.record.model import Batch, Listed, Outcome
from tourier.logbook.record.schema import APPLICATION_ID, MIGRATIONS

MAX_BATCH_TEXT = 256 * 1024
_BUSY_S = 10.0  # another tourier may be writing; a collection takes well under a second


def now_s() -> int:
    """Return the present instant in the project's seconds."""
    return int(time.time()) - EPOCH_UNIX_S


class Logbook:
    """An open logbook. Use as a context manager, or call `close`."""

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self.path = Path(path)
        self.path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)  # it tells when somebody is at home
        with contextlib.suppress(OSError):  # its own reader's alone; what cannot be made, SQLite says below
            os.close(os.open(self.path, os.O_CREAT | os.O_EXCL, 0o600))
        try:
            self._db = sqlite3.connect(self.path, timeout=_BUSY_S, isolation_level=None)
            self._db.execute("PRAGMA trusted_schema=OFF")
            self._check_kind(self._db)
            self._db.execute("PRAGMA journal_mode=WAL")
            self._db.execute("PRAGMA synchronous=FULL")
            self._db.execute("PRAGMA foreign_keys=ON")
            self._migrate(self._db)
        except sqlite3.DatabaseError as error:
            if passing := _passing(error):
                raise LogbookError(f"{self.path}: {passing}") from error
            raise LogbookError(
                f"{self.path} cannot be opened as a logbook ({error}); restore a backup or name another file."
            ) from error

    def __enter__(self) -> Logbook:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; further calls fail."""
        self._db.close()

    # --- file -----------------------------------------------------------------------------------------------------

    def _check_kind(self, db: sqlite3.Connection) -> None:
        application = db.execute("PRAGMA application_id").fetchone()[0]
        tables = db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
        if application != APPLICATION_ID and (application or tables):
            raise LogbookError(f"{self.path} is a database of another program; name another file.")
        version = db.execute("PRAGMA user_version").fetchone()[0]
        if version > len(MIGRATIONS):
            raise LogbookError(
                f"{self.path} was written by a newer version (schema {version}, this one knows {len(MIGRATIONS)}); "
                "update tourier."
            )

    @staticmethod
    def _migrate(db: sqlite3.Connection) -> None:
        if db.execute("PRAGMA user_version").fetchone()[0] == len(MIGRATIONS):
            return
        db.execute("BEGIN IMMEDIATE")  # two programs may start at once: read the version again inside
        try:
            version = db.execute("PRAGMA user_version").fetchone()[0]
            for number in range(version, len(MIGRATIONS)):
                for statement in MIGRATIONS[number]:
                    db.execute(statement)
            db.execute(f"PRAGMA application_id={APPLICATION_ID}")
            db.execute(f"PRAGMA user_version={len(MIGRATIONS)}")
            db.execute("COMMIT")
        except BaseException:
            if db.in_transaction:
                db.execute("ROLLBACK")
            raise

    @contextlib.contextmanager
    def _change(self) -> Iterator[sqlite3.Connection]:
        try:
            self._db.execute("BEGIN IMMEDIATE")
            yield self._db
            self._db.execute("COMMIT")
        except BaseException as error:
            if self._db.in_transaction:  # a full disk has ended it already
                self._db.execute("ROLLBACK")
            if passing := _passing(error):
                raise LogbookError(f"{self.path}: {passing}") from error
            raise

    def check(self) -> list[str]:
        """Return what is wrong with the file, one sentence each; an empty list when it is sound."""
        try:
            return self._wrong()
        except sqlite3.DatabaseError as error:  # so damaged that even the check gives up
            return [f"{self.path} is damaged ({clean(str(error))}); restore a backup"]

    def _wrong(self) -> list[str]:
        found = [clean(row[0]) for row in self._db.execute("PRAGMA integrity_check(20)") if row[0] != "ok"]
        for row in self._db.execute("PRAGMA foreign_key_check"):
            found.append(f"table {clean(str(row[0]))} holds a row without its batch")
        for (batch_id,) in self._db.execute("SELECT id FROM batch").fetchall():
            try:
                self.load(batch_id)
            except LogbookError as error:
                found.append(f"batch {batch_id}: {error}")
        return found

    def _truly_empty(self) -> None:
        """Raise LogbookError when the file holds no batch because it is damaged: "empty" would be a loss unseen."""
        if wrong := self.check():
            raise LogbookError(
                f"{self.path} shows no batch, but it is damaged ({wrong[0][:100]}): see tourier logbook check, or "
                "restore a backup."
            )

    def backup(self, target: str | os.PathLike[str]) -> None:
        """Write a complete copy while the logbook stays open; a target that exists is replaced only at the end."""
        target = Path(target)
        target.parent.mkdir(parents=True, exist_ok=True)
        partial = target.with_name(target.name + ".partial")
        partial.unlink(missing_ok=True)
        copy = sqlite3.connect(partial)
        try:
            self._db.backup(copy)
            copy.execute("PRAGMA journal_mode=DELETE")
        finally:
            copy.close()
        os.replace(partial, target)

    def restore(self, source: str | os.PathLike[str]) -> None:
        """Replace everything by a backup, while open. The backup is checked first; the present content is kept
        beside the logbook as `<name>.before-restore`. Raises LogbookError and changes nothing when it is not sound."""
        with schema.opened(source) as other:
            bad = other.execute("PRAGMA integrity_check(1)").fetchone()[0]
            if bad != "ok":
                raise LogbookError(f"{source} is damaged ({clean(bad)}); nothing was restored.")
            self.backup(self.path.with_name(self.path.name + ".before-restore"))
            other.backup(self._db)
        self._migrate(self._db)

    # --- collecting -----------------------------------------------------------------------------------------------

    def collect(self, board_id: str, plan_bytes: bytes, journal: bytes, samples: bytes, batch_text: str = "") -> int:
        """Take in a batch as a timer hands it over and return its number.

        The same log again changes nothing; a longer one (collected mid-day, then at the end) replaces the shorter; a
        shorter one leaves what is held. Raises LogbookError when it is no log, or contradicts the one held.
        """
        with self._change() as db:
            return self._take(db, board_id, bytes(plan_bytes), bytes(journal), bytes(samples), batch_text)

    def _take(self, db: sqlite3.Connection, board_id: str, plan_bytes: bytes, journal: bytes, samples: bytes,
              batch_text: str) -> int:  # fmt: skip
        board_id = clean(board_id, 64)
        if len(batch_text.encode()) > MAX_BATCH_TEXT:
            raise LogbookError(f"The batch file is longer than {MAX_BATCH_TEXT} bytes; it is not taken.")
        plan = decode.read_plan(plan_bytes)
        records, _unread, corrections = decode.read_journal(journal)
        history, samples_unread = decode.read_samples(samples, corrections)
        key = batch_key(board_id, plan_bytes, records)
        held = db.execute(
            "SELECT id, journal, samples_raw_bytes, samples_raw_crc, log.batch_text FROM batch "
            "JOIN log ON log.batch_id = batch.id WHERE key = ?", (key,)
        ).fetchone()  # fmt: skip
        if held:
            old_id, old_journal, raw_bytes, raw_crc, old_text = held
            _same_log(old_id, journal, old_journal)
            longer_samples = len(samples) > raw_bytes and zlib.crc32(samples[:raw_bytes]) == raw_crc
            if len(journal) <= len(old_journal) and not longer_samples and (old_text or not batch_text):
                return old_id
            if len(samples) < raw_bytes:
                raise LogbookError(
                    f"The log of batch {old_id} has more events but fewer temperatures than before; collect it again."
                )
            journal = max(journal, old_journal, key=len)
            records, _unread, corrections = decode.read_journal(journal)
            batch_text = batch_text or old_text
        packed = pack.pack(history)
        begun = next((r.at_s for r in records if r.type == J.PLAN), plan.made_at_s)
        row = {
            "key": key, "board_id": board_id, "name": clean(plan.name, 40), "begun_at_s": begun,
            "ready_at_s": plan.ready_at_s, "offset_min": plan.offset_min,
            "finished": int(any(r.type == J.FINISHED for r in records)),
            "bytes_held": len(plan_bytes) + len(journal) + len(packed) + len(batch_text),
        }  # fmt: skip
        if held:
            batch_id = held[0]
            db.execute("UPDATE batch SET finished = :finished, bytes_held = :bytes_held WHERE key = :key", row)
        else:
            added = db.execute(
                "INSERT INTO batch(key, board_id, name, begun_at_s, ready_at_s, offset_min, finished, bytes_held) "
                "VALUES(:key, :board_id, :name, :begun_at_s, :ready_at_s, :offset_min, :finished, :bytes_held)", row
            )  # fmt: skip
            batch_id = int(added.lastrowid or 0)
        db.execute(
            "INSERT OR REPLACE INTO log VALUES(?, ?, ?, ?, ?, ?, ?, ?)",
            (batch_id, plan_bytes, journal, packed, len(samples), zlib.crc32(samples), samples_unread, batch_text),
        )
        _put_bends(db, batch_id, records)
        return batch_id

    def import_from(self, source: str | os.PathLike[str], progress=None) -> dict[str, int]:
        """Take every batch of another logbook, or an open log, all or none; return {"taken": n, "known": n}.

        The other file is only read, by its tables, and every log in it goes through the same checks as one from a
        timer. Learned values are not taken: they follow from the batches. Raises LogbookError and changes nothing.
        """
        if _begins(source) == b"{":
            return self._import_log(Path(source))
        taken = known = 0
        with schema.opened(source) as other, self._change() as db:
            ids = [row[0] for row in other.execute("SELECT id FROM batch ORDER BY begun_at_s, id")]
            for number, foreign_id in enumerate(ids):
                try:
                    new = self._import_one(db, other, foreign_id)
                except (LogbookError, sqlite3.DatabaseError) as error:
                    raise LogbookError(f"Batch {foreign_id} of {source}: {error} Nothing was imported.") from error
                taken, known = taken + new, known + (not new)
                if progress:
                    progress(number + 1, len(ids))
        return {"taken": taken, "known": known}

    def _import_log(self, source: Path) -> dict[str, int]:
        from tourier.logbook.record import openlog

        with open(source, "rb") as stream:
            raw = stream.read(openlog.MAX_BYTES + 1)
        found = openlog.read(raw, str(source))
        outcome = found.pop("outcome")
        with self._change() as db:
            held = [row[0] for row in db.execute("SELECT id FROM batch")]  # inside: another import may run beside
            batch_id = self._take(db, *found.values())
            if outcome and db.execute("SELECT 1 FROM outcome WHERE batch_id = ?", (batch_id,)).fetchone() is None:
                _put_outcome(db, batch_id, outcome)
        taken = int(batch_id not in held)
        return {"taken": taken, "known": 1 - taken}

    def _import_one(self, db: sqlite3.Connection, other: sqlite3.Connection, foreign_id: int) -> bool:
        row = other.execute(
            "SELECT board_id, plan, journal, log.samples, samples_raw_bytes, samples_raw_crc, samples_unread, "
            "batch_text FROM batch JOIN log ON log.batch_id = batch.id WHERE batch.id = ?", (foreign_id,)
        ).fetchone()  # fmt: skip
        if row is None:
            raise LogbookError("its log is missing.")
        board_id, plan_bytes, journal, packed, raw_bytes, raw_crc, unread, batch_text = row
        pack.unpack(packed)
        board_id = clean(str(board_id), 64)
        plan_bytes, journal = bytes(plan_bytes), bytes(journal)
        records, _unread, _corrections = decode.read_journal(journal)
        key = batch_key(board_id, plan_bytes, records)
        held = db.execute("SELECT id, journal, samples_raw_bytes FROM batch JOIN log ON log.batch_id = batch.id "
                          "WHERE key = ?", (key,)).fetchone()  # fmt: skip
        new = held is None
        if held is not None:
            batch_id, old_journal, old_bytes = held
            _same_log(batch_id, journal, old_journal)
            sizes, old_sizes = (len(journal), int(raw_bytes)), (len(old_journal), old_bytes)
            new = sizes != old_sizes and all(a >= b for a, b in zip(sizes, old_sizes, strict=True))
            if new:  # collected here before the day was over, and there when it was
                db.execute(
                    "UPDATE log SET journal = ?, samples = ?, samples_raw_bytes = ?, samples_raw_crc = ?, "
                    "samples_unread = ?, batch_text = CASE batch_text WHEN '' THEN ? ELSE batch_text END "
                    "WHERE batch_id = ?",
                    (journal, packed, int(raw_bytes), int(raw_crc), int(unread), str(batch_text), batch_id),
                )
                db.execute(
                    "UPDATE batch SET finished = ?, bytes_held = (SELECT length(plan) + length(journal) + "
                    "length(samples) + length(CAST(batch_text AS BLOB)) FROM log WHERE batch_id = batch.id) "
                    "WHERE id = ?",
                    (int(any(r.type == J.FINISHED for r in records)), batch_id),
                )
                _put_bends(db, batch_id, records)
        else:
            batch_id = self._take(db, board_id, plan_bytes, journal, b"", str(batch_text))
            db.execute(
                "UPDATE log SET samples = ?, samples_raw_bytes = ?, samples_raw_crc = ?, samples_unread = ? "
                "WHERE batch_id = ?", (packed, int(raw_bytes), int(raw_crc), int(unread), batch_id),
            )  # fmt: skip
            db.execute("UPDATE batch SET bytes_held = bytes_held + ? WHERE id = ?", (len(packed), batch_id))
        if db.execute("SELECT 1 FROM outcome WHERE batch_id = ?", (batch_id,)).fetchone() is None:
            outcome = _outcome(other, foreign_id)
            if outcome:
                _put_outcome(db, batch_id, outcome)
        return new

    # --- reading --------------------------------------------------------------------------------------------------

    def batches(self) -> list[Listed]:
        """Return every batch, newest first, without unpacking logs. Raises LogbookError when damage hides them all."""
        symptoms: dict[int, list[str]] = {}
        for batch_id, name in self._db.execute("SELECT batch_id, name FROM symptom ORDER BY batch_id, name"):
            symptoms.setdefault(batch_id, []).append(name)
        rows = self._db.execute(
            "SELECT id, name, begun_at_s, ready_at_s, offset_min, finished, rating, board_id, bytes_held "
            "FROM batch LEFT JOIN outcome ON outcome.batch_id = batch.id ORDER BY begun_at_s DESC, id DESC"
        ).fetchall()
        if not rows:
            self._truly_empty()
        return [
            Listed(i, name, begun, ready, offset, bool(done), rating, tuple(symptoms.get(i, ())), board, held)
            for i, name, begun, ready, offset, done, rating, board, held in rows
        ]

    def newest(self) -> int:
        """Return the number of the newest batch. Raises LogbookError when there is none."""
        row = self._db.execute("SELECT id FROM batch ORDER BY begun_at_s DESC, id DESC LIMIT 1").fetchone()
        if row is None:
            self._truly_empty()
            raise LogbookError("The logbook is empty; run `tourier collect` with the timer plugged in.")
        return row[0]

    def load(self, batch_id: int) -> Batch:
        """Return one batch with everything it holds. Raises LogbookError when there is none of that number."""
        row = self._db.execute(
            "SELECT key, board_id, plan, journal, log.samples, samples_unread, batch_text FROM batch "
            "JOIN log ON log.batch_id = batch.id WHERE batch.id = ?", (batch_id,)
        ).fetchone()  # fmt: skip
        if row is None:
            raise LogbookError(f"There is no batch {batch_id}; `tourier batches` lists those there are.")
        key, board_id, plan_bytes, journal, packed, samples_unread, batch_text = row
        records, unread, corrections = decode.read_journal(journal)
        return Batch(
            id=batch_id, key=key, board_id=board_id, plan=decode.read_plan(plan_bytes), plan_bytes=plan_bytes,
            records=records, samples=pack.unpack(packed), batch_text=batch_text,
            outcome=_outcome(self._db, batch_id), journal_unread=unread, samples_unread=samples_unread,
            clock_corrections=len(corrections), journal=journal,
        )  # fmt: skip

    def set_outcome(self, batch_id: int, outcome: Outcome) -> None:
        """Write down what the cook saw, replacing what stood there."""
        if self._db.execute("SELECT 1 FROM batch WHERE id = ?", (batch_id,)).fetchone() is None:
            raise LogbookError(f"There is no batch {batch_id}; `tourier batches` lists those there are.")
        if outcome.rating is not None and not 1 <= outcome.rating <= 5:
            raise LogbookError(f"A rating is 1 (bad) to 5 (good), not {outcome.rating}.")
        with self._change() as db:
            _put_outcome(db, batch_id, outcome)

    def remove(self, batch_id: int) -> None:
        """Take one batch out, with all that hangs on it."""
        with self._change() as db:
            if db.execute("DELETE FROM batch WHERE id = ?", (batch_id,)).rowcount == 0:
                raise LogbookError(f"There is no batch {batch_id}; `tourier batches` lists those there are.")


def _begins(path: str | os.PathLike[str]) -> bytes:
    try:
        with open(path, "rb") as stream:
            return stream.read(1)
    except FileNotFoundError:
        raise LogbookError(f"There is no file {path}.") from None
    except OSError as error:
        raise LogbookError(f"{path} cannot be read: {error.strerror}.") from error


def _passing(error: BaseException) -> str:
    """Return what to do about a fault that is not the file's own; "" for any other."""
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if code == sqlite3.SQLITE_FULL:
        return "the disk is full; nothing was changed. Make room and try again."
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return "another program is writing to it; nothing was changed. Try again when it is done."
    return ""


def batch_key(board_id: str, plan_bytes: bytes, records) -> str:
    """Return what makes a batch the same batch: its timer, its plan, and the record that began it."""
    begun = next(((r.seq, r.at_s) for r in records if r.type == J.PLAN), (0, 0))
    return hashlib.sha256(repr((board_id, begun)).encode() + plan_bytes).hexdigest()[:32]


def _outcome(db: sqlite3.Connection, batch_id: int) -> Outcome | None:
    row = db.execute("SELECT rating, photo, note FROM outcome WHERE batch_id = ?", (batch_id,)).fetchone()
    if row is None:
        return None
    seen = db.execute("SELECT name FROM symptom WHERE batch_id = ? ORDER BY name LIMIT 40", (batch_id,))
    rating = row[0] if isinstance(row[0], int) and 1 <= row[0] <= 5 else None
    return Outcome(tuple(clean(str(s[0]), 40) for s in seen), rating, clean(str(row[1]), 500),
                   clean(str(row[2]), 2000, lines=True))  # fmt: skip


def _put_outcome(db: sqlite3.Connection, batch_id: int, outcome: Outcome) -> None:
    db.execute(
        "INSERT OR REPLACE INTO outcome VALUES(?, ?, ?, ?)",
        (batch_id, outcome.rating, clean(outcome.photo, 500), clean(outcome.note, 2000, lines=True)),
    )
    db.execute("DELETE FROM symptom WHERE batch_id = ?", (batch_id,))
    db.executemany(
        "INSERT OR IGNORE INTO symptom VALUES(?, ?)", [(batch_id, clean(s, 40)) for s in outcome.symptoms[:40]]
    )


def _same_log(batch_id: int, journal: bytes, held: bytes) -> None:
    """Raise LogbookError unless one journal is the beginning of the other."""
    if not (journal.startswith(held) or held.startswith(journal)):
        raise LogbookError(
            f"This log says other things than batch {batch_id}, which has the same timer, plan and beginning; "
            "it is not taken. Keep both files and report this."
        )


def _put_bends(db: sqlite3.Connection, batch_id: int, records) -> None:
    db.execute("DELETE FROM bend WHERE batch_id = ?", (batch_id,))
    db.executemany(
        "INSERT OR IGNORE INTO bend VALUES(?, ?, ?, ?, ?)",
        [(batch_id, r.seq, r.at_s, r.body[0], r.body[1]) for r in records
         if r.type == J.BEND and window.CRACKED <= r.body[1] <= window.GREASY],
    )
