"""Records of a batch: the wish as written (`BatchSpec`) and the wish worked out (`Workup`).

Inside these records everything is SI floats (kg, m, s, °C with `_c`) except where a name says otherwise; a person's
units live only in the batch file and in what is printed. `Workup.process` is what the day planner schedules.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, time
from typing import TYPE_CHECKING

from tourier.voice import Voice, voice_of

if TYPE_CHECKING:
    from tourier.batch.rising import Rising


@dataclass(frozen=True)
class PieceWish:
    """One kind of piece: `shape` is "triangle", "rectangle" or "strip"; lengths in m before stretching."""

    name: str
    count: int
    shape: str
    base_m: float  # width of a triangle's base, or the short side
    height_m: float  # height of a triangle, or the long side
    thickness_m: float
    stretch_to_m: float | None = None
    freeze_raw: int = 0  # how many of `count` are frozen raw for another day


@dataclass(frozen=True)
class FormulaLine:
    """One ingredient: percent of flour by mass; `kind` picks its composition (craft.composition)."""

    name: str
    percent_of_flour: float
    kind: str
    temperature_c: float | None = None


@dataclass(frozen=True)
class Butter:
    """Butter for the block: exactly one of the two roll-in figures is written by the cook."""

    profile: str
    roll_in_percent_of_flour: float | None = None
    roll_in_percent_of_dough: float | None = None
    block_thickness_m: float | None = None
    block_length_m: float | None = None
    block_width_m: float | None = None
    lock_in: str = "two-flap"  # "two-flap", "envelope" or "half"


@dataclass(frozen=True)
class KitchenSpec:
    """The place: temperatures in °C, sizes in m, humidity in percent."""

    name: str
    room_c: float
    humidity_pct: float
    fridge_c: float
    freezer_c: float
    bench_material: str
    bench_thickness_m: float
    bench_length_m: float
    bench_width_m: float
    fridge_fan: bool = False
    fridge_shelf_length_m: float | None = None
    fridge_shelf_width_m: float | None = None
    fridge_shelves: int = 2
    proof_place: str = "room"  # "room", "oven" or "box"
    proof_c: float | None = None
    proof_humidity_pct: float | None = None  # None: the room's, or 75 % in a box or oven
    oven_c: float = 190.0
    oven_preheat_s: float = 1800.0
    oven_trays: int = 1
    pieces_per_tray: int = 12
    mixer_flour_max_kg: float | None = None
    mixing: str = "hand"  # "hand" or "mixer"
    altitude_m: float = 0.0
    ice_bench: bool = False
    tap_c: float = 15.0  # water from the tap
    rolling: str = "hand"  # or "sheeter"
    friction_k: float | None = None  # warming of the dough by mixing; None = usual figure for hand or mixer


@dataclass(frozen=True)
class AwaySpan:
    """Hours in which nobody works. `why` is "sleep" or "away"; either daily (start/end) or one dated span (from/to)."""

    why: str
    start: time | None = None
    end: time | None = None
    from_at: datetime | None = None
    to_at: datetime | None = None


@dataclass(frozen=True)
class FoldWish:
    """The fold sequence and what happens around it."""

    folds: tuple[int, ...]  # 2, 3 or 4 each
    sheet_length_m: float | None = None  # length rolled to before each fold
    rest_s: float | None = None  # as the cook wishes; None = from the heat model
    rest_place: str = "fridge"
    final_chill_s: float | None = None  # freezer before the last sheeting
    final_thickness_m: float = 0.004
    dough_chill_s: float | None = None  # freezer, before lock-in
    overnight: str = "dough"  # "dough", "paton", "pieces" or "none": what spends the night cold
    folds_per_rest: int = 1  # folds made one after the other before each rest (puff: 2)


@dataclass(frozen=True)
class BatchSpec:
    """Everything a batch file says. `source` keeps the text as read, `lines` maps a dotted key to its line."""

    name: str
    wished_at: datetime  # aware
    zone: str
    kind: str  # "leavened" (croissant, Danish) or "puff"
    pieces: tuple[PieceWish, ...]
    formula: tuple[FormulaLine, ...]
    butter: Butter
    folds: FoldWish
    kitchen: KitchenSpec
    away: tuple[AwaySpan, ...]
    dough_temp_c: float = 22.0
    trim_percent: float = 12.0
    patons: int | None = None  # None = as few as bench, shelf and mixer allow
    start_after: datetime | None = None  # earliest start; None = now
    proof_s: float | None = None  # the cook's own proof time, tray in to oven, in air of `proof_ref_c`
    proof_ref_c: float = 24.0
    bake_s: float = 1080.0
    units: str = "metric"  # or "inch": how measures are said, see `voice`
    both_rulers: bool = False  # ruler marks in cm and in inches
    scrap_percent: float = 2.0  # dough left in bowl and on hands
    blade_m: float = 0.001  # width lost at each cut
    buffer_s: float = 0.0  # aim that much before `wished_at`
    source: str = ""
    lines: dict[str, int] = field(default_factory=dict, compare=False)

    @property
    def voice(self) -> Voice:
        """How this batch's measures are said."""
        return voice_of(self.units)

    @property
    def rulers(self) -> tuple[Voice, ...]:
        """The voices ruler marks are said in: the batch's own, then the other where both are wanted."""
        return (self.voice, Voice(not self.voice.us)) if self.both_rulers else (self.voice,)


