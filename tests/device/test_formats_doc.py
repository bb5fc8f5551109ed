"""FORMATS.md is enough to read every octet that was ever stored: a decoder made from that text alone does it.

The decoder imports nothing of the product and takes the tables of fields and records from the document itself, so a
field left out there, or standing in the wrong place, is seen.
What the stored octets mean was put down when they were made.
"""

from __future__ import annotations

import json
import re
import struct
import sys
import zlib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TEXT = (ROOT / "shared_schedule" / "FORMATS.md").read_text(encoding="utf-8")
STORED = ROOT / "tests" / "vectors" / "formats"
NONE = -32768


def rows_after(heading: str) -> list[list[str]]:
    """Cells of the first table after a heading."""
    lines = TEXT[TEXT.index(heading) :].splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("|---"))
    table = []
    for line in lines[start + 1 :]:
        if not line.startswith("|"):
            break
        table.append([cell.strip().strip("`") for cell in line.strip("|").split("|")])
    return table


class Octets:
    def __init__(self, data: bytes, at: int = 0):
        self.data, self.at = data, at

    def take(self, count: int) -> bytes:
        assert self.at + count <= len(self.data), "ends too soon"
        self.at += count
        return self.data[self.at - count : self.at]

    def uint(self) -> int:
        value = shift = 0
        while (octet := self.take(1)[0]) & 128:
            value |= (octet & 127) << shift
            shift += 7
        return value | octet << shift

    def sint(self) -> int:
        return unzigzag(self.uint())

    def form(self, name: str):
        if name == "cdeg":
            raw = self.uint()
            return NONE if raw == 0 else unzigzag(raw - 1)
        if name == "text":
            return self.take(self.uint()).decode()
        if name in ("texts", "ids", "spans"):
            count = self.uint()
            one = {"texts": lambda: self.form("text"), "ids": self.uint, "spans": lambda: [self.uint(), self.uint()]}
            return [one[name]() for _ in range(count)]
        return self.sint() if name == "sint" else self.uint()


def unzigzag(value: int) -> int:
    return value // 2 if value % 2 == 0 else -(value + 1) // 2


def in_range(said: str, value) -> bool:
    low, _, high = said.partition(" to ")
    return not (low.lstrip("-").isdigit() and high.lstrip("-").isdigit()) or int(low) <= value <= int(high)


def optional(octets: Octets) -> dict[int, bytes]:
    size = octets.uint()
    end = octets.at + size
    found: dict[int, bytes] = {}
    while octets.at < end:
        key = octets.uint()
        assert key > max(found, default=0), "keys rise"
        found[key] = octets.take(octets.uint())
    assert octets.at == end
    return found


def plan(data: bytes) -> dict:
    assert data[:3] == b"TPL" and data[3] in (1, 2)
    octets = Octets(data, 4)

    def record(heading: str) -> dict:
        values = {}
        for name, form, said, _meaning in rows_after(heading):
            values[name] = octets.form(form)
            assert form not in ("uint", "sint") or name == "start_at_s" or in_range(said, values[name]), name
        if data[3] == 2:
            values["optional"] = optional(octets)
        return values

    header = record("### Header")
    header["steps"] = []
    base = header["made_at_s"]
    for _ in range(octets.uint()):
        step = record("### Step")
        step["start_at_s"] = base = base + step["start_at_s"]
        header["steps"].append(step)
    assert octets.at == len(data)
    return header


def journal(data: bytes) -> list[list]:
    forms = {int(row[0]): row[2].split(", ") for row in rows_after("## Journal")}
    at, found = 0, []
    while at < len(data):
        kind, size = data[at], data[at + 1]
        head, crc = data[at : at + 2 + size], data[at + 2 + size : at + 6 + size]
        assert struct.unpack("<I", crc) == (zlib.crc32(head),)
        seq, at_s = struct.unpack("<II", head[2:10])
        body, place = [], 10
        for form in forms.get(kind, []):
            if form == "text":
                body.append(head[place:].decode())
                continue
            letter = {"u8": "B", "u16": "H", "u32": "I", "i16": "h"}[form]
            body += struct.unpack_from("<" + letter, head, place)
            place += struct.calcsize(letter)
        if kind in forms:
            found.append([kind, seq, at_s, body])
        at += 6 + size
    return found


