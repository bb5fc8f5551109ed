"""Another logbook, opened to be read only: refused by name unless it is one, and nothing in its schema is run."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from tourier.logbook.errors import LogbookError
from tourier.logbook.schema import APPLICATION_ID, INDEXES, MIGRATIONS, TABLES
from tourier.logbook.text import clean

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