@dataclass(frozen=True)
class MassLine:
    """One line of the scaled formula."""

    name: str
    g: float
    percent_of_flour: float
    exact_g: float = 0.0  # before rounding to what a scale can weigh


@dataclass(frozen=True)
class SheetStage:
    """The laminate after one stage; lengths in m, layers counted with merged dough faces."""

    step: str  # "butter block", "dough sheet", "lock-in", "fold 1 rolled", "fold 1 folded", "final sheet" ...
    paton: int
    length_m: float
    width_m: float
    thickness_m: float
    fat_layer_m: float
    dough_layer_m: float
    fat_layers: int
    dough_layers: int
    naive_layers: int
    passes: int = 0
    roll_to_m: float = 0.0  # length to roll to so that it rests at length_m


@dataclass(frozen=True)
class ProcessStep:
    """One step to be scheduled; times in s. `key` is unique ("p1.fold2"), `after` names keys it must follow.

    `after_max_s` bounds the wait between the end of a predecessor and this start: {key: seconds}. `flexible` steps
    (rests, holds) may be stretched between min_s and max_s; others last exactly ideal_s, give or take `band`.
    """

    key: str
    kind: int  # shared_schedule.plan kinds
    name: str
    place: int
    paton: int
    attended_s: int
    min_s: int
    ideal_s: int
    max_s: int
    after: tuple[str, ...] = ()
    after_max_s: dict[str, int] = field(default_factory=dict)
    flexible: bool = False
    ends_by: int = 0
    low_c: float | None = None
    high_c: float | None = None
    core_c: float | None = None
    air_max_c: float | None = None
    fold: int = 0
    fold_n: int = 0
    fold_of: int = 0
    spine: int = 0
    quarter: int = 0
    length_m: float = 0.0
    width_m: float = 0.0
    thickness_m: float = 0.0
    layers: int = 0
    dose_s: int = 0
    ticks: tuple[str, ...] = ()
    saves_batch: bool = False
    ask_oven_empty: bool = False
    band: tuple[float, float] = (0.85, 1.3)  # factors on ideal_s: 5 % and 95 % of how long it really takes
    units: int = 1  # shelf, tray or oven-load units it takes in its place
    why: str = ""  # why these limits: formula or "common practice"


@dataclass(frozen=True)
class Warned:
    """One warning: what, where, and why (a source, or "common practice, no source")."""

    code: str
    text: str
    why: str


@dataclass(frozen=True)
class Workup:
    """A batch worked out: what `tourier plan` prints, before the clock."""

    spec: BatchSpec
    lines: tuple[MassLine, ...]
    dough_g: float
    butter_block_g: float
    roll_in_percent_of_dough: float
    roll_in_percent_of_flour: float
    water_temp_c: float | None
    ice_g: float
    water_rule_c: float | None  # the three-factor rule beside it
    patons: int
    block: dict  # length_m, width_m, thickness_m, mass_kg
    stages: tuple[SheetStage, ...]
    cuts: dict  # pieces: [...], offcut_percent, marks_mm, marks_inch, sheet_length_m, sheet_width_m, layout
    process: tuple[ProcessStep, ...]
    device: dict  # integer thermal fields for shared_schedule.plan.Plan
    warnings: tuple[Warned, ...]
    layers: tuple[dict, ...] = ()  # after, fat, dough, total, naive
    patons_g: tuple[dict, ...] = ()  # paton, dough_g, butter_g, pieces of each pâton
    water_name: str = "water"  # what is poured at water_temp_c: water, else the milk of a formula without it
    later: tuple[ProcessStep, ...] = ()  # thaw, proof and bake of the pieces frozen raw, for another day
    rising: Rising | None = field(default=None, compare=False, repr=False)  # None where the steps are written by hand

    @property
    def ice_text(self) -> str:
        """The ice that takes the place of some of the water, "120 g"; "" when there is none.

        With ice the rest of the water is as it comes from the tap: `water_temp_c` is what both together come to.
        """
        cold = self.water_temp_c is not None and self.water_temp_c < 1.0
        if self.ice_g >= 1.0 or (cold and self.ice_g >= 0.05):
            return self.spec.voice.weight(round(self.ice_g) if self.ice_g >= 1.0 else self.ice_g)
        return ""