def samples(data: bytes) -> list[list[int]]:
    at, rows = 0, []
    last, gap, at_s, every_s, link = [], [], 0, 0, -1
    while at < len(data):
        size = data[at + 1]
        block, crc = data[at : at + 2 + size], struct.unpack("<I", data[at + 2 + size : at + 6 + size])[0]
        assert crc == zlib.crc32(block)
        if block[0] == 0x43:
            left, place = block[2], 4
            assert block[3] == link
        else:
            start, n = (2, 2) if block[0] == 0x53 else (3, block[10])
            at_s, every_s, left = struct.unpack_from("<IBH", block, start)
            place = 9 if block[0] == 0x53 else 11 + n
            last = list(struct.unpack_from(f"<{n}h", block, place))
            gap = [c == NONE for c in last]
            last = [0 if c == NONE else c for c in last]
            place += 2 * n
            rows.append([at_s, *[NONE if g else c for g, c in zip(gap, last, strict=True)]])
            at_s += every_s
            left -= 1
        for _ in range(left):
            octets = Octets(block, place)
            nibbles = [n for octet in octets.take((len(last) + 1) // 2) for n in (octet >> 4, octet & 15)]
            for i in range(len(last)):
                if nibbles[i]:
                    last[i] += 0 if gap[i] else nibbles[i] - 8
                    continue
                number = octets.uint()
                gap[i] = number == 0
                last[i] += unzigzag(number - 1) if number else 0
            place = octets.at
            rows.append([at_s, *[NONE if g else c for g, c in zip(gap, last, strict=True)]])
            at_s += every_s
        assert place == len(block)
        link = crc & 255
        at += 6 + size
    return rows


def stored(name: str) -> tuple[bytes, object]:
    return (STORED / f"{name}.bin").read_bytes(), json.loads((STORED / f"{name}.json").read_text())


@pytest.mark.parametrize("name", ["1/plan_demo", "1/plan_full", "2/plan_units", "2/plan_richer"])
def test_plans_by_the_text_alone(name: str) -> None:
    data, meant = stored(name)
    said = plan(data)
    kept = {key: {int(k): bytes.fromhex(v) for k, v in meant.get(key, {}).items()} for key in ("optional",)}
    assert said.pop("optional", {}) == kept["optional"]
    for step in said["steps"]:
        step.pop("optional", None)
    assert said == meant["plan"] and zlib.crc32(data) == meant["plan_id"]


@pytest.mark.parametrize("name", ["1/journal_demo", "1/journal_every", "2/journal_every"])
def test_journals_by_the_text_alone(name: str) -> None:
    data, meant = stored(name)
    assert journal(data) == meant


@pytest.mark.parametrize("name", ["1/samples_demo", "1/samples_edges", "2/samples_edges"])
def test_temperatures_by_the_text_alone(name: str) -> None:
    data, meant = stored(name)
    assert samples(data) == meant


def test_the_worked_example_is_what_it_says() -> None:
    blocks = re.findall(r"^    ((?:[0-9a-f]{2} )+[0-9a-f]{2})$", TEXT, re.MULTILINE)
    wanted = [[217400400, 2150, 600], [217400405, 2152, 597], [217400410, 2152, 560], [217400415, 2151, NONE]]
    assert samples(bytes.fromhex("".join(blocks))) == wanted


@pytest.mark.parametrize("name", ["1/settings", "1/calibration"])
def test_settings_by_the_text_alone(name: str) -> None:
    data, meant = stored(name)
    size = struct.unpack_from("<H", data, 3)[0]
    assert data[:3] == b"TS\x01" and struct.unpack("<I", data[-4:])[0] == zlib.crc32(data[:-4])
    keys = [row[0] for row in rows_after("## Files of the timer")]
    keys = keys[:8] if name.endswith("settings") else keys[8:]
    assert dict(zip(keys, struct.unpack_from(f"<{size // 4}i", data, 5), strict=True)) == meant


def test_the_document_is_current_and_knows_every_setting(monkeypatch) -> None:
    import format_doc

    assert format_doc.PATH.read_text(encoding="utf-8") == format_doc.render(), (
        "run: python companion/tools/protocol_doc.py"
    )
    monkeypatch.setattr(sys, "path", [*sys.path, str(ROOT / "firmware")])
    import config

    bounds = {row[0]: row[2:] for row in config.SETTINGS + config.CALIBRATION}
    said = {row[0]: row[1] for row in rows_after("## Files of the timer")}
    assert list(said) == list(bounds)
    for key, (low, high) in bounds.items():
        assert said[key] in (f"{low} to {high}", f"{low} or {high}", "103at or 3977"), key
