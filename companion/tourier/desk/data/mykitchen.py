"""The cook's own kitchen: a few answers, kept as a [kitchen] table for every new batch; and what was learned of it."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path
from typing import Any

from tourier import files
from tourier.design import lessons_of
from tourier.desk.data.batchdoc import BatchDoc
from tourier.desk.data.fields import BENCHES, Field
from tourier.known import Learned, Lessons, words
from tourier.voice import Voice

FILE = "kitchen.toml"
SUCH = "12 to 17 °C"  # a window, as an example

QUESTIONS: tuple[tuple[str, Field], ...] = (
    ("What do you call this kitchen?", Field("name", "name", "home")),
    ("In which measures do you cook? inch: also °F and oz",
     Field("units", "measures", "metric", "", "choice", ("metric", "inch"))),
    ("How warm is it there when you laminate?", Field("room", "room", "22 °C")),
    ("What is the bench made of?", Field("bench.material", "bench", "wood", "", "choice", BENCHES)),
    ("How thick is it, how long, how deep?", Field("bench.thickness", "thick", "20 mm")),
    ("", Field("bench.length", "long", "120 cm")),
    ("", Field("bench.width", "deep", "60 cm")),
    ("Do you chill it with ice and wipe it dry?", Field("bench.ice", "ice", "", "", "flag")),
    ("What does a thermometer in the fridge say? Is there a fan in it?", Field("fridge.temperature", "fridge", "4 °C")),
    ("", Field("fridge.fan", "fan", "", "", "flag")),
    ("How large is a shelf you can free, and how many?", Field("fridge.shelf_length", "shelf long", "50 cm")),
    ("", Field("fridge.shelf_width", "shelf depth", "40 cm")),
    ("", Field("fridge.shelves", "shelves", "4", "", "whole")),
    ("And the freezer?", Field("freezer.temperature", "freezer", "-18 °C")),
    ("Where do pieces proof?", Field("proof.place", "proof", "room", "", "choice", ("room", "box", "oven"))),
    ("How warm is it there? (empty: as the room)", Field("proof.temperature", "proof at", "26 °C")),
    ("How hot do you bake, how many trays at once, how many pieces on one?",
     Field("oven.temperature", "oven", "190 °C")),
    ("", Field("oven.trays", "trays", "2", "", "whole")),
    ("", Field("oven.pieces_per_tray", "pieces per tray", "12", "", "whole")),
    ("Do you mix by hand or with a mixer?", Field("mixing.by", "mixing", "hand", "", "choice", ("hand", "mixer"))),
    ("With a mixer: how much flour does it take? (else empty)", Field("mixing.flour_max", "flour", "1 kg")),
)  # fmt: skip

START = """# Your kitchen; every new batch can begin from it.
[kitchen]
name = "home"
room = "22 °C"

[kitchen.bench]
material = "wood"
thickness = "20 mm"
length = "120 cm"
width = "60 cm"
ice = false

[kitchen.fridge]
temperature = "5 °C"
fan = false
shelf_length = "45 cm"
shelf_width = "35 cm"
shelves = 4

[kitchen.freezer]
temperature = "-18 °C"

[kitchen.proof]
place = "room"

[kitchen.oven]
temperature = "190 °C"
trays = 2
pieces_per_tray = 12

