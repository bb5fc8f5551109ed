"""Tables of the logbook, as numbered migrations; and another logbook, opened to be read only.

A migration is never edited once released; a change is a new one. `user_version` counts those that have run,
`application_id` names the file as ours. What a log says stands in the journal bytes; other columns are an index of it.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from tourier.logbook import LogbookError
from tourier.logbook.record.decode import clean

APPLICATION_ID = 0x54554C31  # "TUL1"

MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        """CREATE TABLE batch(
            id INTEGER PRIMARY KEY,
            key TEXT NOT NULL UNIQUE,
            board_id TEXT NOT NULL,
            name TEXT NOT NULL,
            begun_at_s INTEGER NOT NULL,
            ready_at_s INTEGER NOT NULL,
            offset_min INTEGER NOT NULL,
            finished INTEGER NOT NULL CHECK (finished IN (0, 1)),
            bytes_held INTEGER NOT NULL
        ) STRICT""",
        """CREATE TABLE log(
            batch_id INTEGER PRIMARY KEY REFERENCES batch(id) ON DELETE CASCADE,
            plan BLOB NOT NULL,
            journal BLOB NOT NULL,
            samples BLOB NOT NULL,
            samples_raw_bytes INTEGER NOT NULL,
            samples_raw_crc INTEGER NOT NULL,
            samples_unread INTEGER NOT NULL,
            batch_text TEXT NOT NULL
        ) STRICT""",
        """CREATE TABLE outcome(
            batch_id INTEGER PRIMARY KEY REFERENCES batch(id) ON DELETE CASCADE,
            rating INTEGER CHECK (rating BETWEEN 1 AND 5),
            photo TEXT NOT NULL DEFAULT '',
            note TEXT NOT NULL DEFAULT ''
        ) STRICT""",
        """CREATE TABLE symptom(
            batch_id INTEGER NOT NULL REFERENCES batch(id) ON DELETE CASCADE,
            name TEXT NOT NULL,
            PRIMARY KEY (batch_id, name)
        ) STRICT, WITHOUT ROWID""",
        """CREATE TABLE bend(
            batch_id INTEGER NOT NULL REFERENCES batch(id) ON DELETE CASCADE,
            seq INTEGER NOT NULL,
            at_s INTEGER NOT NULL,
            cdeg INTEGER NOT NULL,
            verdict INTEGER NOT NULL CHECK (verdict BETWEEN 1 AND 3),
            PRIMARY KEY (batch_id, seq)
        ) STRICT, WITHOUT ROWID""",
        "CREATE INDEX batch_by_time ON batch(begun_at_s)",
    ),
    (
        """CREATE TABLE learned(
            id INTEGER PRIMARY KEY,
            quantity TEXT NOT NULL,
            subject TEXT NOT NULL,
            value REAL NOT NULL,
            low REAL NOT NULL,
            high REAL NOT NULL,
            unit TEXT NOT NULL,
            method TEXT NOT NULL,
            error_before REAL,
            error_after REAL,
            error_unit TEXT NOT NULL DEFAULT '',
            learned_at_s INTEGER NOT NULL,
            forgotten INTEGER NOT NULL DEFAULT 0 CHECK (forgotten IN (0, 1))
        ) STRICT""",
        """CREATE TABLE learned_from(
            learned_id INTEGER NOT NULL REFERENCES learned(id) ON DELETE CASCADE,
            batch_id INTEGER NOT NULL REFERENCES batch(id) ON DELETE CASCADE,
            PRIMARY KEY (learned_id, batch_id)
        ) STRICT, WITHOUT ROWID""",
        "CREATE INDEX learned_by_quantity ON learned(quantity, subject, forgotten, id)",
    ),
)

# Tables another logbook may hold; anything else in it (views, triggers, virtual tables) is refused unread.
TABLES = frozenset({"batch", "log", "outcome", "symptom", "bend", "learned", "learned_from"})
INDEXES = frozenset({"batch_by_time", "learned_by_quantity"})

MAX_BLOB_BYTES = 16 << 20
_BUSY_S = 10.0


@contextlib.contextmanager
def opened(source: str | os.PathLike[str]) -> Iterator[sqlite3.Connection]:
    """Open another logbook for reading only, or refuse it by name; nothing in its schema is run."""
    source = Path(source)
    if not source.is_file():
        raise LogbookError(f"There is no file {source}.")
    # A copy that was pulled from a running machine has no -wal beside it; immutable=1 would hide a live one.
    db = sqlite3.connect(f"{source.resolve().as_uri()}?mode=ro", uri=True, timeout=_BUSY_S, isolation_level=None)
    try:
        db.execute("PRAGMA trusted_schema=OFF")
        db.execute("PRAGMA query_only=ON")
        db.execute("PRAGMA cell_size_check=ON")
        db.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, MAX_BLOB_BYTES)
        if db.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
            raise LogbookError(f"{source} is no logbook.")
        version = db.execute("PRAGMA user_version").fetchone()[0]
        if not 1 <= version <= len(MIGRATIONS):
            raise LogbookError(f"{source} has schema {version}; this version reads 1 to {len(MIGRATIONS)}.")
        for kind, name, sql in db.execute("SELECT type, name, sql FROM sqlite_master").fetchall():
            ours = (kind == "table" and name in TABLES and "VIRTUAL" not in str(sql).upper()) or (
                kind == "index" and (name in INDEXES or str(name).startswith("sqlite_autoindex_"))
            )
            if not ours:
                what = f"{clean(str(kind), 20)} {clean(str(name), 40)!r}"
                raise LogbookError(f"{source} holds a {what} that no logbook has.")
        yield db
    except sqlite3.DatabaseError as error:
        raise LogbookError(f"{source} cannot be read as a logbook ({clean(str(error))}).") from error
    finally:
        db.close()
