"""The fields of a batch file as the form shows them: key, words, examples. What is allowed, the reader decides."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from tourier.voice import Voice

# Kept in step with tourier.batch.sections by a test; repeated here because that module needs half a second of imports.
BENCHES = ("marble", "granite", "stone", "slate", "steel", "glass", "wood", "maple", "beech", "oak")
PROFILES = ("standard-80", "standard-82", "roll-in-84", "hard-fraction", "cultured-82", "plant-block")


@dataclass(frozen=True)
class Field:
    """One field: `key` within its table, dots for tables inside; `kind` is text, whole, flag, folds or choice."""

    key: str
    label: str
    example: str = ""
    help: str = ""
    kind: str = "text"
    choices: tuple[str, ...] = ()
    usual: str = ""  # of a choice: what holds when nothing is written, else the first

    def said(self, voice: Voice) -> Field:
        """The field with its examples in the cook's units."""
        return replace(self, example=voice.example(self.example), help=voice.example(self.help))

    @property
    def words(self) -> tuple[str, ...]:
        """The words a choice or flag goes through."""
        return self.choices or ("yes", "no")

    @property
    def unsaid(self) -> str:
        """What a choice or flag shows when nothing is written."""
        return self.usual or (self.choices[0] if self.choices else "no")


@dataclass(frozen=True)
class Section:
    """A page of the form. `path` is its table; `many` marks an array of tables; `free` a table of the cook's keys."""

    id: str
    title: str
    path: str
    fields: tuple[Field, ...] = field(default=())
    many: bool = False
    free: bool = False
    help: str = ""


def _choice(key: str, label: str, choices: tuple[str, ...], help: str = "", usual: str = "") -> Field:
    return Field(key, label, choices[0], help, "choice", choices, usual)


