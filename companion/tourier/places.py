"""Where things are kept, by the platform's own custom. `TOURIER_HOME` puts all of it in one folder."""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs


def _folder(kind: str) -> Path:
    home = os.environ.get("TOURIER_HOME")
    if home:
        return Path(home) / kind
    return Path(getattr(platformdirs, f"user_{kind}_dir")("tourier", appauthor=False))


def logbook_file() -> Path:
    """Return the usual logbook (SQLite)."""
    return _folder("data") / "logbook.sqlite"


def rehearsals_folder() -> Path:
    """Return where rehearsals are kept when --keep names no folder."""
    return _folder("data") / "rehearsals"


def config_folder() -> Path:
    """Return where settings, key maps and kitchen profiles are kept."""
    return _folder("config")


def autosave_folder() -> Path:
    """Return where unsaved edits of the desk application are kept."""
    return _folder("state") / "autosave"


def partial_logs_folder() -> Path:
    """Return where logs that a pulled cable cut short wait for the rest."""
    return _folder("state") / "collecting"


def sent_folder() -> Path:
    """Return where the batch file of every plan that was sent is kept until its log comes home."""
    return _folder("state") / "sent"


def removed_folder() -> Path:
    """Return where batches that were taken out of the logbook can still be put back from."""
    return _folder("state") / "removed"


def all_places() -> list[tuple[str, str, Path]]:
    """Return (key, what it is, path) for every place used."""
    return [
        ("logbook", "logbook of batches", logbook_file()),
        ("rehearsals", "kept rehearsals", rehearsals_folder()),
        ("config", "settings and profiles", config_folder()),
        ("autosave", "unsaved edits", autosave_folder()),
        ("collecting", "logs half collected", partial_logs_folder()),
        ("removed", "batches taken out of the logbook", removed_folder()),
        ("sent", "batch files of plans that were sent", sent_folder()),
        ("program", "this program", Path(__file__).resolve().parent),
    ]