[kitchen.mixing]
by = "hand"
"""


def read(folder: Path) -> str:
    """Return the kept kitchen, or the one to begin with; a damaged file is the one to begin with."""
    try:
        text = (folder / FILE).read_text(encoding="utf-8")
        return text if isinstance(tomllib.loads(text).get("kitchen"), dict) else START
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
        return START


def known(folder: Path) -> bool:
    """Whether the cook has answered the questions."""
    return (folder / FILE).exists()


def write(folder: Path, text: str) -> None:
    """Keep the kitchen. Raises OSError."""
    files.keep(folder / FILE, text)


def into(batch: BatchDoc, kitchen_text: str) -> None:
    """Put the kitchen into a batch file in place of the one that is there."""
    batch.replace_table("kitchen", tomllib.loads(kitchen_text)["kitchen"])


def problems(kitchen_text: str, now: datetime) -> dict[str, str]:
    """Return what the reader of batch files finds wrong with the kitchen, by key without its prefix."""
    from tourier.batch.examples import demo_text
    from tourier.batch.fields import BatchError
    from tourier.batch.read import read_batch_text

    batch = BatchDoc(demo_text())
    into(batch, kitchen_text)
    try:
        read_batch_text(batch.text, "kitchen", now)
    except BatchError as error:
        return {p.key.removeprefix("kitchen."): p.sentence for p in error.problems if p.key.startswith("kitchen")}
    return {}


def lines(kitchen_text: str) -> list[str]:
    """Return the answers as lines, for looking at."""
    from tourier.desk.data.batchdoc import shown

    doc = BatchDoc(kitchen_text)
    found: list[str] = []
    for question, field in QUESTIONS:
        value: Any = doc.get(f"kitchen.{field.key}")
        if question:
            found.append(question)
        found.append(f"    {field.label:14} {shown(value) or '(usual)'}")
    return found


def voice(folder: Path) -> Voice:
    """How the measures of this kitchen are said."""
    return BatchDoc(read(folder)).voice


def butter_names() -> list[str]:
    """Return the butters there are."""
    from tourier.craft.butter import PROFILES

    return list(PROFILES)


def in_force(file: Path) -> tuple[tuple[Learned, ...], str]:
    """Return (the learned values in force, why they cannot be read); neither without a logbook."""
    from tourier.logbook import LogbookError

    try:
        return lessons_of(file).values, ""
    except LogbookError as error:
        return (), f"What was learned cannot be read: {error}"


def learned_row(value: Learned, said: Voice) -> tuple[str, ...]:
    """Return a learned value as cells."""
    before = "" if value.error_before is None else said.error(value.error_before, value.error_unit)
    after = "" if value.error_after is None else said.error(value.error_after, value.error_unit)
    batches = ", ".join(str(number) for number in value.batches) or "by hand"
    low, high = (said.learned(one, value.unit) for one in (value.low, value.high))
    return (words(value.quantity), value.subject, said.learned(value.value, value.unit),
            f"{low} to {high}", batches, before, after)  # fmt: skip


def butter_row(name: str, learned: Iterable[Learned], said: Voice) -> tuple[str, ...]:
    """Return a butter's window as cells: learned where it is, else the profile's."""
    from tourier.craft.butter import profile

    butter = profile(name)
    known = Lessons(tuple(learned)).about("", name)
    source = "common practice, no source"
    if known.butter_window_c is not None and known.butter_low_c is not None:
        source = "bend tests" if known.butter_low_c.batches else "written by hand"
    bends_c = known.butter_window_c or (butter.window_low_c, butter.window_high_c)
    return (name, said.window(*bends_c), said.temperature(butter.melting_point_c), said.tenths(butter.stop_low_c),
            said.tenths(butter.stop_high_c), source)  # fmt: skip


def write_window(file: Path, name: str, text: str, said: Voice) -> str:
    """Keep a window written by hand as the one in force; return what is wrong, "" when it was kept."""
    import re

    from tourier.craft.butter import profile
    from tourier.logbook.learning import ledger
    from tourier.logbook.record.store import Logbook
    from tourier.quantities import QuantityError, temperature_c

    parts = [part.strip() for part in re.split(r"\bto\b|…", text) if part.strip()]
    try:
        low, high = (temperature_c(part) for part in parts)
    except (QuantityError, ValueError):
        return f"Write two temperatures with their unit, such as {said.example(SUCH)}."
    butter = profile(name)
    if not butter.stop_low_c <= low < high <= butter.stop_high_c:
        low_c, high_c = said.temperature(butter.stop_low_c), said.temperature(butter.stop_high_c)
        return (f"{name} shatters below {low_c} and is absorbed above {high_c}: its window lies between, the lower end "
                "first.")  # fmt: skip
    file.parent.mkdir(parents=True, exist_ok=True)
    with Logbook(file) as book:
        ledger.write(book, [
            Learned("butter_low_c", name, low, low, low, "°C", "written by hand", ()),
            Learned("butter_high_c", name, high, high, high, "°C", "written by hand", ()),
        ])  # fmt: skip
    return ""
