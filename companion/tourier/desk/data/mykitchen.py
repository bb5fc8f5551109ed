"""The cook's own kitchen: a few questions in the cook's words, kept as a [kitchen] table for every new batch."""

from __future__ import annotations

import tomllib
from datetime import datetime
from pathlib import Path
from typing import Any

from tourier import files
from tourier.desk.data.batchdoc import BatchDoc
from tourier.desk.data.fields import BENCHES, Field

FILE = "kitchen.toml"

QUESTIONS: tuple[tuple[str, Field], ...] = (
    ("What do you call this kitchen?", Field("name", "name", "home")),
    ("How warm is it there when you laminate?", Field("room", "room", "22 °C")),
    ("What is the bench made of?", Field("bench.material", "bench", "wood", "", "choice", BENCHES)),
    ("How thick is it, how long, how deep?", Field("bench.thickness", "thick", "20 mm")),
    ("", Field("bench.length", "long", "120 cm")),
    ("", Field("bench.width", "deep", "60 cm")),
    ("Do you chill it with ice and wipe it dry?", Field("bench.ice", "ice", "", "", "flag")),
    ("What does a thermometer in the fridge say? Is there a fan in it?", Field("fridge.temperature", "fridge", "4 °C")),
    ("", Field("fridge.fan", "fan", "", "", "flag")),
    ("How large is a shelf you can free, and how many?", Field("fridge.shelf_length", "shelf long", "50 cm")),
    ("", Field("fridge.shelf_width", "shelf deep", "40 cm")),
    ("", Field("fridge.shelves", "shelves", "4", "", "whole")),
    ("And the freezer?", Field("freezer.temperature", "freezer", "-18 °C")),
    ("Where do pieces proof?", Field("proof.place", "proof", "room", "", "choice", ("room", "box", "oven"))),
    ("How warm is it there? (empty: as the room)", Field("proof.temperature", "proof at", "26 °C")),
    ("How hot do you bake, how many trays at once, how many pieces on one?",
     Field("oven.temperature", "oven", "190 °C")),
    ("", Field("oven.trays", "trays", "2", "", "whole")),
    ("", Field("oven.pieces_per_tray", "pieces a tray", "12", "", "whole")),
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
