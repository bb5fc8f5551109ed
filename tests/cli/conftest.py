"""Commands run in this process, with their own home and nothing of the person's."""

from __future__ import annotations

import json
from dataclasses import dataclass

import pytest
from tourier.batch.examples import demo_text
from tourier.cli import main


@dataclass
class Said:
    """What a command said and returned."""

    code: int
    out: str
    err: str

    @property
    def json(self):
        """The one JSON object on stdout; more or less than one fails."""
        return json.loads(self.out)

    @property
    def sentence(self) -> str:
        """The complaint: the last line of stderr but for what is offered below it ("- "), with nothing on stdout."""
        assert self.out == ""
        return [line for line in self.err.strip().split("\n") if not line.startswith("- ")][-1]


@pytest.fixture
def home(tmp_path, monkeypatch):
    """An empty home."""
    monkeypatch.setenv("TOURIER_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("TOURIER_DEBUG", raising=False)
    return tmp_path / "home"


@pytest.fixture
def tourier(home, capsys):
    """Call a command: `tourier("plan", file)` -> Said."""

    def call(*arguments: object) -> Said:
        capsys.readouterr()
        code = main([str(argument) for argument in arguments])
        said = capsys.readouterr()
        return Said(code, said.out, said.err)

    return call


@pytest.fixture
def demo(tmp_path):
    """The demo batch as a file."""
    file = tmp_path / "demo.toml"
    file.write_text(demo_text(), encoding="utf-8")
    return file
