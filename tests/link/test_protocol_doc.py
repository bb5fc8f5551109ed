"""PROTOCOL.md says what the tables say, and the tables do not change without the version."""

from __future__ import annotations

import json
from pathlib import Path

import protocol_doc
import protocol_words
import pytest

from shared_schedule import link_host, link_jobs, link_rules, messages
from shared_schedule.framing import Deframer

PINNED = {(1, 0): 0xB1F04006, (1, 1): 0x83964C28}
OLD = json.loads((Path(__file__).parent.parent / "vectors" / "framing_messages_1_0.json").read_text())


def test_document_is_current():
    assert protocol_doc.PATH.read_text(encoding="utf-8") == protocol_doc.render(), (
        "run: python companion/tools/protocol_doc.py"
    )


def test_every_constant_of_the_retry_table_has_its_reason():
    modules = (link_rules, link_jobs, link_host)
    documented = {name for module in modules for name, _, _ in protocol_doc.constants(module)}
    for module in modules:
        for name in vars(module):
            if name.endswith(("_MS", "_TRIES")) and not name.startswith("_"):
                assert name in documented, name


def test_every_message_is_explained():
    assert set(protocol_words.MEANING) == {row[1] for row in messages.TABLE}


def test_the_fingerprint_is_pinned_to_the_version():
    version = (messages.PROTOCOL_MAJOR, messages.PROTOCOL_MINOR)
    assert protocol_doc.fingerprint() == PINNED[version], hex(protocol_doc.fingerprint())


def test_fingerprint_changes_with_the_table(monkeypatch):
    before = protocol_doc.fingerprint()
    number, name, direction, fields = messages.TABLE[0]
    changed = (number, name, direction, (*fields, ("extra", "u8", 0)))
    monkeypatch.setattr(messages, "TABLE", (changed, *messages.TABLE[1:]))
    assert protocol_doc.fingerprint() != before


@pytest.mark.parametrize("row", OLD["frames"], ids=lambda row: row["name"])
def test_old_frames_stay_readable(row):
    """Regression: frames as earlier versions put them on the line decode for ever, to the values they had."""
    (payload,) = Deframer(messages.HOST_CAP).feed(bytes.fromhex(row["frame"]))
    number, session, seq, values = messages.decode(payload)
    assert (messages.name_of(number), session, seq) == (row["name"], row["session"], row["seq"])
    shown = {name: value.hex() if isinstance(value, bytes) else value for name, value in values.items()}
    assert {name: shown[name] for name in row["values"]} == row["values"]