SECTIONS: tuple[Section, ...] = (
    Section("batch", "Batch", "", (
        Field("name", "name", "Sunday croissants", "What the timer and the logbook call it."),
        Field("ready", "ready", "Sunday 08:30", "When the last tray is cool enough to eat: a weekday or a date."),
        Field("buffer", "buffer", "none", "Aim so much before the hour, and before you go to bed or out. 0 to 6 h."),
        Field("zone", "time zone", "Europe/Paris", "Name of the time zone; clock changes are allowed for."),
        _choice("kind", "kind", ("leavened", "puff")),
        Field("start_after", "not before", "now", "No step before this moment."),
        Field("dough_temperature", "dough after mixing", "24 °C", "10 to 32 °C; the water is worked out from it."),
        Field("trim", "trimmed off", "12 %", "Share of the rolled sheet cut off to square it up."),
        Field("scraps", "left in bowl", "2 %", "Dough left in the bowl and on hands."),
        Field("blade", "blade", "1 mm", "Width lost at each cut."),
        Field("patons", "pâtons", "as few as fit", "1 to 8; empty: as few as bench, shelf and mixer allow.", "whole"),
        Field("proof", "your proof time", "2 h", "Your own proof time, if you know it."),
        Field("proof_at", "  at", "24 °C", "The temperature that proof was at."),
        Field("bake", "bake", "18 min", "One load."),
        _choice("units", "measures in", ("metric", "inch"), "inch: also °F and oz, on every screen and paper.",
                usual="like the pieces"),
        _choice("ruler_marks", "ruler marks", ("own", "both"), "both: in cm and in inches."),
        Field("note", "note", "", "Anything, up to 400 bytes."),
    ), help="Units as you say them: 20 cm, 340 g, 20 °C, 1 h 15 min, 12 %."),
    Section("pieces", "Pieces", "pieces", (
        Field("name", "name", "croissant"),
        Field("count", "how many", "24", "1 to 2000.", "whole"),
        _choice("shape", "shape", ("triangle", "rectangle", "strip"), usual="choose one"),
        Field("base", "base, short side", "9 cm", "As cut, before stretching."),
        Field("height", "height, long side", "26 cm"),
        Field("thickness", "thickness", "4 mm", "Of the final sheet, 1.5 to 15 mm."),
        Field("stretch_to", "stretched to", "30 cm"),
        Field("freeze", "frozen raw", "0", "How many are frozen raw for another day.", "whole"),
    ), many=True, help="One page for each kind of piece."),
    Section("formula", "Formula", "formula", (), free=True,
            help="Percent of flour; the flours together make 100 %. A new ingredient: its name, then its percent."),
    Section("butter", "Butter", "butter", (
        Field("roll_in", "roll-in", "27 % of dough", "Always with its label: % of dough or % of flour."),
        _choice("profile", "butter", PROFILES, "What its window is known from; bend tests make it truer.",
                "standard-82"),
        _choice("lock_in", "lock-in", ("two-flap", "envelope", "half")),
        Field("block_length", "block length", "21 cm", "At most two of the three; the mass decides the third."),
        Field("block_width", "block width", "21 cm"),
        Field("block_thickness", "block thickness", "8 mm"),
    )),
    Section("folds", "Folds", "folds", (
        Field("sequence", "folds", "4, 3", "2, 3 and 4: a 4-fold, then a 3-fold is 4, 3.", "folds"),
        Field("sheet_length", "rolled to", "60 cm", "Length before each fold; empty: 3 times the width."),
        Field("folds_per_rest", "folds per rest", "1", "Folds made before each rest.", "whole"),
        Field("rest", "rest", "from the heat", "Empty: worked out from the heat in the dough."),
        _choice("rest_place", "  in the", ("fridge", "freezer")),
        Field("dough_chill", "chill of dough", "none", "Freezer before the lock-in."),
        Field("final_chill", "final chill", "15 min", "Freezer before the last sheeting; 0 min: none."),
        Field("final_thickness", "final thickness", "4 mm", "For pieces that name none."),
        _choice("overnight", "overnight", ("dough", "paton", "pieces", "none"), "What spends the night cold."),
    )),
    Section("kitchen", "Kitchen", "kitchen", (
        Field("name", "name", "Hall kitchen"),
        _choice("units", "measures in", ("metric", "inch"), "For every batch made here that does not say.",
                usual="like the pieces"),
        Field("room", "room", "22 °C"),
        Field("humidity", "humidity", "55 %"),
        Field("altitude", "altitude", "0 m"),
        _choice("bench.material", "bench of", BENCHES, usual="choose one"),
        Field("bench.thickness", "  thick", "20 mm"),
        Field("bench.length", "  long", "120 cm"),
        Field("bench.width", "  deep", "60 cm"),
        Field("bench.ice", "  ice on it", "", "Chilled with ice and wiped before each fold.", "flag"),
        _choice("bench.rolling", "  rolling by", ("hand", "sheeter")),
        Field("fridge.temperature", "fridge", "4 °C"),
        Field("fridge.fan", "  with a fan", "", "", "flag"),
        Field("fridge.shelf_length", "  shelf long", "50 cm"),
        Field("fridge.shelf_width", "  shelf depth", "40 cm"),
        Field("fridge.shelves", "  shelves", "4", "", "whole"),
        Field("freezer.temperature", "freezer", "-18 °C"),
        _choice("proof.place", "proof in", ("room", "box", "oven")),
        Field("proof.temperature", "  at", "26 °C"),
        Field("proof.humidity", "  humidity", "75 %", "Empty: the room's; 75 % over a bowl of hot water."),
        Field("oven.temperature", "oven", "190 °C"),
        Field("oven.preheat", "  preheat", "30 min"),
        Field("oven.trays", "  trays at once", "1", "", "whole"),
        Field("oven.pieces_per_tray", "  pieces per tray", "12", "", "whole"),
        _choice("mixing.by", "mixing by", ("hand", "mixer")),
        Field("mixing.flour_max", "  most flour at once", "1.5 kg"),
        Field("mixing.friction", "  warms dough by", "4 K", "How much mixing warms the dough."),
        Field("mixing.tap", "tap water", "15 °C"),
    )),
    Section("away", "Hours", "away", (
        _choice("why", "why", ("sleep", "away"), usual="away"),
        Field("from", "from", "22:30", "Every day: 22:30; once: Saturday 14:00."),
        Field("to", "to", "06:00"),
    ), many=True, help="Hours in which nobody works: every day (22:30 to 06:00), or once (Saturday 14:00 to 16:00)."),
)  # fmt: skip


def section(section_id: str) -> Section:
    """Return a page by its id; raises KeyError."""
    for one in SECTIONS:
        if one.id == section_id:
            return one
    raise KeyError(section_id)


def section_of(key: str) -> str:
    """Return the id of the page on which a problem's key is shown."""
    head = key.partition(".")[0].partition("[")[0]
    return next((one.id for one in SECTIONS if one.path == head and one.path), "batch")


def label_of(key: str) -> str:
    """Return a key of a batch file in the form's words: 'pieces[croissant].count' is 'Pieces, croissant: how many'."""
    head, _, rest = key.partition(".")
    table, _, member = head.partition("[")
    for one in SECTIONS:
        if one.free and head == one.path and rest:
            return f"{one.title}: {rest}"
        inside = rest if one.path and table == one.path else key if not one.path else ""
        for row in one.fields:
            if row.key == inside:
                whose = f", {member.rstrip(']')}" if member else ""
                return f"{one.title}{whose}: {_above(one, row)}{row.label.strip()}"
    return key


def _above(page: Section, row: Field) -> str:
    """Return the words an indented label hangs on ("bench of, thick"): the nearest label above that is not indented."""
    if not row.label.startswith(" "):
        return ""
    before = page.fields[: page.fields.index(row)]
    return next((f"{one.label} " for one in reversed(before) if not one.label.startswith(" ")), "")
