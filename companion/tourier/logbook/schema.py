"""Tables of the logbook, as numbered migrations.

A migration is never edited once released; a change is a new one. `user_version` counts those that have run,
`application_id` names the file as ours. What a log says stands in the journal bytes; other columns are an index of it.
"""

from __future__ import annotations

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
