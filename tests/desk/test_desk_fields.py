"""The form against the reader of batch files: every key the reader asks for has a field, every field a key.

The reader itself is asked: its tables are watched while it reads a file, so neither list can fall behind unseen.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from tourier.batch import fields as reading
from tourier.batch import read, sections
from tourier.batch.examples import demo_text
from tourier.desk.data import mykitchen
from tourier.desk.data.batchdoc import BatchDoc, typed
from tourier.desk.data.fields import SECTIONS, Field

NOW = datetime(2027, 3, 12, 17, 0, tzinfo=ZoneInfo("Europe/Paris"))
FILE = demo_text() + '\n[[away]]\nwhy = "away"\nfrom = "12:00"\nto = "13:00"\n'
# Grey words in an empty field that say what holds without it; they are no values.
NO_VALUES = {"", "now", "none", "as few as fit", "from the heat"}


@dataclass
class Asked:
    """What the reader does with a key: its reader, the words it allows, the default it takes."""

    reader: Any
    words: tuple[str, ...]
    default: Any


@pytest.fixture
def asked(monkeypatch):
    """{key: Asked} of everything the reader asks a batch file for."""
    found: dict[str, Asked] = {}
    get, word = reading.Table.get, reading.word
    words: dict[Any, tuple[str, ...]] = {}

    def watched_get(table, name, reader, default=reading.MISSING, **limits):
        path = "formula.*" if table.path.startswith("formula.") else re.sub(r"\[\d+\]", "", table.path)
        found[f"{path}.{name}" if path else name] = Asked(reader, words.get(reader, ()), default)
        return get(table, name, reader, default, **limits)

    def watched_word(*allowed):
        reader = word(*allowed)
        words[reader] = allowed
        return reader

    monkeypatch.setattr(reading.Table, "get", watched_get)
    for module in (read, sections):
        monkeypatch.setattr(module, "word", watched_word)
    read.read_batch_text(FILE, "file", NOW)
    return {key: one for key, one in found.items() if not key.startswith("formula.")}


def _form() -> dict[str, Field]:
    found: dict[str, Field] = {}
    for page in SECTIONS:
        # The page of the formula has no fields of its own: its keys are the cook's.
        found |= {f"{page.path}.{one.key}" if page.path else one.key: one for one in page.fields}
    return found


def test_every_key_has_a_field_and_every_field_a_key(asked):
    assert set(asked) == set(_form())
    assert len(asked) > 60  # the reader was really watched


def test_each_field_is_written_as_the_reader_wants_it(asked):
    """A count as a number, a yes as true, a choice as one of the reader's own words, with the reader's own default."""
    form = _form()
    for key, one in asked.items():
        field = form[key]
        kind = {reading.whole: "whole", reading.flag: "flag", sections._sequence: "folds"}.get(one.reader, "text")
        if one.reader is sections._profile:  # today's names, and the old ones that files may still hold
            assert field.kind == "choice" and set(field.choices) == set(sections.PROFILES)
            continue
        assert field.kind == ("choice" if one.words else kind), key
        assert set(field.choices) == set(one.words), key
        if one.words and one.default is reading.MISSING:
            assert field.unsaid == "choose one", key
        elif one.words and key not in ("units", "kitchen.units"):  # which follow from how the pieces are written
            assert field.unsaid == one.default, key


def test_every_example_can_be_typed(asked):
    """What a field shows as its example, and every word of a choice, is taken by the reader without a complaint."""
    tried = 0
    for key, field in _form().items():
        path = re.sub(r"^(pieces|away)\.", r"\1[1].", key)
        for text in field.choices or ({field.example} - NO_VALUES) or (("yes", "no") if field.kind == "flag" else ()):
            doc = BatchDoc(FILE)
            doc.put(path, typed(text, field.kind))
            try:
                read.read_batch_text(doc.text, "file", NOW)
            except reading.BatchError as error:
                assert path not in [problem.key for problem in error.problems], (path, text, str(error))
            tried += 1
    assert tried > 80


def test_the_questions_are_a_part_of_the_form():
    form = _form()
    for _question, field in mykitchen.QUESTIONS:
        there = form[f"kitchen.{field.key}"]
        assert (field.kind, set(field.choices)) == (there.kind, set(there.choices)), field.key
