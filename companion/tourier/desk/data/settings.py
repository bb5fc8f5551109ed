"""What the desk application remembers between days: theme, silence, recent batch files. One small TOML file."""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass, field
from pathlib import Path

from tourier import files

_RECENT = 8


@dataclass
class Settings:
    """Remembered choices; `read` never fails: a damaged file is the usual choices."""

    file: Path
    theme: str = "flour"
    silent: bool = False
    welcomed: bool = False
    recent: list[str] = field(default_factory=list)

    @classmethod
    def read(cls, file: Path) -> Settings:
        """Return the settings in a file, the usual ones where it says nothing sensible."""
        settings = cls(file)
        try:
            raw = tomllib.loads(file.read_text(encoding="utf-8"))
        except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
            return settings
        if isinstance(raw.get("theme"), str):
            settings.theme = raw["theme"]
        settings.silent = raw.get("silent") is True
        settings.welcomed = raw.get("welcomed") is True
        recent = raw.get("recent")
        if isinstance(recent, list):
            settings.recent = [path for path in recent if isinstance(path, str)][:_RECENT]
        return settings

    def write(self) -> None:
        """Write the file. Raises OSError."""
        text = (
            f"theme = {_toml(self.theme)}\nsilent = {str(self.silent).lower()}\n"
            f"welcomed = {str(self.welcomed).lower()}\nrecent = {_toml(self.recent)}\n"
        )
        files.keep(self.file, text)

    def opened(self, file: Path) -> None:
        """Put a batch file first among the recent ones; `write` keeps it."""
        name = str(file.resolve())
        if any(0xD800 <= ord(char) < 0xE000 for char in name):
            return  # bytes that are no UTF-8: no TOML file can hold such a name
        self.recent = [name, *[other for other in self.recent if other != name]][:_RECENT]


def _toml(value: str | list[str]) -> str:
    """Return text as a TOML string: JSON's, without its surrogate pairs and with the one more escape TOML asks for."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
